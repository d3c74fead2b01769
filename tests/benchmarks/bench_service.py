"""How quickly lists, sheets and job pages are read with 10,000 jobs in the database and 50 people at work.

Run: .venv/bin/python -m tests.benchmarks.bench_service   (--database sqlite|postgresql, --seconds N, --clients N)

The service runs as `eaveboard serve` does, on a database of its own. Each client sends one request after the other and
pauses between them, as a person who reads does (--pause, mean of an even spread); then all of it once more without any
pause, which is 50 programs at once. Aim: 95 of 100 reads within 100 ms with the pause. The clients run in this process
on the same machine. `busy` is the service's processor time for each request: it does not depend on what else runs.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import sqlalchemy as sa
from sqlmodel import select

from api import tables
from api.access.accounts import Passwords, new_session
from api.database import open_database, transaction, upgrade
from api.ledger.history import note
from api.papers.stored.keeper import renew
from api.settings import sqlite_address
from api.week.run.planning import plan_week, prepare_week
from scheduler.plan import read_plan
from tests import postgresql
from tests.benchmarks.big_business import Size, fill
from tests.one_a_day import one_a_day

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
SIZE = Size(done=7000, week=120, later=2880, crews=10)
PAGE, JSON = "text/html,application/xhtml+xml", "application/json"


@dataclass
class Figures:
    """Seconds that each answer took, by kind of request."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    refused: int = 0


@dataclass(frozen=True)
class Asked:
    """The kinds of request with their share, and what they ask for."""

    days: list[tuple[str, datetime.date]]
    week_jobs: list[str]
    jobs: int

    def one(self, chance: random.Random) -> tuple[str, str, str]:
        """Return the kind of a request, its address and what it accepts."""
        n = f"{chance.randrange(1, self.jobs):05}"
        crew, day = chance.choice(self.days)
        kinds = [
            (3, "list of jobs, page", f"/jobs?after=J-{n}", PAGE),
            (2, "list of jobs, JSON", f"/jobs?after=J-{n}&limit=50", JSON),
            (2, "customers, JSON", f"/customers?after=C-{n}&limit=50", JSON),
            (2, "sites, JSON", f"/sites?after=S-{n}&limit=50", JSON),
            (3, "week sheet, page", f"/weeks/{MONDAY}", PAGE),
            (2, "week sheet, JSON", f"/weeks/{MONDAY}", JSON),
            (3, "day sheet, page", f"/crews/{crew}/days/{day}", PAGE),
            (3, "job, page", f"/jobs/{chance.choice(self.week_jobs)}", PAGE),
        ]
        _, kind, path, accept = chance.choices(kinds, [share for share, *_ in kinds])[0]
        return kind, path, accept


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--database", choices=("sqlite", "postgresql", "both"), default="both")
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--pause", type=float, default=1.0)
    asked = parser.parse_args()
    for kind in ("sqlite", "postgresql") if asked.database == "both" else (asked.database,):
        if kind == "postgresql" and postgresql.binaries() is None:
            print("PostgreSQL is not installed: left out")
            continue
        with _database(kind) as (folder, address):
            wanted, token = _fill(address)
            for pause in (asked.pause, 0.0):
                with _service(folder, address) as (port, server):
                    figures, busy = asyncio.run(_load(port, server, token, wanted, asked.clients, asked.seconds, pause))
                _print(f"{kind}, {asked.clients} clients, pause {pause:g} s", figures, busy, asked.seconds)


@contextlib.contextmanager
def _database(kind: str) -> Iterator[tuple[Path, str]]:
    """Give a folder and the address of an empty database."""
    with tempfile.TemporaryDirectory(prefix="eave-load-") as name:
        folder = Path(name)
        if kind == "sqlite":
            yield folder, sqlite_address(folder)
            return
        home = Path(tempfile.mkdtemp(prefix="eave-pg-", dir="/tmp"))
        try:
            with postgresql.running(home) as address:
                yield folder, address
        finally:
            shutil.rmtree(home, ignore_errors=True)


def _fill(address: str) -> tuple[Asked, str]:
    """Load the business, plan and post its week; return what can be asked for, and the token of a session."""
    began = time.perf_counter()
    engine = open_database(address)
    upgrade(engine)
    with transaction(engine) as session:
        week_jobs = fill(session, SIZE, MONDAY)
    with transaction(engine) as session:
        renew(session, week_jobs, NOW)
    stored, _ = plan_week(engine, prepare_week(engine, MONDAY, NOW), one_a_day, seconds=1, now=NOW, by="bench")
    with transaction(engine) as session:
        session.add(tables.PostedWeek(start_date=MONDAY, plan_id=stored.id, posted_at=NOW, posted_by="bench"))
        note(session, NOW, "bench", "posted", "week", str(MONDAY), {})
        password = Passwords(quick=True).hash("seven brown kites")
        account = tables.Account(name="olive", role="office", password=password)
        session.add(account)
        session.flush()
        token = new_session(session, account, datetime.datetime.now(datetime.UTC), hours=12)
    if engine.dialect.name == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(sa.text("ANALYZE"))
    with transaction(engine) as session:
        plan = read_plan(session.exec(select(tables.StoredPlan.plan)).one())
    engine.dispose()
    routes = [(route.crew, MONDAY + datetime.timedelta(days=route.day)) for route in plan.routes]
    jobs = SIZE.done + SIZE.week + SIZE.later
    print(f"{jobs} jobs loaded, {len(week_jobs)} in the week, {len(routes)} crew days posted, "
          f"in {time.perf_counter() - began:.0f} s")  # fmt: skip
    return Asked(routes, week_jobs, jobs), token


