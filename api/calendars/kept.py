"""The calendars that are fetched: made, stopped, and how each of them stands."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from urllib.parse import urlsplit

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.limits import LIMITS
from api.ledger.history import note
from api.office.files import busy
from api.office.files.sheets import Rows
from scheduler.errors import BadInput

MOST = 60


@dataclass(frozen=True)
class CalendarStands:
    """One calendar as its page shows it: `host` alone of its address, since whoever has the address reads it."""

    id: int
    who: str
    host: str
    fetched_at: datetime.datetime | None
    days: int
    file_id: str | None
    words: str
    ended: str
    by_itself: bool
    taken: str


def make(
    session: Session, whose: str, address: str, *, by_itself: bool = False, by: str, now: datetime.datetime
) -> int:
    """Keep a calendar that is fetched from now on, and return its id; raises `BadInput` naming the field.

    by_itself: what is new in it is taken in as it is fetched; else it waits until somebody has looked through it.
    """
    address = address.strip()
    if address.lower().startswith(("webcal://", "webcals://")):
        address = f"https://{address.partition('://')[2]}"
    try:
        kept = LIMITS["busy_calendar.address"].check(address)
    except BadInput as fault:
        raise BadInput("address", fault.problem) from None
    busy.check(session, whose)
    row = tables.BusyCalendar
    if session.exec(select(row.id).where(row.whose == whose, row.address == kept)).first() is not None:
        raise BadInput("address", "is fetched already for the same person")
    if session.exec(select(sa.func.count()).select_from(row)).one() >= MOST:
        raise BadInput("address", f"is one too many: {MOST} calendars are fetched already")
    made = row(whose=whose, address=kept, by_itself=by_itself, made_at=now, made_by=by, next_at=now)
    session.add(made)
    session.flush()
    note(session, now, by, "made", "calendar", whose[:80], {"host": urlsplit(kept).hostname or ""})
    return made.id or 0


def stop(session: Session, row: tables.BusyCalendar, *, by: str, now: datetime.datetime) -> None:
    """Fetch a calendar no more; the days off that were taken from it stay."""
    for off in (tables.DayOff, tables.VanOut):
        session.execute(sa.update(off).where(col(off.calendar_id) == row.id).values(calendar_id=None))
    note(session, now, by, "ended", "calendar", row.whose[:80], {"host": urlsplit(row.address).hostname or ""})
    session.delete(row)


def taken(session: Session, file_id: str) -> None:
    """Note that somebody has looked through what a calendar named, and which days off have come from it."""
    row, sent = tables.BusyCalendar, session.get(tables.SentFile, file_id)
    calendar = session.exec(select(row).where(row.file_id == file_id)).first()
    if calendar is None or sent is None:
        return
    belong(session, calendar, sent.table)
    calendar.file_id = None
    session.add(calendar)


def belong(session: Session, calendar: tables.BusyCalendar, rows: Rows) -> None:
    """Note that the days of a table have come from a calendar: they end when it does not name them any more."""
    for who, first, part in busy.keys(rows):
        if busy.kind_of(calendar.whose) == "van-days":
            out = tables.VanOut
            change = sa.update(out).where(col(out.van_id) == who, col(out.first) == first)
        else:
            off = tables.DayOff
            same = col(off.person_id) == who, col(off.first) == first, col(off.part) == part
            change = sa.update(off).where(*same)
        session.execute(change.values(calendar_id=calendar.id))


def standing(session: Session, kind: str) -> list[CalendarStands]:
    """Return the calendars that make rows of a kind, with how they stand, by whose they are."""
    names, row = dict([*busy.choices(session), *busy.van_choices(session)]), tables.BusyCalendar
    files = set(session.exec(select(tables.SentFile.id)))
    return [
        CalendarStands(
            one.id or 0, names.get(one.whose, one.whose), urlsplit(one.address).hostname or "", one.fetched_at,
            one.days, one.file_id if one.file_id in files else None, one.words, one.ended,
            one.by_itself, one.taken,
        )
        for one in session.exec(select(row).order_by(col(row.whose), col(row.id)))
        if busy.kind_of(one.whose) == kind
    ]  # fmt: skip
