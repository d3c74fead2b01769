"""Fetches calendars when they are due; what is new in one waits as a sent file until somebody has looked through it."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.calendars.outside import OutsideFault, get_outside, is_outside
from api.database import transaction
from api.office import busy, taking
from api.office.files import Rows, table_of
from api.office.kinds import KINDS
from api.workers.lookout import Lookout
from scheduler.errors import BadInput

EVERY = datetime.timedelta(hours=1)
LOOK_S = 30.0
BY = "calendars"


class CalendarKeeper:
    """Fetches the calendars that are due, one after the other.

    clock: the time of the work, from which on busy times count. machine: by which each is due. allowed: which IP
    addresses may be asked.
    """

    def __init__(
        self, database: sa.Engine, clock: Callable[[], datetime.datetime], machine: Callable[[], datetime.datetime],
        allowed: Callable[[str], bool] = is_outside,
    ) -> None:  # fmt: skip
        self._database, self._clock, self._machine, self._allowed = database, clock, machine, allowed
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
            address, whose = row.address, row.whose
        now, words, found = self._clock(), "", Rows()
        try:
            data = get_outside(address, self._allowed)
            if not busy.is_calendar(data):
                raise BadInput("", "what stands there is no calendar")
            with transaction(self._database) as session:
                zone = ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
                who = busy.workers(session, whose)
            found = busy.busy_rows(data, "", who, zone, now.astimezone(zone).date())
        except busy.NothingBusy:
            pass
        except BadInput as fault:
            words = fault.problem
        except OutsideFault as fault:
            words = str(fault)
        with transaction(self._database) as session:
            row = session.get(tables.BusyCalendar, calendar_id)
            if row is not None:  # stopped while it was fetched
                self._keep(session, row, found, words, now)

    def _keep(
        self, session: Session, row: tables.BusyCalendar, found: Rows, words: str, now: datetime.datetime
    ) -> None:  # fmt: skip
        row.next_at, row.words = self._machine() + EVERY, words[:200]
        if not words:
            row.fetched_at, row.days = now, max(0, len(found) - 1)
            if row.file_id is not None:
                session.execute(sa.delete(tables.SentFile).where(col(tables.SentFile.id) == row.file_id))
            row.file_id = None
            if found and self._news(found, now):
                name = f"calendar of {row.whose}"
                row.file_id = taking.send(session, KINDS["days-off"], name, found, by=BY, now=now)
        session.add(row)

    def _news(self, found: Rows, now: datetime.datetime) -> bool:
        """Return whether the rows would change anything; nothing of it is kept."""
        kind = KINDS["days-off"]
        with Session(self._database) as session:
            table = table_of(found, kind)
            columns, _ = taking.columns_of(session, kind, table)
            tried = taking.take(session, kind, table, columns, by=BY, now=now)
            session.rollback()
        return tried.count("unchanged") < len(tried.rows)
