"""Two workers on one PostgreSQL database: what one does, the other knows, and what one leaves, the other sees to."""

from __future__ import annotations

import asyncio
import datetime
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from api import tables
from api.database import Duty, Hold, open_database, transaction
from api.database.holding import hold
from api.database.server_locks import ServerLocks, workers_of
from api.ledger.history import note
from api.ledger.kept import on_record
from api.rebooking.progress import SearchesUnderWay
from api.week.run import runs as module
from api.week.run.runs import Runs
from api.workers import signals as hearing
from api.workers.keepers import Keepers
from api.workers.lookout import Lookout
from api.workers.signals import Signals
from api.workers.turns import Turn, turn
from scheduler.documents import encode
from scheduler.errors import BadInput
from tests.service.scripted import SMALL, Script, ScriptedDesk
from tests.waiting import until

NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Worker:
    """What one worker has of its own: its connections, its locks, what it hears, and its runs."""

    database: sa.Engine
    held: Hold
    signals: Signals
    runs: Runs

    def die(self) -> None:
        """Be no more for the others, as a process that was killed is."""
        self.runs._ended.set()
        self.held.release()
        with self.database.connect() as connection:  # the server notices in a moment
            until(lambda: self.held.number not in {one.number for one in workers_of(connection)})


@pytest.fixture
def two(postgresql_database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Worker, Worker]]:
    monkeypatch.setattr(module, "Desk", ScriptedDesk)
    monkeypatch.setattr(module, "LISTEN_S", 0.01)
    monkeypatch.setattr(module, "MEND_S", 0.1)
    monkeypatch.setattr(module, "STOP_S", 0.1)  # for a planner that does not answer
    monkeypatch.setattr(hearing, "HEAR_S", 0.1)
    ScriptedDesk.scripts = {}
    made = []
    for place in ("one", "two"):
        database, held = open_database(postgresql_database), hold(tmp_path, postgresql_database, place=place)
        held.join()
        signals, runs = Signals(database, held.number), Runs(database, 1, lambda: NOW, held)
        signals.start()
        runs.start(signals)
        made.append(Worker(database, held, signals, runs))
    until(lambda: all(one.signals.changes for one in made))  # they hear
    yield made[0], made[1]
    for one in made:
        one.runs.close()
        one.signals.close()
        one.held.release()
        one.database.dispose()


def asked(worker: Worker, script: Script) -> tables.PlanRun:
    row = tables.PlanRun(
        start_date=SMALL.start_date, seconds=60, asked_at=NOW, asked_by="maud", week=encode(SMALL).decode(),
        worker=worker.runs.worker,
    )  # fmt: skip
    with transaction(worker.database) as session:
        session.add(row)
    ScriptedDesk.scripts[row.id or 0] = script
    worker.runs.begin(row, "")
    return row


def stored(worker: Worker, run: tables.PlanRun) -> tables.PlanRun:
    with transaction(worker.database) as session:
        return session.get_one(tables.PlanRun, run.id)


def test_a_run_is_followed_and_stopped_from_another_worker(two: tuple[Worker, Worker]) -> None:
    here, there = two
    run = asked(here, Script([True], True, "plan"))
    assert there.runs.shown(run.id or 0) is None  # it is not at it, and reads of it in the database
    seen: list[tuple[str, int | None]] = []

    async def follow() -> None:
        async for shown in there.runs.watch(run.id or 0):
            if shown is not None:
                seen.append((shown.state, shown.cost_cents))
            if shown is not None and shown.cost_cents and shown.state == "running":
                assert await asyncio.to_thread(there.runs.stop, run.id or 0)

    asyncio.run(asyncio.wait_for(follow(), 30))
    assert seen[-1][0] == "stopped"
    assert ("running", seen[-1][1]) in seen
    row = stored(there, run)
    assert (row.state, row.plan_id is not None, row.start) == ("stopped", True, "")
    assert not there.runs.stop(run.id or 0)


def test_runs_of_a_worker_that_is_killed_keep_what_they_found_or_are_taken_over(two: tuple[Worker, Worker]) -> None:
    here, there = two
    going, waiting = asked(here, Script([True], True, "silent")), asked(here, Script([], False, "plan"))
    until(lambda: stored(there, going).best != "")
    time.sleep(0.5)  # alive, it is left alone
    assert (stored(there, going).state, stored(there, waiting).state) == ("running", "waiting")
    here.die()
    until(lambda: stored(there, going).state == "cut off")
    until(lambda: stored(there, waiting).state == "done")
    assert stored(there, going).plan_id is not None
    assert stored(there, waiting).worker == there.runs.worker
    assert stored(there, waiting).plan_id is not None


