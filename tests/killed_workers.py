"""Workers killed over and over while people write: what was acknowledged must be there, once.

    .venv/bin/python -m tests.killed_workers --kills 200 --seed 0
    .venv/bin/python -m tests.killed_workers --kills 200 --seed 0 --database sqlite

starts a PostgreSQL server of its own and a service of two workers, has three people enter customers, each sent again
under its key until it is acknowledged, and kills one worker after another, in turn the one that leads and the other,
at moments that the seed chooses; each leaves a run of the planner that has told of a plan. On SQLite the one process is
killed and started anew. Then it counts what was lost or done twice. Parts with other seeds may be added up.

It waits by what happens, not by the clock: in vain only when the service has had `WORK_S` seconds of the processor
for what then is not so, or has ended.
"""

from __future__ import annotations

import argparse
import collections
import datetime
import itertools
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import sqlalchemy as sa
from sqlmodel import col, select

from api import tables
from api.access.accounts import Passwords, Role
from api.chain.links import broken, unsealed
from api.database import open_database, transaction, upgrade
from api.database.server_locks import Worker, workers_of
from api.settings import sqlite_address
from api.week.run.ending import GOING
from scheduler.documents import encode
from tests import postgresql
from tests.service.cast import JSON, NAMES, PASSWORD, sign_in
from tests.service.scripted import SMALL, best

ROOT = Path(__file__).parents[1]
WRITERS = 3
WORK_S = 120.0  # of the processor, for what takes a second or two of it
LAST_S = 3600.0  # by the clock, where the service does nothing at all
LATEST_KILL_S = 1.0  # after somebody was told that their customer is entered


@dataclass
class Tally:
    """What befell: the names that were acknowledged, with their ids, and how often a request was sent in vain."""

    acknowledged: dict[str, str] = field(default_factory=dict)
    kills: int = 0
    in_vain: int = 0
    leaders_killed: int = 0
    runs_cut: int = 0
    faults: list[str] = field(default_factory=list)
    answers: collections.Counter[str] = field(default_factory=collections.Counter)


def worked(pid: int) -> float:
    """Return the processor seconds of a process and of all that came of it, those that have ended too."""
    parents, ticks = dict[int, int](), dict[int, int]()
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            words = (folder / "stat").read_text().rpartition(")")[2].split()
            parents[int(folder.name)], ticks[int(folder.name)] = int(words[1]), sum(map(int, words[11:15]))
    own, before = {pid}, 0
    while before < len(own):
        before = len(own)
        own |= {one for one, parent in parents.items() if parent in own}
    return sum(ticks.get(one, 0) for one in own) / os.sysconf("SC_CLK_TCK")


@dataclass
class Service:
    """A service in a process of its own: its address, and the tally of what its callers were told."""

    pages: str
    process: subprocess.Popen[bytes]
    tally: Tally
    log: Path

    def until(self, holds: Callable[[], bool], what: str) -> None:
        """Wait until something holds; raises `AssertionError` where the service has worked for it and it does not."""
        begun, last = worked(self.process.pid), time.monotonic() + LAST_S
        while not holds():
            spent = worked(self.process.pid) - begun
            if self.process.poll() is not None or spent > WORK_S or time.monotonic() > last:
                told = f"{dict(self.tally.answers)}, {self.tally.faults[-3:]}"
                log = self.log.read_text(errors="replace")[-3000:]
                raise AssertionError(f"waited in vain until {what}; {spent:.0f} s of work; answers {told}\n{log}")
            time.sleep(0.02)


@contextmanager
def served(folder: Path, address: str, workers: int, port: int, tally: Tally) -> Iterator[Service]:
    """Serve by so many workers of one command, until then or until it is killed."""
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_PORT": str(port), "EAVEBOARD_PASSWORD_COST": "quick"}
    own |= {"EAVEBOARD_DATABASE": address, "EAVEBOARD_PREPARERS": "0"}
    serve = [sys.executable, "-c", "from api.cli import main; main()", "serve"]
    serve += ["--workers", str(workers)] if workers > 1 else []
    path = folder / "log"
    with path.open("ab") as log, subprocess.Popen(serve, env=own, cwd=ROOT, stderr=log) as process:
        try:
            yield Service(f"http://127.0.0.1:{port}", process, tally, path)
        finally:
            process.terminate()
            process.wait(600)


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def pid_of(worker: Worker) -> int:
    return int(worker.place.rpartition(" ")[2])


