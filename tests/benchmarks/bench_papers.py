"""Papers of 5,000 jobs made anew, and a week of 120 jobs and 10 crews built among 10,000.

Run: .venv/bin/python -m tests.benchmarks.bench_papers   (--jobs N, --processes N)

1. Recomputing: every paper of 5,000 open installs is missing; the service's keeper makes them with its processes, as it
   does in the background. Aim: 60 s on two cores. Then the ladders change (kits alone), and then nothing has changed.
2. A week: 10,000 jobs in the database, 120 of them open for this week, the others done or promised for later ones;
   papers fresh. Aim: 2 s.

`busy` is processor time, the sum over all processes: on two free cores half of it is what the clock would show.
"""

from __future__ import annotations

import argparse
import datetime
import resource
import tempfile
import time
from pathlib import Path

import sqlalchemy as sa
from sqlmodel import col

from api import tables
from api.database import open_database, transaction, upgrade
from api.papers.stored.keeper import Keeper, renew, stale
from api.settings import sqlite_address
from api.week.run.planning import prepare_week
from tests.benchmarks.big_business import Size, fill

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=5000)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        recompute(Path(folder) / "papers", asked.jobs, asked.processes)
        build(Path(folder) / "week")


def recompute(folder: Path, jobs: int, processes: int) -> None:
    """Make all papers of `jobs` open installs, as the service does."""
    address, engine = made(folder, Size(done=0, week=jobs, later=0, crews=10))
    keeper = Keeper(engine, address, processes, lambda: NOW)
    for what, change in (
        ("all of it is missing", None),
        ("a ladder more: the kits", _add_ladder),
        ("task times changed: the durations", _slower),
    ):
        if change is not None:
            with engine.begin() as connection:
                change(connection)
        began, before = time.perf_counter(), processor_s()
        found = stale_of(engine)
        searched = time.perf_counter() - began
        keeper._make(found)
        took = time.perf_counter() - began
        busy = processor_s() - before
        print(f"{what:36} {len(found):6} stale, found in {searched:5.2f} s, made in {took:6.1f} s; busy {busy:.1f} s")
    began = time.perf_counter()
    left = stale_of(engine)
    print(f"{'nothing changed':36} {len(left):6} stale, found in {time.perf_counter() - began:5.2f} s")
    with engine.connect() as connection:
        rows = sa.select(col(tables.Prepared.what), sa.func.count()).group_by(col(tables.Prepared.what))
        print("stored:", ", ".join(f"{count} {what}" for what, count in connection.execute(rows)))
    engine.dispose()
    print(f"the database has {sum(p.stat().st_size for p in folder.iterdir()) / 1e6:.0f} MB")


def build(folder: Path) -> None:
    """Build the week of 120 jobs and 10 crews among 10,000 jobs."""
    _, engine = made(folder, Size(done=7000, week=120, later=2880, crews=10))
    with transaction(engine) as session:
        renew(session, _week_jobs(engine), NOW)
    for run in ("first, nothing in memory", "second", "third"):
        began, before = time.perf_counter(), processor_s()
        prepared = prepare_week(engine, MONDAY, NOW)
        took = time.perf_counter() - began
        week = prepared.built.week
        busy = processor_s() - before
        words = f"busy {busy:.2f} s   {len(week.jobs)} jobs, {len(week.crews)} crews; {prepared.tally.made} papers made"
        print(f"week built, {run:25} {took:6.2f} s   {words}")
    engine.dispose()


def made(folder: Path, size: Size) -> tuple[str, sa.Engine]:
    """Return the address and the engine of a database with a business of `size`."""
    address = sqlite_address(folder)
    engine = open_database(address)
    upgrade(engine)
    with transaction(engine) as session:
        fill(session, size, MONDAY)
    return address, engine


def processor_s() -> float:
    """Return the processor seconds of this process and of those that it has had: other programs do not count."""
    own, children = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


def stale_of(engine: sa.Engine) -> list[str]:
    with transaction(engine) as session:
        return stale(session)


def _week_jobs(engine: sa.Engine) -> list[str]:
    with engine.connect() as connection:
        promised = sa.select(col(tables.Booking.visit_id))
        visits = sa.select(col(tables.Visit.id)).where(col(tables.Visit.state) == "open")
        return list(connection.execute(visits.where(col(tables.Visit.id).not_in(promised))).scalars())


def _add_ladder(connection: sa.Connection) -> None:
    values = {"id": "E-NEW", "kind": "ladder-40", "yard_id": "north", "name": "ladder", "active": True, "version": 1}
    connection.execute(sa.insert(tables.Equipment).values(values))


def _slower(connection: sa.Connection) -> None:
    times = sa.func.replace(col(tables.Business.times), ",1.5,", ",1.6,")
    connection.execute(sa.update(tables.Business).values(times=times + "\n"))


if __name__ == "__main__":
    main()
