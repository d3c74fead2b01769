"""Runs of the planner: asked for, waiting for their turn, at work in a process of their own, and how they ended.

Each of the `planners` has one thread here, which takes the run that has waited longest, hands it to its process and
writes down what comes back. A process is started with the first run and kept: it has the engine loaded.

A run belongs to the worker that was asked for it; other workers read of it in the database, and have it stopped there.
What a worker leaves that is no more, the others end with the best plan that it has told of, or take over where it had
not begun.
"""

from __future__ import annotations

import asyncio
import datetime
import logging
import queue
import threading
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import InterfaceError, OperationalError, SQLAlchemyError
from sqlmodel import col, select

from api import tables
from api.database import Hold, transaction
from api.http.logs import about
from api.ledger.history import note
from api.week.desk import Desk
from api.week.run.ending import GOING, cut_off, keep, set_values
from api.week.run.shown import Shown, ask_to_stop, shown_in, take_over, to_stop
from api.workers.bell import Bell, rung
from api.workers.signals import RUN, Signals

WRITE_S = 0.5  # between two writes of a run's progress
LISTEN_S = 0.1  # how long a thread listens before it looks whether somebody wants to stop
LOOK_S = 1.0  # between two looks of a watcher of a run that has nothing new
GRACE_S = 120.0  # beyond its seconds, for the engine to be loaded and a plan to be brought in order; then it is ended
STOP_S = 90.0  # for a planner told to stop to hand over what it has, however busy the machine is; then it is ended
AGAIN_S = (0.5, 5.0)  # between two tries of a write that the database does not take, the first and the longest
MEND_S = 5.0  # between two looks for runs that nobody is at
MEANWHILE = "A time was promised while it searched, which this plan does not know: plan the weeks ahead again."
CLOSE_S = 5.0  # for the planners to hand over what they have when the service ends

_log = logging.getLogger("eaveboard")


@dataclass
class _Going:
    """A run that has not ended: what its process is given, and what is to be told of it."""

    id: int
    week: str
    beside: dict[str, Any]
    seconds: float
    fixed: dict[str, Any]
    start: str
    shown: Shown
    stop: bool = False
    taken: bool = False  # by a planner, or by whoever stopped it before one came
    progress: list[list[Any]] = field(default_factory=list)
    best: str = ""
    note: str = ""
    bell: Bell = field(default_factory=Bell)