def at_work(database: sa.Engine) -> list[Worker]:
    with database.connect() as connection:
        return workers_of(connection)


def two_at_work(service: Service, database: sa.Engine, killed: set[int]) -> list[Worker]:
    """Return the two workers, the one that leads first, once there are two beside those that were killed."""
    found: list[Worker] = []

    def there() -> bool:
        found[:] = [one for one in at_work(database) if one.number not in killed]
        return len(found) == 2 and found[0].leads

    service.until(there, "two workers are at work and one leads")
    return found


def write(address: str, writer: int, end: threading.Event, tally: Tally) -> None:
    """Enter customers, each sent again under the same key until it is acknowledged, now and then after others."""
    waiting: collections.deque[str] = collections.deque()
    client: httpx.Client | None = None
    for number in itertools.count():
        if end.is_set():
            return
        waiting.append(f"Customer {writer}-{number}")
        name = waiting.popleft()
        try:
            client = client or sign_in(httpx.Client(base_url=address, timeout=20), NAMES[Role.office])  # type: ignore[arg-type]
            headers = {**JSON, "Idempotency-Key": name.replace(" ", "-")}
            answer = client.post("/customers", json={"name": name}, headers=headers)
        except httpx.TransportError as fault:  # its worker was killed
            tally.in_vain += 1
            tally.answers[type(fault).__name__] += 1
            waiting.appendleft(name)
            time.sleep(0.02)
            continue
        tally.answers[str(answer.status_code)] += 1
        if answer.status_code == 201:
            tally.acknowledged[name] = answer.json()["id"]
        elif answer.status_code in (409, 503):  # whether the first try has ended is not known yet
            tally.in_vain += 1
            waiting.append(name)
        else:
            tally.faults.append(f"{name}: {answer.status_code} {answer.text[:200]}")
        time.sleep(0.01)


def leave_run(database: sa.Engine, worker: int, now: datetime.datetime) -> None:
    """Have a run stand in the database as a worker leaves it that is killed: at work, with a plan told of."""
    row = tables.PlanRun(
        start_date=SMALL.start_date, state="running", seconds=60, asked_at=now, asked_by="maud", worker=worker,
        week=encode(SMALL).decode(), best=encode(best()).decode(), progress=[[1.0, best().cost.total, None]],
    )  # fmt: skip
    with transaction(database) as session:
        session.add(row)


def people(address: str) -> sa.Engine:
    """Return the database, brought up to date, with those who sign in."""
    database = open_database(address)
    upgrade(database)
    with transaction(database) as session:
        hashed = Passwords(quick=True).hash(PASSWORD)
        session.add(tables.Account(name=NAMES[Role.office], role=Role.office, password=hashed))
        session.add(tables.Account(name=NAMES[Role.manager], role=Role.manager, password=hashed))
    return database


@contextmanager
def writing(pages: str, tally: Tally) -> Iterator[None]:
    """Have people write meanwhile; one who could not go on is a fault."""
    end = threading.Event()

    def work(number: int) -> None:
        try:
            write(pages, number, end, tally)
        except Exception as fault:
            tally.faults.append(f"writer {number} could not go on: {fault!r}")

    writers = [threading.Thread(target=work, args=(n,)) for n in range(WRITERS)]
    for one in writers:
        one.start()
    try:
        yield
    finally:
        end.set()
        for one in writers:
            one.join()


def acknowledged_anew(service: Service, chance: random.Random) -> None:
    """Wait until one more customer is acknowledged, and then for a moment of chance."""
    known = len(service.tally.acknowledged)
    service.until(lambda: len(service.tally.acknowledged) > known, "something is acknowledged")
    time.sleep(chance.uniform(0, LATEST_KILL_S))