@contextlib.contextmanager
def _service(folder: Path, address: str) -> Iterator[tuple[int, int]]:
    """Run the service as `eaveboard serve` does; its background work off, so that reads alone are measured."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = {"DATA": str(folder), "DATABASE": address, "PORT": str(port), "PREPARERS": "0",
                "CLOCK": "2027-04-12T12:00:00+00:00"}  # fmt: skip
    environment = os.environ | {f"EAVEBOARD_{name}": value for name, value in settings.items()}
    words = [sys.executable, "-c", "from api.cli import main; main(['serve'])"]
    server = subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 120
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            if server.poll() is not None or time.monotonic() > end:
                raise RuntimeError("the service did not start")
            time.sleep(0.2)
        yield port, server.pid
    finally:
        server.terminate()
        server.wait(60)


async def _load(
    port: int, server: int, token: str, asked: Asked, clients: int, seconds: float, pause: float
) -> tuple[Figures, float]:
    """Return the figures of `clients` at work for `seconds`, and the service's processor seconds meanwhile."""
    # Each page once first: templates are read, and what is kept of the plan is in memory, as on any working day.
    warm, chance = Figures(), random.Random(0)
    await _client(port, token, [asked.one(chance) for _ in range(40)], warm, 0.0, chance, None)
    figures, until, before = Figures(), time.perf_counter() + seconds, _processor_s(server)
    await asyncio.gather(
        *(_client(port, token, asked, figures, pause, random.Random(n), until) for n in range(1, clients + 1))
    )
    return figures, _processor_s(server) - before


async def _client(
    port: int,
    token: str,
    asked: Asked | list[tuple[str, str, str]],
    figures: Figures,
    pause: float,
    chance: random.Random,
    until: float | None,
) -> None:
    """Send requests one after the other as a browser does, until a moment or the end of the list."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    listed = iter(asked) if isinstance(asked, list) else None
    if until is not None:
        await asyncio.sleep(chance.uniform(0, pause))
    while until is None or time.perf_counter() < until:
        request = next(listed, None) if listed is not None else asked.one(chance)  # type: ignore[union-attr]
        if request is None:
            break
        kind, path, accept = request
        began = time.perf_counter()
        head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAccept: {accept}\r\nAccept-Encoding: gzip\r\n"
        while True:
            try:
                writer.write(f"{head}Cookie: eave-session={token}\r\n\r\n".encode())
                status, headers = await _head(reader)
                await reader.readexactly(int(headers["content-length"]))
                break
            except (ConnectionError, asyncio.IncompleteReadError):  # the service closes one that was idle for long
                writer.close()
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
        figures.seconds[kind].append(time.perf_counter() - began)
        figures.refused += status != 200
        if pause:
            await asyncio.sleep(chance.uniform(0, 2 * pause))
    writer.close()


async def _head(reader: asyncio.StreamReader) -> tuple[int, dict[str, str]]:
    lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
    headers = dict(line.lower().split(": ", 1) for line in lines[1:] if line)
    return int(lines[0].split()[1]), headers


def _processor_s(server: int) -> float:
    """Return the seconds that a process has kept processors busy (Linux: fields 14 and 15 of its stat file)."""
    fields = Path(f"/proc/{server}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _print(title: str, figures: Figures, busy: float, seconds: float) -> None:
    every = [took for kind in figures.seconds.values() for took in kind]
    print(f"\n{title}: {len(every)} answers, {len(every) / seconds:.0f} a second, {figures.refused} not 200, "
          f"busy {1000 * busy / len(every):.1f} ms each")  # fmt: skip
    print(f"{'':24} {'answers':>8} {'p50 ms':>8} {'p95 ms':>8} {'most ms':>8}")
    for kind, took in [*sorted(figures.seconds.items()), ("all", every)]:
        edges = [1000 * edge for edge in (statistics.median(took), _part(took, 0.95), max(took))]
        print(f"{kind:24} {len(took):8} " + " ".join(f"{edge:8.1f}" for edge in edges))


def _part(values: list[float], part: float) -> float:
    return sorted(values)[min(len(values) - 1, int(part * len(values)))]


if __name__ == "__main__":
    main()
