"""Papers renewed in the background: whatever they rest on may change at any time, and planning should find them ready.

A change of data leaves a line in the history, whoever made it: the service, a command, another process. So the number
of the newest line, looked at every other second, misses none. What is stale is found by comparing fingerprints; a few
jobs are made at once, many by processes of their own, each batch in one transaction that is kept whole or not at all.
"""

from __future__ import annotations

import datetime
import gc
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col

from api import tables
from api.cluster import ClusterDoor, ClusterLost
from api.database import open_database, transaction
from api.papers.stored.inputs import (
    JobInputs,
    ShopInputs,
    fingerprints,
    is_fresh,
    job_inputs,
    made_fingerprints,
    shop_inputs,
)
from api.papers.stored.making import make_papers
from api.papers.stored.store import Made, store, stored
from api.workers.giving_way import give_way
from api.workers.lookout import Lookout
from api.workers.signals import Signals

LOOK_S = 2.0  # between two looks at the history
REST = 5.0  # after a search for stale papers, so many times as long as it took: it must not slow the pages down
ALL_S = 600.0  # after which papers are searched even if no change was seen
RETRY_S = 30.0  # after a failure
FEW = 8  # jobs that are made in the service itself: starting a process takes longer
AHEAD = 2  # batches for each that a cluster has at work: the next is there when one is done
BATCH = 20  # jobs made in one transaction: with their drawings about 1 MB, in half a second

BEING_MADE = "papers"  # what is told of
_log = logging.getLogger("eaveboard")
_database: sa.Engine | None = None  # of a process that makes papers


def stale(session: Session, visit_ids: Collection[str] | None = None) -> list[str]:
    """Return which visits (None: of all open ones) have papers that are missing or were made of other inputs."""
    if session.get(tables.Business, 1) is None:
        return []
    shop, made = shop_inputs(session), made_fingerprints(session, visit_ids)
    jobs = job_inputs(session, visit_ids)
    return [name for name, job in jobs.items() if not is_fresh(made.get(name, {}), fingerprints(shop, job))]


def renew(session: Session, visit_ids: Collection[str], now: datetime.datetime) -> int:
    """Make what is missing or stale of the visits' papers; return of how many visits something was made."""
    made = made_of(*wanting(session, visit_ids, now))
    store(session, made, now)
    return len(made)


def wanting(
    session: Session, visit_ids: Collection[str], now: datetime.datetime
) -> tuple[ShopInputs, dict[str, tuple[JobInputs, dict[str, str]]]]:
    """Return what the papers are made of: the shop's, and of each visit that wants any its own with what is fresh."""
    shop, jobs, held = shop_inputs(session, now), job_inputs(session, visit_ids), stored(session, visit_ids)
    found = {}
    for name, job in jobs.items():
        wanted, have = fingerprints(shop, job), held[name]
        if not is_fresh({what: print_ for what, (print_, _) in have.items()}, wanted):
            fresh = {what: text for what, (print_, text) in have.items() if wanted.get(what) == print_}
            found[name] = (job, fresh)
    return shop, found


def made_of(shop: ShopInputs, wanted: Mapping[str, tuple[JobInputs, dict[str, str]]]) -> dict[str, Made]:
    """Return the papers made of what `wanting` gave; this needs no database."""
    return {
        name: Made(make_papers(shop, job, fresh), fingerprints(shop, job), list(fresh))
        for name, (job, fresh) in wanted.items()
    }


@dataclass(frozen=True)
class PapersState:
    """How many open visits have fresh papers, how many stale ones, and of these how many are being made just now.

    `faults` are the visits of whose survey no wall can be made, with the sentence that says why.
    """

    fresh: int
    stale: int
    being_made: int
    faults: dict[str, str]


def standing(session: Session, being_made: int) -> PapersState:
    """Return how the papers of all open visits stand."""
    visit, made = tables.Visit, tables.Prepared
    opened = session.execute(sa.select(sa.func.count()).where(col(visit.state) == "open")).scalar_one()
    found = len(stale(session))
    rows = sa.select(col(made.visit_id), col(made.document)).join(visit, col(visit.id) == made.visit_id)
    rows = rows.where(col(made.what) == "fault", col(visit.state) == "open").order_by(col(made.visit_id))
    return PapersState(opened - found, found, min(being_made, found), dict(iter(session.execute(rows))))


