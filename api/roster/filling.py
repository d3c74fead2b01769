"""The roster filled in the background: on demand, every night, and where an absence has left a crew without a pair.

At night the pairs and the plan of the weeks ahead are bettered by turns: the plan says which work its pairs could not
do, the roster is filled with that work in mind, and where it changes, the weeks are planned anew. A turn that makes the
two together no cheaper is taken back, and ends it.
"""

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
from api.database import Duty, Hold, transaction
from api.languages import to_say
from api.roster.ground import RosterGround, ground_of
from api.roster.keeping import RosterChangedMeanwhileError, keep_filled
from api.roster.turns import judge, planned_since, turns_left
from api.roster.wanted import with_wanted
from api.week.horizon.keeping import IN_TURN, NIGHTLY
from api.workers.lookout import Lookout
from api.workers.signals import Signals
from scheduler.errors import BadInput
from scheduler.roster.seating import seat
from scheduler.roster.seats import RosterCase

LOOK_S = 20.0  # between two looks whether something is to be filled
SECONDS = 30.0
NIGHT = datetime.time(1, 30)  # by the clock at the yards: before the weeks ahead are planned
TRIES = 3  # where somebody changes the roster while it is being filled
BY_ABSENCE = to_say("an absence")
FAULT = "roster"  # what is told of
_log = logging.getLogger("eaveboard")


def fill(database: sa.Engine, now: datetime.datetime, by: str) -> bool:
    """Fill the roster by today's rows and keep it; False where it was changed again and again meanwhile.

    In a turn of the night it also looks for pairs who can do what the weeks ahead leave out. What has been set by hand
    stays. Raises `BadInput` where no business is set up.
    """
    for _ in range(TRIES):
        with transaction(database) as session:
            ground = ground_of(session, now)
            if by == IN_TURN:
                ground = with_wanted(session, ground)
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
    """Fills the roster where it is due, and for whoever asks; `close` before the database is.

    `fault` says why it was not filled when somebody asked last, empty where it was.
    """

    def __init__(
        self, database: sa.Engine, clock: Callable[[], datetime.datetime], held: Hold, signals: Signals
    ) -> None:
        self._database, self._clock, self._held, self._signals = database, clock, held, signals
        self._asked: threading.Thread | None = None
        self._judged: int | None = None  # the filling after which the night's turns ended
        self.fault = ""
        self.lookout = Lookout("roster", self.look, every_s=LOOK_S, failed="the roster could not be filled")
        signals.on(FAULT, self._hear)

    def close(self) -> None:
        """Wait a moment for a filling that somebody has asked for."""
        if self._asked is not None:
            self._asked.join(2)

    def ask(self, by: str) -> bool:
        """Have the roster filled now; False where it is being filled already."""
        if not self._held.take(Duty.ROSTER):
            return False
        self._say("")
        self._asked = threading.Thread(target=self._for_somebody, args=(by,), name="roster asked", daemon=True)
        self._asked.start()
        return True

    @property
    def going(self) -> bool:
        """Whether the roster is being filled, by whichever worker."""
        return self._held.is_taken(Duty.ROSTER)

    def look(self) -> bool:
        """Fill the roster where it is due by itself; say whether it was."""
        now = self._clock()
        due = self._due(now)
        if due is None or not self._held.take(Duty.ROSTER):
            return False
        by, night, last = due
        if by == IN_TURN and not (judge(self._database, now) and turns_left(self._database, night)):
            self._judged = last
            self._held.drop(Duty.ROSTER)
        else:
            self._fill(by)
        return True

    def _for_somebody(self, by: str) -> None:
        try:
            self._fill(by)
        except sa.exc.SQLAlchemyError:
            _log.exception("the roster could not be filled")
            self._say("The database could not be reached. Fill it again.")

    def _fill(self, by: str) -> None:
        try:
            if not fill(self._database, self._clock(), by):
                self._say("Somebody changed the roster while it was being filled. Fill it again.")
        except BadInput as fault:
            self._say(str(fault))
        finally:
            self._held.drop(Duty.ROSTER)

    def _say(self, fault: str) -> None:
        self.fault = fault
        self._signals.tell(FAULT, f"fault {fault}")

    def _hear(self, words: str) -> None:
        if words:
            self.fault = words.removeprefix("fault").strip()

    def _due(self, now: datetime.datetime) -> tuple[str, datetime.datetime, int | None] | None:
        """Return for whom the roster is to be filled by itself, since which night, and after which filling.

        None: it is not, or has never been filled.
        """
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
                return NIGHTLY, night, last.id
            if self._absence_since(session, last):
                return BY_ABSENCE, night, last.id
            return (IN_TURN, night, last.id) if last.id != self._judged and planned_since(session, last) else None

    @staticmethod
    def _absence_since(session: Session, last: tables.RosterChange) -> bool:
        """Say whether somebody was noted as away, or to be there after all, since the roster was last filled."""
        row = tables.History
        lines = select(row.id).where(col(row.id) > (last.seen or 0), col(row.noun).in_(("day off", "person")))
        return session.exec(lines.limit(1)).first() is not None


def last_filled(session: Session) -> tables.RosterChange | None:
    """Return the change by which the solver last filled the roster."""
    row = tables.RosterChange
    return session.exec(select(row).where(row.how == "filled").order_by(col(row.id).desc()).limit(1)).first()
