"""Why jobs wait in a plan moved by hand: found with the move in a small week, and after it in a large one.

Until they are found a plan has the reasons of the one that it was made of. The move itself is judged and audited
before it is stored, however large the week is.
"""

from __future__ import annotations

import datetime
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ProcessPoolExecutor, wait
from contextlib import suppress
from typing import Any

import sqlalchemy as sa
from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.ledger.history import note
from api.ledger.plans.documents import because_as_data, because_from_data, notes_from_data
from api.week.build import with_because
from api.workers.giving_way import give_way
from api.workers.lookout import Lookout
from scheduler import BY_HAND, with_reasons
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week

# Jobs times crew days: finding the reasons takes a few tenths of a second then. In the second format each reason is
# tried in the document, so that a week of five crews takes some seconds.
QUICK = {"week/1": 5_000, "week/2": 100}
LOOK_S = 1.0
RETRY_S = 60.0  # after a failure
IDLE_S = 120.0  # for which a process waits for the next move: beginning one takes longer than most weeks
_NICE = 10  # pages and plans come first
_log = logging.getLogger("eaveboard")


def is_quick(week: Week) -> bool:
    """Return whether a move of this week waits for the reasons."""
    return len(week.jobs) * sum(len(crew.shifts) for crew in week.crews) <= QUICK[week.format]


def asked_anew(week: Week, plan: Plan, because: Mapping[str, Any]) -> Plan:
    """Return `plan` with the reasons of its waiting jobs found anew, but for what only people and rows know.

    because: of the rows, as plain data.
    """
    return with_because(with_reasons(week, plan, kept=(BY_HAND,)), because_from_data(because))


def reasons_found(week: str, beside: dict[str, Any], plan: str, because: dict[str, Any]) -> dict[str, Any]:
    """Return the reasons by waiting job as plain data; given the documents and data of a stored plan."""
    found = asked_anew(notes_from_data(beside).put(read_week(week)), read_plan(plan), because)
    return because_as_data({skip.job: skip.because for skip in found.skipped})


class ReasonsKeeper:
    """Finds the reasons of plans that were stored without, the newest plan first, in a process of its own.

    own_process: False: in the thread that looks.
    """

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime], *, own_process: bool) -> None:
        self._database, self._clock, self._own_process = database, clock, own_process
        self._pool: ProcessPoolExecutor | None = None
        self._used = 0.0
        self.lookout = Lookout(
            "reasons", self.look, every_s=LOOK_S, failed="why jobs wait could not be found", at_once=True,
            again_s=RETRY_S,
        )  # fmt: skip

    def look(self) -> None:
        """Find the reasons of all plans that want them."""
        try:
            while not self.lookout.stopping():
                with transaction(self._database) as session:
                    table = tables.StoredPlan
                    wanted = select(table).where(col(table.reasons_wanted).is_(True)).order_by(col(table.id).desc())
                    row = session.exec(wanted.limit(1)).first()
                if row is None:
                    break
                reasons = self._found(row)
                if reasons is not None:
                    self._keep(row, reasons)
        except BaseException:
            self.close()
            raise
        if time.monotonic() - self._used > IDLE_S:
            self.close()

    def _found(self, row: tables.StoredPlan) -> dict[str, Any] | None:
        """Return the reasons; None where the service ends meanwhile."""
        given = row.week, row.beside, row.plan, row.because
        if not self._own_process:
            return reasons_found(*given)
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=_begin)
        going: Future[dict[str, Any]] = self._pool.submit(reasons_found, *given)
        while not wait([going], timeout=0.2).done:
            if self.lookout.stopping():
                self.close()
                return None
        self._used = time.monotonic()
        return going.result()

    def _keep(self, row: tables.StoredPlan, reasons: dict[str, Any]) -> None:
        table = tables.StoredPlan
        with transaction(self._database) as session:
            wanted = sa.update(table).where(col(table.id) == row.id, col(table.reasons_wanted).is_(True))
            values = wanted.values(reasons=reasons, reasons_wanted=False)
            done = session.execute(values.execution_options(synchronize_session=False))
            if int(done.rowcount):  # type: ignore[attr-defined]  # else another worker, which led for a moment, was there first
                name = f"week-{row.start_date}"
                note(session, self._clock(), row.made_by, "found why jobs wait in", "week", name, {"plan": row.id})

    def close(self) -> None:
        """End the process, where there is one, whatever it is at."""
        pool, self._pool = self._pool, None
        if pool is not None:
            for child in list((pool._processes or {}).values()):
                with suppress(ProcessLookupError, ValueError, AttributeError):
                    child.kill()
            pool.shutdown(wait=True, cancel_futures=True)


def _begin() -> None:
    """Make a new process ready: it gives way to others, and ends when the service does, however that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's business
    give_way(_NICE)
    threading.Thread(target=_end_with_the_service, daemon=True).start()


def _end_with_the_service() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