class Keeper:
    """Keeps the papers of a business fresh while the service runs, with up to `processes` processes.

    They are started when many papers are stale, and end when these are made. A cluster makes them instead, while there
    is one: what they are made of is sent there, and what comes back is stored here.
    """

    def __init__(
        self, database: sa.Engine, address: str, processes: int, clock: Callable[[], datetime.datetime],
        signals: Signals | None = None, cluster: str = "",
    ) -> None:  # fmt: skip
        self._door = ClusterDoor(cluster, instead=False) if cluster else None
        self._database, self._address, self._processes, self._clock = database, address, processes, clock
        self._signals = signals
        self._seen: int | None = -1
        self._searched = 0.0
        self.being_made = 0
        self.lookout = Lookout(
            "papers", self._look, every_s=LOOK_S, failed="papers could not be renewed", at_once=True, again_s=RETRY_S,
            wait_s=None,  # for the batches that are under way: a second or two
        )  # fmt: skip
        if signals is not None:
            signals.on(BEING_MADE, self._hear)

    def _look(self) -> None:
        newest = self._newest()
        if newest == self._seen and time.monotonic() - self._searched < ALL_S:
            return
        self._seen, self._searched = newest, time.monotonic()
        try:
            with transaction(self._database) as session:
                found = stale(session)
            self.lookout.rest(REST * (time.monotonic() - self._searched))
            self._make(found)
        except BaseException:  # what was not made is stale, and found again
            self._seen = -1
            raise
        finally:
            self._say(0)

    def _say(self, being_made: int) -> None:
        """Keep how many are being made, for the pages of all workers."""
        if being_made != self.being_made:
            self.being_made = being_made
            if self._signals is not None:
                self._signals.tell(BEING_MADE, str(being_made))

    def _hear(self, words: str) -> None:
        self.being_made = int(words or 0)

    def _newest(self) -> int | None:
        with transaction(self._database) as session:
            newest: int | None = session.execute(sa.select(sa.func.max(col(tables.History.id)))).scalar_one()
            return newest

    def _make(self, visit_ids: Sequence[str]) -> None:
        self._say(len(visit_ids))
        if len(visit_ids) <= FEW:
            if visit_ids:
                with transaction(self._database) as session:
                    renew(session, visit_ids, self._clock())
            return
        started = time.monotonic()
        batches = [visit_ids[k : k + BATCH] for k in range(0, len(visit_ids), BATCH)]
        if self._door is not None and (batches := self._made_far(self._door, batches)) == []:
            return
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(
            min(self._processes, len(batches)), context, initializer=_begin, initargs=(self._address,)
        )
        try:
            going: set[Future[int]] = {pool.submit(_renew_batch, batch, self._clock()) for batch in batches}
            while going and not self.lookout.stopping():
                done, going = wait(going, timeout=0.2, return_when=FIRST_COMPLETED)
                for batch in done:
                    batch.result()
                self._say(len(going) * BATCH)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        _log.info("renewed the papers of %d visits in %.1f s", len(visit_ids), time.monotonic() - started)

    def _made_far(self, door: ClusterDoor, batches: list[Sequence[str]]) -> list[Sequence[str]]:
        """Have a cluster make the batches; return those that are left where it is lost or not there."""
        door.begin()
        going = dict[Future[dict[str, Made]], Sequence[str]]()
        waiting = list(batches)
        try:
            while door.far and (waiting or going) and not self.lookout.stopping():
                while waiting and len(going) < AHEAD * door.at_once:
                    with transaction(self._database) as session:
                        parts = wanting(session, waiting[0], self._clock())
                    going[door.submit(made_of, *parts)] = waiting.pop(0)
                for one in wait(going, timeout=0.2, return_when=FIRST_COMPLETED).done:
                    made = one.result()
                    with transaction(self._database) as session:
                        store(session, made, self._clock())
                    del going[one]
                self._say((len(waiting) + len(going)) * BATCH)
        except ClusterLost as fault:
            _log.warning("the rest of the papers is made here: %s", fault)
        return [] if self.lookout.stopping() else [*going.values(), *waiting]


def _begin(address: str) -> None:
    """Make a new process ready: it gives way to the pages, and ends when the service does, however that ends."""
    global _database
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's business
    give_way()
    threading.Thread(target=_follow_parent, daemon=True).start()
    _database = open_database(address)
    gc.freeze()
    gc.disable()  # looking for cycles while papers are made takes a tenth of the time: it is done after each batch


def _follow_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _renew_batch(visit_ids: Sequence[str], now: datetime.datetime) -> int:
    assert _database is not None
    with transaction(_database) as session:
        made = renew(session, visit_ids, now)
    gc.collect()
    return made
