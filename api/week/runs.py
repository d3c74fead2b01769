"""Runs of the planner: asked for, waiting for their turn, at work in a process of their own, and how they ended.

Each of the `planners` has one thread here, which takes the run that has waited longest, hands it to its process and
writes down what comes back. A process is started with the first run and kept: it has the engine loaded.
"""

from __future__ import annotations

import asyncio
import datetime
import logging
import multiprocessing
import os
import queue
import signal
import threading
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from typing import Any

import sqlalchemy as sa
from msgspec.structs import replace as with_values
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.ledger.fingerprint import code_of, fingerprint
from api.ledger.history import note
from api.week import process
from api.week.build import because_from_data, with_because
from api.week.planning import ENGINE, store_plan
from scheduler.because import asked
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week

GOING = ("waiting", "running")
WRITE_S = 0.5  # between two writes of a run's progress
LISTEN_S = 0.1  # how long a thread listens before it looks whether somebody wants to stop
LOOK_S = 1.0  # between two looks of a watcher of a run that has nothing new
CLOSE_S = 5.0  # for the planners to hand over what they have when the service ends

_log = logging.getLogger("eaveboard")


@dataclass(frozen=True)
class Shown:
    """A run as its watchers see it; `version` grows with each change."""

    state: str
    seconds: float = 0.0
    cost_cents: int | None = None
    bound_cents: int | None = None
    phase: str = ""
    plan_id: int | None = None
    fault: str = ""
    version: int = 0

    @property
    def gap_percent(self) -> float | None:
        return gap_percent(self.cost_cents, self.bound_cents)


def gap_percent(cost_cents: int | None, bound_cents: int | None) -> float | None:
    """Return how much dearer than a best plan this one may be at most, None where it is not known."""
    if cost_cents is None or bound_cents is None:
        return None
    return round(100 * (cost_cents - bound_cents) / cost_cents, 2) if cost_cents > 0 else 0.0


@dataclass
class _Going:
    """A run that has not ended: what its process is given, and what is to be told of it."""

    id: int
    week: str
    seconds: float
    fixed: dict[str, Any]
    start: str
    shown: Shown
    stop: bool = False
    taken: bool = False  # by a planner, or by whoever stopped it before one came
    progress: list[list[Any]] = field(default_factory=list)
    best: str = ""
    watchers: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = field(default_factory=set)