class Runs:
    """All runs of one worker; `close` before the database is. held: None where no other worker can be.

    cluster: the address of one that shares the work of planning; empty: none.
    """

    def __init__(
        self, database: sa.Engine, planners: int, clock: Callable[[], datetime.datetime], held: Hold | None = None,
        cluster: str = "",
    ) -> None:  # fmt: skip
        self._cluster = cluster
        self._database, self._planners, self._clock = database, planners, clock
        self._held = held or Hold()
        self._elsewhere = Bell()
        self._lock = threading.Lock()
        self._going: dict[int, _Going] = {}
        self._waiting: queue.Queue[_Going | None] = queue.Queue()
        self._threads: list[threading.Thread] = []
        self._desks: list[Desk] = []
        self._ended = threading.Event()
        self._mender = threading.Thread(target=self._mend, name="runs", daemon=True)
        self.closing = False

    @property
    def worker(self) -> int:
        """The number of the worker whose runs these are."""
        return self._held.number

    def start(self, signals: Signals | None = None) -> None:
        """Begin to look after runs that are under way in the database and that nobody is at.

        signals: by which other workers are heard at once, not only at the next look.
        """
        if signals is not None:
            signals.on(RUN, self._told)
        self._mender.start()

    def begin(self, row: tables.PlanRun, start: str) -> None:
        """Take up a run whose row, waiting, is in the database; `start` is the plan document to search from, or none.

        Its turn comes when a planner is free.
        """
        assert row.id is not None
        going = _Going(row.id, row.week, row.beside, row.seconds, row.fixed, start, Shown(row.state))
        with self._lock:
            self._going[row.id] = going
            if len(self._threads) < self._planners:
                self._desks.append(Desk(self._cluster))
                thread = threading.Thread(target=self._work, args=self._desks[-1:], name="planner", daemon=True)
                self._threads.append(thread)
                thread.start()
        self._waiting.put(going)

    def stop(self, run_id: int) -> bool:
        """Have a run end with the best plan that it has; say whether it was still going."""
        with self._lock:
            going = self._going.get(run_id)
            if going is not None:
                going.stop = True
                waiting, going.taken = not going.taken, True
        if going is None:
            with transaction(self._database) as session:
                return ask_to_stop(session, run_id)
        if waiting:
            try:
                self._end(going, "stopped", "", "")
            except SQLAlchemyError:
                going.taken = False  # whoever takes it later finds that it is to stop
                raise
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
        with self._lock:
            going = self._going.get(run_id)
        seen, told = -1, None
        with (self._elsewhere if going is None else going.bell).listening() as changed:
            while not self.closing:
                changed.clear()
                if going is None:
                    shown = await asyncio.to_thread(self._elsewhere_shown, run_id, told)
                    if shown is None or (told is None and shown.state not in GOING):
                        return
                    told = shown
                else:
                    shown = going.shown
                if shown.version != seen:
                    seen = shown.version
                    yield shown
                    if shown.state not in GOING:
                        return
                elif not await rung(changed, LOOK_S):
                    yield None

    def _elsewhere_shown(self, run_id: int, told: Shown | None) -> Shown | None:
        """Return a run of another worker, its version counted from what was `told` of it last."""
        with transaction(self._database) as session:
            found = shown_in(session, run_id)
        if found is None or told is None:
            return found
        same = replace(found, version=told.version)
        return same if same == told else replace(found, version=told.version + 1)

    def _told(self, words: str) -> None:
        """Look after a run of which something was told, or, told nothing, after all."""
        self._elsewhere.ring()
        with self._lock:
            mine = set(self._going) & ({int(words)} if words else set(self._going))
        self._stop_what_is_to(mine)

    def _stop_what_is_to(self, mine: set[int]) -> None:
        """Stop those of this worker's runs that others want to end."""
        if mine:
            with transaction(self._database) as session:
                asked = to_stop(session, mine)
            for run_id in asked:
                self.stop(run_id)

    def hang_up(self) -> None:
        """End every watch, so that the service can go."""
        self.closing = True
        with self._lock:
            bells = [going.bell for going in self._going.values()]
        for bell in (*bells, self._elsewhere):
            bell.ring()

    def close(self) -> None:
        """Have every run end now, keep what it has found as "cut off", and let the planners go."""
        self.hang_up()
        self._ended.set()
        for _ in self._threads:
            self._waiting.put(None)
        until = time.monotonic() + CLOSE_S
        for thread in self._threads:
            thread.join(max(0.0, until - time.monotonic()))
        for thread, desk in zip(self._threads, self._desks, strict=True):
            if thread.is_alive():  # a planner that does not listen
                desk.kill()
                thread.join(CLOSE_S)
        if self._mender.is_alive():
            self._mender.join(CLOSE_S)

    def _show(self, going: _Going, **changes: Any) -> None:
        going.shown = replace(going.shown, **changes, version=going.shown.version + 1)
        going.bell.ring()

    def _work(self, desk: Desk) -> None:
        try:
            while (going := self._waiting.get()) is not None and not self.closing:
                try:
                    with about(run=going.id):
                        self._one(desk, going)
                except Exception as fault:  # the next run must not wait for ever because of this one
                    _log.error("run %d failed", going.id, exc_info=fault)
                    desk.clear()
                    words = "The planner failed; whoever looks after this machine finds why."
                    self._see_ended(going, "failed", "", words)
        finally:
            desk.clear()

    def _one(self, desk: Desk, going: _Going) -> None:
        """See one run through, from its turn to its end."""
        with self._lock:
            taken, going.taken = going.taken, True
        if taken:
            return
        if going.stop:
            self._see_ended(going, "stopped", "", "")
            return
        self._surely(going, lambda: self._write(going, state="running", began_at=self._clock()))
        self._show(going, state="running")
        try:
            future = desk.hand_over(going)
            kind, made = self._listen(desk, going, future)
        except TimeoutError as fault:
            _log.error("run %d: %s", going.id, fault)
            desk.clear()
            self._see_ended(going, "cut off", going.best, "The planner did not answer any more and was started anew.")
            return
        except (BrokenProcessPool, EOFError, OSError) as fault:
            _log.warning("run %d: the planner's process ended by itself", going.id, exc_info=fault)
            desk.clear()
            self._see_ended(going, "cut off", going.best, "The planner's process was ended from outside.")
            return
        if kind == "refused":
            self._see_ended(going, "failed", "", made)
        elif self.closing:
            self._see_ended(going, "cut off", made, "The service was ended.")
        else:
            self._see_ended(going, "stopped" if going.stop else "done", made, "")

    def _listen(self, desk: Desk, going: _Going, future: Future[tuple[str, str]]) -> tuple[str, str]:
        """Write down what the process tells until it is done; return its answer.

        Raises `TimeoutError` where it is not done long after its seconds, or after it was told to stop.
        """
        said_stop, written, dirty = False, 0.0, False
        until = time.monotonic() + going.seconds + GRACE_S
        while True:
            done = future.done()  # asked first: what it sent before that is in the pipe
            while desk.line.poll(0 if done else LISTEN_S):
                kind, run, *told = desk.line.recv()
                if run != going.id:
                    continue
                if kind == "note":
                    going.note = f"{going.note} {told[0]}".strip()
                    continue
                seconds, cost, bound, phase, document = told
                going.progress.append([round(seconds, 2), cost, bound])
                going.best = document or going.best
                self._show(going, seconds=round(seconds, 2), cost_cents=cost, bound_cents=bound, phase=phase)
                dirty = True
                if not done and time.monotonic() - written >= WRITE_S:
                    break
            if done:
                return future.result()
            if time.monotonic() > until:
                raise TimeoutError("the planner's process does not answer")
            if (going.stop or self.closing) and not said_stop:
                desk.line.send(("stop", going.id))
                said_stop, until = True, min(until, time.monotonic() + STOP_S)
            if dirty and time.monotonic() - written >= WRITE_S:
                with suppress(SQLAlchemyError):  # the next one, or the end, writes the same and more
                    self._write(going, phase=going.shown.phase, progress=going.progress, best=going.best)
                    dirty = False
                written = time.monotonic()

    def _write(self, going: _Going, **values: Any) -> bool:
        """Set values of a run that has not ended in the database; say whether it had not."""
        with transaction(self._database) as session:
            return set_values(session, going.id, **values)

    def _see_ended(self, going: _Going, state: str, document: str, fault: str) -> None:
        """End a run, as soon as the database takes it; a plan that it will not take ends the run without one."""
        try:
            self._surely(going, lambda: self._end(going, state, document, fault))
        except (OperationalError, InterfaceError):
            raise
        except Exception as problem:
            _log.error("run %d: its plan cannot be kept", going.id, exc_info=problem)
            words = "Its plan could not be kept; whoever looks after this machine finds why."
            self._surely(going, lambda: self._end(going, "failed", "", words))

    def _surely(self, going: _Going, write: Callable[[], object]) -> None:
        """Write, again and again while the database is away, locked or full; when the service ends, no longer.

        A run left so is mended by the next service.
        """
        pause, most = AGAIN_S
        while True:
            try:
                write()
                return
            except (OperationalError, InterfaceError) as fault:
                _log.warning("run %d: the database does not take its state: %s", going.id, fault.orig)
                if self._ended.wait(pause):
                    raise
                pause = min(2 * pause, most)

    def _mend(self) -> None:
        """Look every few seconds for runs that nobody is at, and for what others want of this worker's own."""
        before: set[int] = set()
        while not self._ended.wait(MEND_S):
            try:
                with self._lock:
                    mine = set(self._going)
                self._stop_what_is_to(mine)
                before = self._look_after(self._left(), before)
            except SQLAlchemyError as fault:
                _log.warning("runs that nobody is at cannot be looked for: %s", fault)

    def _left(self) -> set[int]:
        """Return the runs under way in the database whose worker is no more, or is this one and not at them."""
        with transaction(self._database) as session:
            row = tables.PlanRun
            others = self._held.workers() - {self.worker}
            rows = session.exec(select(row.id).where(col(row.state).in_(GOING), col(row.worker).not_in(others)))
            with self._lock:
                return {run_id for run_id in rows if run_id is not None and run_id not in self._going}

    def _look_after(self, left: set[int], before: set[int]) -> set[int]:
        """End or take over runs that were left `before` as well, since one just asked for is written before it is taken
        up; return what else is left."""
        gone = left & before
        if gone:
            with transaction(self._database) as session:
                taken = take_over(session, self.worker, gone)
            for row in taken:
                _log.warning("run %s of a worker that is no more is taken over", row.id)
                self.begin(row, row.start)
            cut_off(self._database, self._clock(), gone - {row.id or 0 for row in taken})
        return left - gone

    def _end(self, going: _Going, state: str, document: str, fault: str) -> None:
        """End a run in `state` with the plan `document`, or without one where it is empty."""
        now = self._clock()
        with transaction(self._database) as session:
            row = session.get_one(tables.PlanRun, going.id, with_for_update=True)
            if row.state not in GOING:  # another worker took this one for dead, and has kept what it had told
                ended = {"state": row.state, "plan_id": row.plan_id or row.horizon_id, "fault": row.fault}
                self._forget(going, ended)
                return
            asking = state == "cut off" and document == going.best
            plan_id = keep(session, row, document, now, asking=asking, note=going.note)
            progress, best = going.progress, "" if plan_id is not None else going.best
            if row.weeks > 1 and plan_id is None and document and not fault:
                fault = MEANWHILE
            fault = fault or going.note
            name = "plan_id" if row.weeks == 1 else "horizon_id"
            values = {"phase": going.shown.phase, "progress": progress, "best": best, "start": "", name: plan_id}
            set_values(session, going.id, state=state, ended_at=now, fault=fault, **values)
            note(session, now, row.asked_by, "ended", "plan run", str(going.id), {"state": state, "plan": plan_id})
        self._forget(going, {"state": state, "plan_id": plan_id, "fault": fault})

    def _forget(self, going: _Going, ended: dict[str, Any]) -> None:
        self._show(going, **ended)
        with self._lock:
            self._going.pop(going.id, None)
