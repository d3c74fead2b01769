"""Asking what would pay: planned anew in a process of its own, one question at a time, and the answer kept.

Over all workers one question is at work: a row that says so while none is, is of a worker that is no more.
"""

from __future__ import annotations

import datetime
import logging
import multiprocessing
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import Duty, Hold, transaction
from api.ledger.history import note
from api.workers.giving_way import give_way
from api.workers.lookout import Lookout
from api.workers.turns import Turn, one_at_a_time

CHOICES_S = (60, 120, 300, 600)
LOOK_S = 10.0  # between two looks for questions that nobody is at
_log = logging.getLogger("eaveboard")


class WorthRuns:
    """The questions of one worker; `close` before the database is. `lookout` ends those that nobody is at."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime], held: Hold) -> None:
        self._database, self._clock, self._held = database, clock, held
        self._left: set[int] = set()
        self.lookout = Lookout(
            "worth", self.look, every_s=LOOK_S, failed="questions that nobody is at could not be looked for"
        )
        self._lock = threading.Lock()
        self._process: Any = None
        self._thread: threading.Thread | None = None
        self._closing = False

    def begin(self, run_id: int, week: str, names: dict[str, str], seconds: float) -> None:
        """Ask of a week document, its crews called by `names`, what would pay; its row, running, is in the database."""
        with self._lock:
            if self._closing:
                return
            self._held.take(Duty.WORTH)
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe(duplex=False)
            self._process = context.Process(target=find, args=(theirs, week, names, seconds), name="worth", daemon=True)
            self._process.start()
            theirs.close()  # the process holds it: its end is heard here
            self._thread = threading.Thread(target=self._await, args=(run_id, ours, self._process), daemon=True)
            self._thread.start()

    def look(self) -> None:
        """End questions that nobody is at: seen so twice, since one just asked is written before it is taken up."""
        with transaction(self._database) as session:
            rows = session.exec(select(tables.WorthRun.id).where(tables.WorthRun.state == "running")).all()
        left = set[int]() if self._held.is_taken(Duty.WORTH) else {one for one in rows if one is not None}
        gone, self._left = left & self._left, left
        if gone:
            cut_off(self._database, self._clock())

    def close(self) -> None:
        """End what is under way; its row then says so."""
        with self._lock:
            self._closing = True
            process, thread = self._process, self._thread
        if process is not None and process.is_alive():
            process.kill()
        if thread is not None:
            thread.join(10)

    def _await(self, run_id: int, line: Connection, process: Any) -> None:
        try:
            self._answered(run_id, line, process)
        finally:
            self._held.drop(Duty.WORTH)

    def _answered(self, run_id: int, line: Connection, process: Any) -> None:
        state, found, fault = "cut off", [], "It was ended from outside."
        with suppress(EOFError, OSError):
            state, answer = line.recv()
            found, fault = (answer, "") if state == "done" else ([], str(answer))
        process.join()
        line.close()
        if state == "failed":
            _log.error("asking what would pay failed: %s", fault)
            fault = "The planner failed; whoever looks after this machine finds why."
        with transaction(self._database) as session:
            row = session.get(tables.WorthRun, run_id)
            if row is not None:
                row.state, row.found, row.fault, row.ended_at = state, found, fault, self._clock()
                session.add(row)


def find(line: Connection, week: str, names: dict[str, str], seconds: float) -> None:
    """Answer in a process of its own: ("done", what is worth how much as plain data) or ("failed", why)."""
    with suppress(OSError):
        give_way()  # pages and the planner come first
    from scheduler import plan_week, tiny_week, worth
    from scheduler.week import read_week, with_names

    try:
        plan_week(tiny_week(), seconds=None, clock=time.monotonic)  # loads the engine: not in the time of the question
        answer = msgspec.to_builtins(worth(with_names(read_week(week), names), seconds=seconds, clock=time.monotonic))
        line.send(("done", answer))
    except Exception as fault:  # told to the service, which writes it down
        line.send(("failed", f"{type(fault).__name__}: {fault}"))


def ask(session: Session, plan_id: int, seconds: float, *, by: str, now: datetime.datetime) -> tables.WorthRun | None:
    """Write down a new question on the week of a plan; None while another is under way."""
    one_at_a_time(session, Turn.ASK_WORTH)
    if session.exec(select(tables.WorthRun).where(tables.WorthRun.state == "running")).first() is not None:
        return None
    start_date = session.get_one(tables.StoredPlan, plan_id).start_date
    row = tables.WorthRun(start_date=start_date, plan_id=plan_id, seconds=seconds, asked_at=now, asked_by=by)
    session.add(row)
    session.flush()
    note(
        session, now, by, "asked what would pay", "week", start_date.isoformat(), {"plan": plan_id, "seconds": seconds}
    )
    return row


def newest(session: Session, start_date: datetime.date) -> tuple[tables.WorthRun | None, tables.WorthRun | None]:
    """Return the question asked last for a week, and the one answered last."""
    run = tables.WorthRun
    rows = select(run).where(run.start_date == start_date).order_by(col(run.id).desc())
    return session.exec(rows.limit(1)).first(), session.exec(rows.where(run.state == "done").limit(1)).first()


def cut_off(database: sa.Engine, now: datetime.datetime) -> None:
    """Mark the questions that an earlier run of the service left without an answer."""
    with transaction(database) as session:
        for row in session.exec(select(tables.WorthRun).where(tables.WorthRun.state == "running")):
            row.state, row.ended_at, row.fault = "cut off", now, "The service was ended."
            session.add(row)