class Runs:
    """All runs of one service; `close` before the database is."""

    def __init__(self, database: sa.Engine, planners: int, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._planners, self._clock = database, planners, clock
        self._lock = threading.Lock()
        self._going: dict[int, _Going] = {}
        self._waiting: queue.Queue[_Going | None] = queue.Queue()
        self._threads: list[threading.Thread] = []
        self._desks: list[_Desk] = []
        self.one_at_a_time = threading.Lock()  # held while it is looked whether a week has a run, and one is written
        self.closing = False

    def begin(self, row: tables.PlanRun, start: str) -> None:
        """Take up a run whose row, waiting, is in the database; `start` is the plan document to search from, or none.

        Its turn comes when a planner is free.
        """
        assert row.id is not None
        going = _Going(row.id, row.week, row.seconds, row.fixed, start, Shown(row.state))
        with self._lock:
            self._going[row.id] = going
            if len(self._threads) < self._planners:
                self._desks.append(_Desk())
                thread = threading.Thread(target=self._work, args=self._desks[-1:], name="planner", daemon=True)
                self._threads.append(thread)
                thread.start()
        self._waiting.put(going)

    def stop(self, run_id: int) -> bool:
        """Have a run end with the best plan that it has; say whether it was still going."""
        with self._lock:
            going = self._going.get(run_id)
            if going is None:
                return False
            going.stop = True
            waiting, going.taken = not going.taken, True
        if waiting:
            self._end(going, "stopped", "", "")
        return True

    def shown(self, run_id: int) -> Shown | None:
        """Return a run that has not ended, None where there is none of that number."""
        with self._lock:
            going = self._going.get(run_id)
            return None if going is None else going.shown

    async def watch(self, run_id: int) -> AsyncIterator[Shown | None]:
        """Yield a run as it is, and again at every change until it has ended; None for each second without one.

        Yields nothing where no such run is going. A watcher that is slow misses what is past, never what is last.
        """
        changed, loop = asyncio.Event(), asyncio.get_running_loop()
        with self._lock:
            going = self._going.get(run_id)
            if going is None:
                return
            going.watchers.add((loop, changed))
        seen = -1
        try:
            while not self.closing:
                changed.clear()
                shown = going.shown
                if shown.version != seen:
                    seen = shown.version
                    yield shown
                    if shown.state not in GOING:
                        return
                    continue
                try:
                    await asyncio.wait_for(changed.wait(), LOOK_S)
                except TimeoutError:
                    yield None
        finally:
            with self._lock:
                going.watchers.discard((loop, changed))

    def hang_up(self) -> None:
        """End every watch, so that the service can go."""
        self.closing = True
        with self._lock:
            watchers = [watcher for going in self._going.values() for watcher in going.watchers]
        _wake(watchers)

    def close(self) -> None:
        """Have every run end now, keep what it has found as "cut off", and let the planners go."""
        self.hang_up()
        for _ in self._threads:
            self._waiting.put(None)
        until = time.monotonic() + CLOSE_S
        for thread in self._threads:
            thread.join(max(0.0, until - time.monotonic()))
        for thread, desk in zip(self._threads, self._desks, strict=True):
            if thread.is_alive():  # a planner that does not listen
                desk.kill()
                thread.join(CLOSE_S)

    def _show(self, going: _Going, **changes: Any) -> None:
        going.shown = replace(going.shown, **changes, version=going.shown.version + 1)
        with self._lock:
            watchers = list(going.watchers)
        _wake(watchers)

    def _work(self, desk: _Desk) -> None:
        try:
            while (going := self._waiting.get()) is not None and not self.closing:
                try:
                    self._one(desk, going)
                except Exception as fault:  # the next run must not wait for ever because of this one
                    _log.error("run %d failed", going.id, exc_info=fault)
                    desk.clear()
                    self._end(going, "failed", "", "The planner failed; whoever looks after this machine finds why.")
        finally:
            desk.clear()

    def _one(self, desk: _Desk, going: _Going) -> None:
        """See one run through, from its turn to its end."""
        with self._lock:
            taken, going.taken = going.taken, True
        if taken:
            return
        self._write(going, state="running", began_at=self._clock())
        self._show(going, state="running")
        try:
            future = desk.hand_over(going)
            kind, made = self._listen(desk, going, future)
        except (BrokenProcessPool, EOFError, OSError) as fault:
            _log.warning("run %d: the planner's process ended by itself", going.id, exc_info=fault)
            desk.clear()
            self._end(going, "cut off", going.best, "The planner's process was ended from outside.")
            return
        if kind == "refused":
            self._end(going, "failed", "", made)
        elif self.closing:
            self._end(going, "cut off", made, "The service was ended.")
        else:
            self._end(going, "stopped" if going.stop else "done", made, "")

    def _listen(self, desk: _Desk, going: _Going, future: Future[tuple[str, str]]) -> tuple[str, str]:
        """Write down what the process tells until it is done; return its answer."""
        said_stop, written, dirty = False, 0.0, False
        while True:
            done = future.done()  # asked first: what it sent before that is in the pipe
            while desk.line.poll(0 if done else LISTEN_S):
                _, run, seconds, cost, bound, phase, document = desk.line.recv()
                if run != going.id:
                    continue
                going.progress.append([round(seconds, 2), cost, bound])
                going.best = document or going.best
                self._show(going, seconds=round(seconds, 2), cost_cents=cost, bound_cents=bound, phase=phase)
                dirty = True
                if not done and time.monotonic() - written >= WRITE_S:
                    break
            if done:
                return future.result()
            if (going.stop or self.closing) and not said_stop:
                desk.line.send(("stop", going.id))
                said_stop = True
            if dirty and time.monotonic() - written >= WRITE_S:
                self._write(going, phase=going.shown.phase, progress=going.progress, best=going.best)
                written, dirty = time.monotonic(), False

    def _write(self, going: _Going, **values: Any) -> bool:
        """Set values of a run that has not ended in the database; say whether it had not."""
        with transaction(self._database) as session:
            return _update(session, going.id, **values)

    def _end(self, going: _Going, state: str, document: str, fault: str) -> None:
        """End a run in `state` with the plan `document`, or without one where it is empty."""
        now = self._clock()
        with transaction(self._database) as session:
            row = session.get_one(tables.PlanRun, going.id)
            plan_id = keep(session, row, document, now, asking=state == "cut off" and document == going.best)
            progress, best = going.progress, "" if plan_id is not None else going.best
            values = {"phase": going.shown.phase, "progress": progress, "best": best, "plan_id": plan_id}
            _update(session, going.id, state=state, ended_at=now, fault=fault, **values)
            note(session, now, row.asked_by, "ended", "plan run", str(going.id), {"state": state, "plan": plan_id})
        self._show(going, state=state, plan_id=plan_id, fault=fault)
        with self._lock:
            self._going.pop(going.id, None)


class _Desk:
    """A planner's process with the service's end of the pipe to it; begun when first needed."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self.line: Connection
        self.pid: int | None = None

    def hand_over(self, going: _Going) -> Future[tuple[str, str]]:
        """Have the process begin with a run; returns what its answer comes in."""
        spare: Connection | None = None
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self.line, spare = context.Pipe()
            self._pool = ProcessPoolExecutor(1, context, initializer=process.ready, initargs=(spare,))
        try:
            given = (going.id, going.week, going.seconds, going.fixed, going.start)
            future = self._pool.submit(process.plan, *given)
        finally:
            if spare is not None:  # the process holds it now: its end is heard when the process ends
                spare.close()
        if spare is not None:
            self.pid = self.line.recv()
        return future

    def kill(self) -> None:
        """End the process at once."""
        if self.pid is not None:
            with suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)

    def clear(self) -> None:
        """End the process, where there is one, whatever it is at; the next run begins another."""
        if self._pool is not None:
            self.kill()
            self._pool.shutdown(wait=True, cancel_futures=True)
            self.line.close()
            self._pool = self.pid = None


def keep(session: Session, row: tables.PlanRun, document: str, now: datetime.datetime, *, asking: bool) -> int | None:
    """Store the plan `document` of a run with the reasons that its rows know; None where there is no plan.

    asking: it is a plan that was told while the search went on: its reasons are still to be asked, its bound is the
    last one told.
    """
    if not document:
        return None
    week, plan = read_week(row.week), read_plan(document)
    if asking:
        plan = _asked(week, plan, row.progress)
    because = because_from_data(row.because)
    inputs = fingerprint(week, row.because, row.seconds, row.fixed, row.from_plan, code_of(*ENGINE))
    stored = store_plan(
        session, week, with_because(plan, because), because=row.because, inputs=inputs, how="planned", now=now,
        by=row.asked_by, made_from=row.from_plan, fixed=row.fixed,
    )  # fmt: skip
    detail = {"plan": stored.id, "cost_cents": plan.cost.total, "run": row.id}
    note(session, now, row.asked_by, "planned", "week", week.id, detail)
    return stored.id


def cut_off(database: sa.Engine, now: datetime.datetime) -> int:
    """End every run that an earlier service left going, keep its last plan, and say how many there were."""
    with transaction(database) as session:
        rows = session.exec(select(tables.PlanRun).where(col(tables.PlanRun.state).in_(GOING))).all()
        for row in rows:
            row.plan_id = keep(session, row, row.best, now, asking=True)
            row.state, row.ended_at, row.best = "cut off", now, "" if row.plan_id is not None else row.best
            row.fault = "The service ended while it was under way."
            session.add(row)
            detail = {"state": row.state, "plan": row.plan_id}
            note(session, now, row.asked_by, "ended", "plan run", str(row.id), detail)
        return len(rows)


def _asked(week: Week, plan: Plan, progress: list[Any]) -> Plan:
    bound = progress[-1][2] if progress else None
    seconds = float(progress[-1][0]) if progress else 0.0
    bound = None if bound is None or bound > plan.cost.total else bound
    return asked(week, with_values(plan, bound=bound, seconds=seconds))


def _update(session: Session, run_id: int, **values: Any) -> bool:
    """One statement: a run that has ended, or that somebody else has ended, is left alone."""
    row = tables.PlanRun
    wanted = sa.update(row).where(col(row.id) == run_id, col(row.state).in_(GOING)).values(**values)
    done = session.execute(wanted.execution_options(synchronize_session=False))
    return int(done.rowcount) == 1  # type: ignore[attr-defined]


def _wake(watchers: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]]) -> None:
    for loop, changed in watchers:
        try:
            loop.call_soon_threadsafe(changed.set)
        except RuntimeError:  # its loop has ended
            continue
