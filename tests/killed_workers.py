"""Workers killed over and over while people write: what was acknowledged must be there, once.

    .venv/bin/python -m tests.killed_workers --kills 200

starts a PostgreSQL server of its own and a service of two workers, has three people enter customers, each sent again
under its key until it is acknowledged, and kills one worker after another, in turn the one that leads and the other;
each leaves a run of the planner that has told of a plan. Then it counts what was lost or done twice.
"""

from __future__ import annotations

import argparse
import collections
import datetime
import itertools
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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
from api.week.run.ending import GOING
from scheduler.documents import encode
from tests import postgresql
from tests.service.cast import JSON, NAMES, PASSWORD, sign_in
from tests.service.scripted import BEST, SMALL
from tests.waiting import PATIENCE_S

ROOT = Path(__file__).parents[1]
WRITERS = 3


@dataclass
class Tally:
    """What befell: the names that were acknowledged, with their ids, and how often a request was sent in vain."""

    acknowledged: dict[str, str] = field(default_factory=dict)
    kills: int = 0
    in_vain: int = 0
    leaders_killed: int = 0
    runs_cut: int = 0
    faults: list[str] = field(default_factory=list)


def until(holds: Callable[[], bool], what: str) -> None:
    end = time.monotonic() + PATIENCE_S
    while not holds():
        if time.monotonic() > end:
            raise TimeoutError(f"waited in vain until {what}")
        time.sleep(0.02)


@contextmanager
def served(folder: Path, address: str, workers: int) -> Iterator[str]:
    """Serve by so many workers of one command; give the address of the pages."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_PORT": str(port), "EAVEBOARD_PASSWORD_COST": "quick"}
    own |= {"EAVEBOARD_DATABASE": address, "EAVEBOARD_PREPARERS": "0"}
    serve = [sys.executable, "-c", "from api.cli import main; main()", "serve", "--workers", str(workers)]
    with (folder / "log").open("wb") as log, subprocess.Popen(serve, env=own, cwd=ROOT, stderr=log) as service:
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            service.terminate()
            service.wait(60)


def pid_of(worker: Worker) -> int:
    return int(worker.place.rpartition(" ")[2])


def at_work(database: sa.Engine) -> list[Worker]:
    with database.connect() as connection:
        return workers_of(connection)


def two_at_work(database: sa.Engine, killed: set[int]) -> list[Worker]:
    """Return the two workers, the one that leads first, once there are two beside those that were killed."""
    found: list[Worker] = []

    def there() -> bool:
        found[:] = [one for one in at_work(database) if one.number not in killed]
        return len(found) == 2 and found[0].leads

    until(there, "two workers are at work and one leads")
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
        except httpx.TransportError:  # its worker was killed
            tally.in_vain += 1
            waiting.appendleft(name)
            time.sleep(0.02)
            continue
        if answer.status_code == 201:
            tally.acknowledged[name] = answer.json()["id"]
        elif answer.status_code in (409, 503):  # whether the first try has ended is not known yet
            tally.in_vain += 1
            waiting.append(name)
        else:
            tally.faults.append(f"{name}: {answer.status_code} {answer.text[:200]}")
        time.sleep(0.01)


def leave_run(database: sa.Engine, worker: Worker, now: datetime.datetime) -> None:
    """Have a run stand in the database as a worker leaves it that is killed: at work, with a plan told of."""
    row = tables.PlanRun(
        start_date=SMALL.start_date, state="running", seconds=60, asked_at=now, asked_by="maud", worker=worker.number,
        week=encode(SMALL).decode(), best=encode(BEST).decode(), progress=[[1.0, BEST.cost.total, None]],
    )  # fmt: skip
    with transaction(database) as session:
        session.add(row)


def kill_workers(address: str, folder: Path, kills: int, tally: Tally) -> None:
    """Serve by two workers, have people write, and kill a worker `kills` times, in turn one that leads and one not."""
    database = open_database(address)
    upgrade(database)
    with transaction(database) as session:
        hashed = Passwords(quick=True).hash(PASSWORD)
        session.add(tables.Account(name=NAMES[Role.office], role=Role.office, password=hashed))
        session.add(tables.Account(name=NAMES[Role.manager], role=Role.manager, password=hashed))
    end, killed = threading.Event(), set[int]()
    with served(folder, address, 2) as pages:
        two_at_work(database, set())
        until(lambda: _answers(pages), "they answer")
        writers = [threading.Thread(target=write, args=(pages, n, end, tally)) for n in range(WRITERS)]
        for one in writers:
            one.start()
        try:
            for n in range(kills):
                known = len(tally.acknowledged)
                until(lambda known=known: len(tally.acknowledged) > known, "something is acknowledged")  # type: ignore[misc]
                chosen = two_at_work(database, killed)[n % 2]
                leave_run(database, chosen, datetime.datetime.now(datetime.UTC))
                os.kill(pid_of(chosen), signal.SIGKILL)
                killed.add(chosen.number)
                tally.kills += 1
                tally.leaders_killed += chosen.leads
            until(lambda: _going(database) == 0, "the runs of the killed are ended")
        finally:
            end.set()
            for one in writers:
                one.join()
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
    kills, tally = parser.parse_args().kills, Tally()
    server, data = (Path(tempfile.mkdtemp(prefix=prefix, dir="/tmp")) for prefix in ("eave-pg-", "eave-data-"))
    began = time.monotonic()
    try:
        with postgresql.running(server) as address:
            kill_workers(address, data, kills, tally)
    finally:
        shutil.rmtree(server)
        shutil.rmtree(data)
    print(
        f"{tally.kills} kills ({tally.leaders_killed} of the worker that led) in {time.monotonic() - began:.0f} s: "
        f"{len(tally.acknowledged)} customers acknowledged, {tally.in_vain} requests in vain, "
        f"{tally.runs_cut} runs ended with their plan kept."
    )
    for fault in tally.faults:
        print(f"FAULT {fault}")
    sys.exit(1 if tally.faults else 0)


if __name__ == "__main__":
    main()