def kill_workers(address: str, folder: Path, kills: int, tally: Tally, seed: int = 0) -> None:
    """Serve by two workers, have people write, and kill a worker `kills` times, in turn one that leads and one not."""
    database, chance, killed = people(address), random.Random(seed), set[int]()
    with served(folder, address, 2, free_port(), tally) as service:
        two_at_work(service, database, set())
        service.until(lambda: _answers(service.pages), "they answer")
        with writing(service.pages, tally):
            for n in range(kills):
                acknowledged_anew(service, chance)
                chosen = two_at_work(service, database, killed)[n % 2]
                leave_run(database, chosen.number, datetime.datetime.now(datetime.UTC))
                os.kill(pid_of(chosen), signal.SIGKILL)
                killed.add(chosen.number)
                tally.kills += 1
                tally.leaders_killed += chosen.leads
            service.until(lambda: _going(database) == 0, "the runs of the killed are ended")
    _count(database, tally)
    database.dispose()


def kill_services(address: str, folder: Path, kills: int, tally: Tally, seed: int = 0) -> None:
    """Serve by one process, have people write, and kill it `kills` times, starting it anew each time."""
    database, chance, port = people(address), random.Random(seed), free_port()
    with writing(f"http://127.0.0.1:{port}", tally):
        for n in range(kills + 1):
            with served(folder, address, 1, port, tally) as service:
                service.until(lambda: _answers(service.pages), "it answers")
                acknowledged_anew(service, chance)
                service.until(lambda: _going(database) == 0, "the run of the killed is ended")
                if n < kills:
                    leave_run(database, 0, datetime.datetime.now(datetime.UTC))
                    service.process.kill()
                    tally.kills += 1
                    tally.leaders_killed += 1
    _count(database, tally)
    database.dispose()


def _answers(pages: str) -> bool:
    try:
        return httpx.get(f"{pages}/health").status_code == 200
    except httpx.TransportError:
        return False


def _going(database: sa.Engine) -> int:
    with transaction(database) as session:
        return len(session.exec(select(tables.PlanRun.id).where(col(tables.PlanRun.state).in_(GOING))).all())


def _count(database: sa.Engine, tally: Tally) -> None:
    """Compare what is in the database with what was acknowledged."""
    with transaction(database) as session:
        rows = list(session.exec(select(tables.Customer)))
        made = list(
            session.exec(select(tables.History).where(tables.History.did == "made", tables.History.noun == "customer"))
        )
        runs = list(session.exec(select(tables.PlanRun)))
        tally.faults += [one.words for one in broken(session)]
        if left := unsealed(session):
            tally.faults.append(f"{left} rows are not sealed")
    ids = {row.name: row.id for row in rows}
    tally.faults += [f"{name} was acknowledged and is lost" for name in tally.acknowledged.keys() - ids.keys()]
    tally.faults += [f"{name} is another" for name, own in tally.acknowledged.items() if ids.get(name, own) != own]
    twice = [name for name, n in collections.Counter(row.name for row in rows).items() if n > 1]
    tally.faults += [f"{name} was made twice" for name in twice]
    if {line.noun_id for line in made} != set(ids.values()) or len(made) != len(rows):
        tally.faults.append(f"{len(made)} lines of the history for {len(rows)} customers")
    tally.runs_cut = sum(run.state == "cut off" and run.plan_id is not None for run in runs)
    if tally.runs_cut != tally.kills:
        tally.faults.append(f"of {tally.kills} runs that were left, {tally.runs_cut} kept their plan")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--database", choices=("postgresql", "sqlite"), default="postgresql")
    given, tally = parser.parse_args(), Tally()
    server, data = (Path(tempfile.mkdtemp(prefix=prefix, dir="/tmp")) for prefix in ("eave-pg-", "eave-data-"))
    began = time.monotonic()
    try:
        if given.database == "sqlite":
            kill_services(sqlite_address(data), data, given.kills, tally, given.seed)
        else:
            with postgresql.running(server) as address:
                kill_workers(address, data, given.kills, tally, given.seed)
    finally:
        shutil.rmtree(server)
        shutil.rmtree(data)
    print(
        f"{given.database}, seed {given.seed}: "
        f"{tally.kills} kills ({tally.leaders_killed} of the worker that led) in {time.monotonic() - began:.0f} s: "
        f"{len(tally.acknowledged)} customers acknowledged, {tally.in_vain} requests in vain, "
        f"{tally.runs_cut} runs ended with their plan kept, {len(tally.faults)} faults."
    )
    for fault in tally.faults:
        print(f"FAULT {fault}")
    sys.exit(1 if tally.faults else 0)


if __name__ == "__main__":
    main()
