"""What open pages are told without being loaded again: a newer plan and whose, what falls, what is at risk today.

One look for all who listen: what stands is worked out once for each change, however many pages are open.
"""

from __future__ import annotations

import asyncio
import datetime
import hashlib
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable, Hashable, Iterator
from contextlib import contextmanager

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.database import transaction
from api.falls.now import each_falling
from api.falls.since import changed_since, sentence
from api.falls.today import Days
from api.http.problems import Problem
from api.languages import ENGLISH, speaking
from api.ledger.kept import on_record
from api.ledger.plans.posted import posted_week
from api.messages.by_text.received import unread
from api.running.crews import crew_lines
from api.workers.bell import rung
from api.workers.signals import Signals

MOST, MOST_EACH = 60, 6  # listeners in all, and of one caller
LOOK_S = 1.0
_KEPT = 8


class NewAnswer(msgspec.Struct, frozen=True):
    """A text `text` by which a customer answered what `to` had told, and that nobody has read yet."""

    text: int
    customer: str
    words: str
    to: str


class WeekStanding(msgspec.Struct, frozen=True):
    """How a week stands: its newest plan with who made it and how, what is posted, what falls, what is at risk today.

    `older` says what changed since the newest plan was made, empty for nothing. `today` differs whenever a crew's line
    of today does, `texts` whenever the texts do that nobody has read; `answers` are the answers among them.
    `reasons_wanted`: why jobs of the newest plan wait is being found anew.
    """

    plan: int | None
    by: str
    how: str
    posted: int | None
    falls: dict[str, str]
    at_risk: int
    older: str
    today: str
    texts: str
    answers: tuple[NewAnswer, ...]
    reasons_wanted: bool


class Pulse:
    """Tells listeners how a week stands whenever that changes."""

    def __init__(
        self, database: sa.Engine, days: Days, clock: Callable[[], datetime.datetime], signals: Signals
    ) -> None:
        self.database, self.days, self.clock, self.signals = database, days, clock, signals
        self._lock, self._work = threading.Lock(), threading.Lock()
        self._listening: Counter[str] = Counter()
        self._kept: dict[tuple[datetime.date, Hashable], WeekStanding] = {}
        self._mark: tuple[float, int, Hashable] = (-1.0, 0, None)

    def require_room(self, caller: str) -> None:
        """Answer 503 where so many listen that another one may not."""
        with self._lock:
            if self._listening.total() >= MOST or self._listening[caller] >= MOST_EACH:
                detail = "Too many pages are open to be told of changes: load this one again to see them."
                raise Problem(503, detail, headers={"Retry-After": "60"})

    @contextmanager
    def listening(self, caller: str) -> Iterator[None]:
        """Count a listener for as long as it listens."""
        with self._lock:
            self._listening[caller] += 1
        try:
            yield
        finally:
            with self._lock:
                self._listening[caller] -= 1

    async def watch(self, start_date: datetime.date) -> AsyncIterator[WeekStanding | None]:
        """Yield how a week stands, and again whenever that has changed; None for each second in which it has not."""
        seen: Hashable = None
        told: WeekStanding | None = None
        with self.signals.bell.listening() as rang:
            while True:
                rang.clear()
                mark = await asyncio.to_thread(self.mark)
                if mark != seen:
                    seen = mark
                    standing = await asyncio.to_thread(self.standing, start_date, mark)
                    if standing != told:
                        told = standing
                        yield standing
                        continue
                if not await rung(rang, LOOK_S):
                    yield None

    def mark(self) -> Hashable:
        """Return what is different once anything has changed, or a minute has gone by.

        Looked up once a second, and at once when something is told.
        """
        with self._work:
            at, heard, mark = self._mark
            changes = self.signals.changes
            if time.monotonic() - at >= LOOK_S / 2 or changes != heard:
                with transaction(self.database) as session:
                    ids = [
                        session.execute(sa.select(sa.func.max(table.id))).scalar()
                        for table in (tables.StoredPlan, tables.PostedWeek)
                    ]
                    mark = (*ids, on_record(session), self.clock().replace(second=0, microsecond=0))
                self._mark = time.monotonic(), changes, mark
            return mark

    def standing(self, start_date: datetime.date, mark: Hashable) -> WeekStanding:
        """Return how a week stands; from memory for all who ask with the same `mark`."""
        with self._work:
            known = self._kept.get((start_date, mark))
            if known is None:
                with transaction(self.database) as session:
                    known = self._standing(session, start_date)
                self._kept[start_date, mark] = known
                while len(self._kept) > _KEPT:
                    del self._kept[next(iter(self._kept))]
            return known

    @speaking(ENGLISH)  # kept for readers of every language
    def _standing(self, session: Session, start_date: datetime.date) -> WeekStanding:
        now = self.clock()
        table = tables.StoredPlan
        newest = session.exec(
            select(table).where(table.start_date == start_date).order_by(col(table.id).desc())
        ).first()
        posted = posted_week(session, start_date)
        lines = crew_lines(session, local_day(session, now), now)
        falls = {
            one.visit_id: one.words
            for one in each_falling(session, self.days, now)
            if start_date <= one.date < start_date + datetime.timedelta(days=7)
        }
        texts = unread(session)
        return WeekStanding(
            plan=None if newest is None else newest.id,
            by="" if newest is None else newest.made_by,
            how="" if newest is None else newest.how,
            posted=None if posted is None else posted.plan_id,
            falls=falls,
            at_risk=sum(len(line.risks) for line in lines),
            older="" if newest is None else sentence(changed_since(session, newest, now)),
            today=hashlib.blake2b(msgspec.json.encode([lines, falls]), digest_size=8).hexdigest(),
            texts=" ".join(str(one.text.id) for one in texts),
            answers=tuple(
                NewAnswer(one.text.id or 0, one.customer, one.text.words, one.told_by)
                for one in texts
                if one.text.kind == "answer"
            ),
            reasons_wanted=newest is not None and newest.reasons_wanted,
        )