def test_one_leads_and_another_takes_over_with_its_keepers(two: tuple[Worker, Worker]) -> None:
    here, there = two
    looks: list[str] = []

    def keepers_of(worker: Worker, name: str) -> Keepers:
        looked = Lookout("looks", lambda: looks.append(name), every_s=60, failed="it failed", at_once=True)
        return Keepers([looked], worker.held, worker.signals, lambda: looks.append(f"{name} leads"))

    first, second = keepers_of(here, "first"), keepers_of(there, "second")
    for _ in range(2):
        first.keep()
        second.keep()
    assert (first.leads, second.leads) == (True, False)
    until(lambda: looks == ["first leads", "first"])
    first.keep()
    until(lambda: bool(second.looked()) and second.looked()[0].looked_at is not None)  # as the leader has told
    with there.database.connect() as connection:
        assert [(one.place, one.leads) for one in workers_of(connection)] == [("one", True), ("two", False)]
    here.die()
    second.keep()
    assert second.leads
    until(lambda: looks[2:] == ["second leads", "second"])
    second.close()


def test_a_lead_lost_with_its_connection_is_given_up_where_another_has_taken_it(two: tuple[Worker, Worker]) -> None:
    here, there = two
    first = Keepers([], here.held, here.signals, lambda: None)
    first.keep()
    assert first.leads
    with there.database.begin() as other:
        other.execute(
            sa.text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name LIKE '%at one'")
        )
    until(lambda: there.held.take(Duty.LEAD))
    first.keep()
    assert not first.leads
    assert here.held.number in there.held.workers()  # it is a worker again, and no longer the leader
    there.held.drop(Duty.LEAD)
    first.keep()
    assert first.leads
    first.close()


def test_lines_that_come_into_sight_late_are_not_missed(two: tuple[Worker, Worker]) -> None:
    """The newer of two lines is kept first: the number of the newest then says nothing of the older one."""
    here, there = two

    def mark() -> object:
        with transaction(there.database) as session:
            return on_record(session)

    with transaction(here.database) as late:
        note(late, NOW, "olive", "changed", "crew", "north-1", {})
        late.flush()
        with transaction(here.database) as quick:
            note(quick, NOW, "maud", "changed", "crew", "north-2", {})
        until(lambda: there.signals.changes > 1)
        before = mark()
    until(lambda: mark() != before)


def test_what_stands_in_no_table_is_told(two: tuple[Worker, Worker]) -> None:
    here, there = two
    mine, theirs = SearchesUnderWay(here.signals), SearchesUnderWay(there.signals)
    assert mine.begin(7, "J-1", moving=False)
    until(lambda: theirs.of(7, "J-1").phase == "waiting for its turn")
    assert not theirs.begin(7, "J-1", moving=False)
    mine.say(7, "J-1", "", "The search broke off.")
    until(lambda: theirs.of(7, "J-1").fault == "The search broke off.")
    assert mine.of(7, "J-1").phase == theirs.of(7, "J-1").phase == ""


@pytest.mark.race
def test_turns_are_waited_for_over_workers(two: tuple[Worker, Worker]) -> None:
    here, there = two
    order: list[str] = []

    def second() -> None:
        with turn(there.database, Turn.PROMISE):
            order.append("second")

    with turn(here.database, Turn.PROMISE):
        with pytest.raises(TimeoutError), turn(there.database, Turn.PROMISE, 0.05):
            pass
        thread = threading.Thread(target=second)
        thread.start()
        with turn(there.database, Turn.BEGIN_RUN):  # another thing
            order.append("first")
    thread.join()
    assert order == ["first", "second"]


def test_one_that_must_be_alone_is_refused_while_workers_are_there(
    two: tuple[Worker, Worker], postgresql_database: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput, match="is served already by another eaveboard serve"):
        hold(tmp_path / "other", postgresql_database)
    with pytest.raises(BadInput, match="is served already by another eaveboard serve"):
        hold(tmp_path, postgresql_database)
    for one in two:
        one.die()
    alone = hold(tmp_path, postgresql_database)
    with pytest.raises(BadInput, match="is served already by another eaveboard serve"):
        hold(tmp_path / "other", postgresql_database, place="three")
    alone.release()


def test_locks_that_were_let_go_of_are_not_taken_up_again_by_who_still_asks(two: tuple[Worker, Worker]) -> None:
    here, _ = two
    third = ServerLocks(here.database.url, 3, "three")
    assert third.begin()
    third.join()
    assert third.workers() == {here.held.number, two[1].held.number, 3}
    third.release()
    assert not third.keep()
    with pytest.raises(SQLAlchemyError, match="not held just now"):
        third.workers()
    with here.database.connect() as connection:
        until(lambda: 3 not in {one.number for one in workers_of(connection)})
