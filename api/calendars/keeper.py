"""Fetches calendars when they are due; what is new in one waits to be looked through, or is taken in."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.calendars.ended import end_days_off
from api.calendars.taken import take_days_off
from api.calls.getting import get_outside
from api.calls.guard import OutsideFault, is_outside
from api.database import transaction
from api.falls.today import Days
from api.office import taking
from api.office.files import busy
from api.office.files.sheets import Rows, table_of
from api.office.kind import Kind
from api.office.kinds import KINDS
from api.workers.lookout import Lookout
from scheduler.errors import BadInput

EVERY = datetime.timedelta(hours=1)
LOOK_S = 30.0
BY = "calendars"


class CalendarKeeper:
    """Fetches the calendars that are due, one after the other.

    days: the posted weeks as they stand, and their database. clock: the time of the work, from which on busy times
    count. machine: by which each is due. allowed: which IP addresses may be asked.
    """

    def __init__(
        self, days: Days, clock: Callable[[], datetime.datetime], machine: Callable[[], datetime.datetime],
        allowed: Callable[[str], bool] = is_outside,
    ) -> None:  # fmt: skip
        self._days, self._database = days, days.database
        self._clock, self._machine, self._allowed = clock, machine, allowed
        self.lookout = Lookout("calendars", self._look, every_s=LOOK_S, failed="calendars could not be fetched")

    def _look(self) -> None:
        for calendar_id in self.due():
            if not self.lookout.stopping():
                self.fetch(calendar_id)

    def due(self) -> list[int]:
        """Return the calendars that are to be fetched now."""
        row = tables.BusyCalendar
        with transaction(self._database) as session:
            ids = session.exec(select(row.id).where(row.next_at <= self._machine()).order_by(col(row.id))).all()
        return [one for one in ids if one is not None]

    def fetch(self, calendar_id: int) -> None:
        """Fetch a calendar and keep what came of it; one that cannot be had or read keeps the words of its fault."""
        with transaction(self._database) as session:
            row = session.get(tables.BusyCalendar, calendar_id)
            if row is None:
                return
            address, whose, by_itself = row.address, row.whose, row.by_itself
        now, words, found, zone = self._clock(), "", Rows(), ZoneInfo("UTC")
        try:
            data = get_outside(address, self._allowed)
            if not busy.is_calendar(data):
                raise BadInput("", "what stands there is no calendar")
            with transaction(self._database) as session:
                zone = ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
                found = busy.rows_of(session, data, "", whose, zone, now.astimezone(zone).date())
        except busy.NothingBusy:
            pass
        except BadInput as fault:
            words = fault.problem
        except OutsideFault as fault:
            words = str(fault)
        ended, taken, kind = "", "", KINDS[busy.kind_of(whose)]
        if not words:
            today = now.astimezone(zone).date()
            ended = end_days_off(self._days, calendar_id, kind, busy.keys(found), today, by=BY, now=now)
            if by_itself and found:
                taken = take_days_off(self._days, calendar_id, kind, found, by=BY, now=now)
        with transaction(self._database) as session:
            row = session.get(tables.BusyCalendar, calendar_id)
            if row is not None:  # stopped while it was fetched
                if ended or taken:  # both of the same look, so that neither tells of what is so no more
                    row.ended, row.taken = ended, taken
                self._keep(session, row, kind, found, words, now)

    def _keep(
        self, session: Session, row: tables.BusyCalendar, kind: Kind, found: Rows, words: str, now: datetime.datetime
    ) -> None:  # fmt: skip
        row.next_at, row.words = self._machine() + EVERY, words[:200]
        if not words:
            row.fetched_at, row.days = now, max(0, len(found) - 1)
            if row.file_id is not None:
                session.execute(sa.delete(tables.SentFile).where(col(tables.SentFile.id) == row.file_id))
            row.file_id = None
            if found and not row.by_itself and self._news(kind, found, now):
                called = dict([*busy.choices(session), *busy.van_choices(session)])
                name = f"calendar of {called.get(row.whose, row.whose)}"
                row.file_id = taking.send(session, kind, name, found, by=BY, now=now)
        session.add(row)

    def _news(self, kind: Kind, found: Rows, now: datetime.datetime) -> bool:
        """Return whether the rows would change anything; nothing of it is kept."""
        with Session(self._database) as session:
            table = table_of(found, kind)
            columns, _ = taking.columns_of(session, kind, table)
            tried = taking.take(session, kind, table, columns, by=BY, now=now)
            session.rollback()
        return tried.count("unchanged") < len(tried.rows)
