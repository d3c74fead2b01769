"""The roster filled in the background: on demand, every night, and where an absence has left a crew without a pair."""

from __future__ import annotations

import datetime
import logging
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.roster.ground import RosterGround, ground_of
from api.roster.keeping import RosterChangedMeanwhileError, keep_filled
from scheduler.errors import BadInput
from scheduler.roster.seating import seat
from scheduler.roster.seats import RosterCase

LOOK_S = 20.0  # between two looks whether something is to be filled
SECONDS = 30.0
NIGHT = datetime.time(1, 30)  # by the clock at the yards: before the weeks ahead are planned
TRIES = 3  # where somebody changes the roster while it is being filled
BY = "every night"
BY_ABSENCE = "an absence"
_log = logging.getLogger("eaveboard")


def fill(database: sa.Engine, now: datetime.datetime, by: str) -> bool:
    """Fill the roster by today's rows and keep it; False where it was changed again and again meanwhile.

    What has been set by hand stays. Raises `BadInput` where no business is set up.
    """
    for _ in range(TRIES):
        with transaction(database) as session:
            ground = ground_of(session, now)
        seated = seat(_from_today(ground), seconds=SECONDS)
        with suppress(RosterChangedMeanwhileError), transaction(database) as session:
            keep_filled(session, ground, seated, now, by)
            return True
    return False


def _from_today(ground: RosterGround) -> RosterCase:
    """Return the case without the days that are past: nobody's van is changed in hindsight."""
    crews = tuple(
        replace(crew, minutes={key: m for key, m in crew.minutes.items() if key[0] >= ground.today})
        for crew in ground.case.crews
    )
    return replace(ground.case, crews=crews)


class RosterKeeper:
    """Fills the roster in a thread of its own; `close` before the database is."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self._asked_by: str | None = None
        self._lock = threading.Lock()
        self._at_work = False
        self._wake, self._end = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name="roster", daemon=True)
        self.fault = ""

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        self._end.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(2)

    def ask(self, by: str) -> bool:
        """Have the roster filled now; False where it is being filled already."""
        with self._lock:
            if self.going:
                return False
            self._asked_by, self.fault = by, ""
        self._wake.set()
        return True

    @property
    def going(self) -> bool:
        """Whether the roster is being filled, or about to be."""
        return self._at_work or self._asked_by is not None

    def look(self) -> bool:
        """Fill the roster where somebody has asked for it or it is due; say whether it was."""
        with self._lock:
            if self._at_work:
                return False
            now = self._clock()
            by = self._asked_by or self._due(now)
            self._asked_by, self._at_work = None, by is not None
        if by is None:
            return False
        try:
            if not fill(self._database, now, by):
                self.fault = "Somebody changed the roster while it was being filled. Fill it again."
        except BadInput as fault:
            self.fault = str(fault)
        finally:
            self._at_work = False
        return True

    def _due(self, now: datetime.datetime) -> str | None:
        """Return for whom the roster is to be filled by itself; None: it is not, or has never been filled."""
        with transaction(self._database) as session:
            business = session.get(tables.Business, 1)
            last = last_filled(session)
            if business is None or last is None:
                return None
            local = now.astimezone(ZoneInfo(business.timezone))
            night = datetime.datetime.combine(local.date(), NIGHT, local.tzinfo)
            if local < night:
                night -= datetime.timedelta(days=1)
            if last.made_at < night:
                return BY
            return BY_ABSENCE if self._absence_since(session, last) else None

    @staticmethod
    def _absence_since(session: Session, last: tables.RosterChange) -> bool:
        """Say whether somebody was noted as away, or to be there after all, since the roster was last filled."""
        row = tables.History
        lines = select(row.id).where(col(row.id) > (last.seen or 0), col(row.noun).in_(("day off", "person")))
        return session.exec(lines.limit(1)).first() is not None

    def _run(self) -> None:
        while not self._end.is_set():
            self._wake.wait(LOOK_S)
            self._wake.clear()
            if self._end.is_set():
                return
            try:
                self.look()
            except sa.exc.SQLAlchemyError:
                _log.exception("the roster could not be filled; trying again in a while")


def last_filled(session: Session) -> tables.RosterChange | None:
    """Return the change by which the solver last filled the roster."""
    row = tables.RosterChange
    return session.exec(select(row).where(row.how == "filled").order_by(col(row.id).desc()).limit(1)).first()
