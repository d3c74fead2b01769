"""What a second worker is worth: a week of many yards, planned until proven, on a local cluster.

    .venv/bin/python -m tests.benchmarks.bench_cluster --yards 20 --jobs 120 --crews 10

plans the same week by one and by two workers of one thread each, and prints seconds, bound and speed-up: by the clock,
by the processor seconds of the worker that has most to do, and by how even one run's work was shared (the seconds of
all workers by those of the busiest). On a machine that does other work too the first says nothing, and the second
little, since a processor that is shared gets less done in a second; the third holds there.

Each yard is `installs-120x10` of the example weeks cut down to so many jobs and crews, its prices of leaving a job out
varied by the yard's number, so that no two are alike.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from msgspec.structs import replace

from api.cluster import ClusterDoor
from scheduler import Elsewhere, parts_of, plan_by_yard
from scheduler.audit import audit
from scheduler.week import Travel, Week, checked, read_week

WEEK = Path(__file__).parents[1] / "data" / "weeks" / "installs-120x10.week.json"
FAR_MIN, FAR_METRES = 900, 900_000  # between two yards' places: nobody gets there and back in a shift


def week_of_yards(yards: int, jobs: int, crews: int) -> Week:
    """Return a week of so many yards of so many jobs and crews each, which share nothing."""
    one = read_week(WEEK.read_bytes())
    places, parts, minutes, metres = [], [], [], []
    size = len(one.places)
    for n in range(yards):
        head = f"y{n:02}-"
        places += [replace(place, id=head + place.id) for place in one.places]
        for row, own, far in ((one.travel.minutes, minutes, FAR_MIN), (one.travel.metres, metres, FAR_METRES)):
            own += [(far,) * (n * size) + line + (far,) * ((yards - 1 - n) * size) for line in row]
        parts.append(_named(one, head, n, jobs, crews))
    joined = {
        name: tuple(value for part in parts for value in getattr(part, name))
        for name in ("yards", "crews", "helpers", "equipment", "stock", "jobs", "follows")
    }
    return checked(
        replace(one, id=f"{yards}-yards", places=tuple(places), travel=Travel(tuple(minutes), tuple(metres)), **joined)
    )


def _named(week: Week, head: str, n: int, jobs: int, crews: int) -> Week:
    """Return the first jobs and crews of the week with names of their own."""
    kept, own = {job.id for job in week.jobs[:jobs]}, {crew.id for crew in week.crews[:crews]}

    def named(name: str | None) -> str | None:
        return None if name is None else head + name

    return replace(
        week,
        yards=tuple(replace(one, id=head + one.id, place=head + one.place) for one in week.yards),
        crews=tuple(replace(one, id=head + one.id, yard=head + one.yard) for one in week.crews[:crews]),
        helpers=tuple(replace(one, yard=head + one.yard) for one in week.helpers),
        equipment=tuple(replace(one, yard=head + one.yard) for one in week.equipment),
        stock=tuple(replace(one, yard=head + one.yard) for one in week.stock),
        jobs=tuple(
            replace(
                job, id=head + job.id, place=head + job.place, yard=named(job.yard),
                skip_cents=job.skip_cents + 100 * (n * k % 37),
                booked=None
                if job.booked is None or job.booked.crew not in own
                else replace(job.booked, crew=head + job.booked.crew),
            )
            for k, job in enumerate(week.jobs[:jobs])
        ),
        follows=tuple(
            replace(one, first=head + one.first, then=head + one.then)
            for one in week.follows
            if one.first in kept and one.then in kept
        ),
    )  # fmt: skip


@dataclass(frozen=True)
class Measured:
    """What planning took by the clock, of all workers' processors and of the busiest, in seconds; the plan's cents."""

    seconds: float
    all: float
    busiest: float
    cost: int
    bound: int | None


def measured(week: Week, workers: int) -> Measured:
    """Return what planning the week by so many workers of one thread each takes, engines loaded."""
    with tempfile.TemporaryDirectory() as folder:
        where = Path(folder) / "scheduler.json"
        begun = [_begun("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(where))]
        try:
            address = ""
            while not address:
                time.sleep(0.2)
                address = where.read_text().split('"address": "')[-1].split('"')[0] if where.exists() else ""
            one = ("--nthreads", "1", "--no-nanny", "--local-directory", folder)
            begun += [_begun("worker", address, *one) for _ in range(workers)]
            with ClusterDoor(address) as door:
                while not (door.far and door.at_once == workers):
                    time.sleep(1.0)
                    door.begin()
                door.begin()
                door.everywhere(_load)
                before, began = door.everywhere(_used), time.perf_counter()
                line = door.line()
                elsewhere = Elsewhere(door, door.at_once)
                plan = plan_by_yard(week, seconds=None, clock=time.monotonic, elsewhere=elsewhere, line=line)
                took = time.perf_counter() - began
                used = {pid: seconds - dict(before)[pid] for pid, seconds in door.everywhere(_used)}
                assert not door.note, door.note
                assert not audit(week, plan).broken_rules
                return Measured(took, sum(used.values()), max(used.values()), plan.cost.total, plan.bound)
        finally:
            for process in begun:
                process.kill()
                process.wait()


def _begun(what: str, *words: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *words, "--no-dashboard"]
    return subprocess.Popen(command, stderr=subprocess.DEVNULL)


def _used() -> tuple[int, float]:
    return os.getpid(), time.process_time()


def _load() -> None:
    from scheduler import plan_week, tiny_week

    plan_week(tiny_week(), seconds=None, clock=time.monotonic)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--yards", type=int, default=20)
    parser.add_argument("--jobs", type=int, default=120)
    parser.add_argument("--crews", type=int, default=10)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    given = parser.parse_args()
    week = week_of_yards(given.yards, given.jobs, given.crews)
    began = time.perf_counter()
    parts, took = parts_of(week), time.perf_counter() - began
    print(f"{len(week.jobs)} jobs, {len(week.crews)} crews in {len(parts)} parts, found in {took:.2f} s")
    print(
        "| workers | s by the clock | speed-up | s of processors | of the busiest | speed-up | shared | cost | bound |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    first: tuple[int, Measured] | None = None
    for workers in given.workers:
        one = measured(week, workers)
        first = first or (workers, one)
        clock, busy = first[1].seconds / one.seconds, first[1].busiest / one.busiest
        bound = "–" if one.bound is None else f"{one.bound / 100:,.2f}"
        print(
            f"| {workers} | {one.seconds:.1f} | {clock:.2f} | {one.all:.1f} | {one.busiest:.1f} | {busy:.2f} "
            f"| {one.all / one.busiest:.2f} | {one.cost / 100:,.2f} | {bound} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
