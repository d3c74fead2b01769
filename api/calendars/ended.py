"""Days off, of people and vans, that do not stand any more in the calendar they came from: they end, and it is told."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.falls.falls import CannotGo
from api.falls.today import Days
from api.fields.shown import day_name
from api.office.hanging import Hanging, hanging
from api.office.keeping import keep, records, remove
from api.office.kind import Kind

Key = tuple[str, datetime.date, str]  # person or van, first day, part of the day (empty: of a van)
Row = tables.DayOff | tables.VanOut
MOST = 400
_WHY = "not in the calendar any more"


def end_days_off(
    days: Days, calendar_id: int, kind: Kind, named: Collection[Key], today: datetime.date, *, by: str,
    now: datetime.datetime,
) -> str:  # fmt: skip
    """End the days off of a calendar, rows of `kind`, that it does not name any more; return in words which.

    One that has begun already ends yesterday; the others are deleted. Visits that can go again are told. Empty where
    all still stand in it.
    """

    def do(session: Session) -> None:
        for row in _gone(session, calendar_id, kind, named, today):
            (old,) = records(session, kind, [row])
            if row.first < today:
                ends = {**old.values, "last": today - datetime.timedelta(days=1)}
                keep(session, kind, old, ends, by=by, now=now, did=f"{_WHY}, changed")
            else:
                remove(session, kind, old, by=by, now=now, did=f"{_WHY}, deleted")

    with Session(days.database) as session:
        gone = _gone(session, calendar_id, kind, named, today)
        names = [f"{whose(session, one)}, {day_name(one.first)}" for one in gone]
    if not gone:
        return ""
    hangs = hanging(days, now, do)
    with transaction(days.database) as session:
        do(session)
    return _words(names, hangs)


def key_of(row: Row) -> Key:
    """Return what tells a row apart from the others of its calendar."""
    return (row.van_id, row.first, "") if isinstance(row, tables.VanOut) else (row.person_id, row.first, row.part)


def by_reason(found: Iterable[CannotGo]) -> str:
    """Return visits with why they cannot go, each reason once: J-1042, J-1051 (the van is out)."""
    visits: dict[str, list[str]] = {}
    for one in found:
        visits.setdefault(one.words.rstrip("."), []).append(one.visit_id)
    return "; ".join(f"{', '.join(names)} ({words})" for words, names in visits.items())


def _gone(
    session: Session, calendar_id: int, kind: Kind, named: Collection[Key], today: datetime.date
) -> list[Row]:  # fmt: skip
    off = tables.VanOut if kind.table is tables.VanOut else tables.DayOff
    wanted = select(off).where(off.calendar_id == calendar_id, off.last >= today)
    rows: Any = session.exec(wanted.order_by(col(off.first), col(off.id)))
    return [row for row in rows if key_of(row) not in named]


def whose(session: Session, row: Row) -> str:
    if isinstance(row, tables.VanOut):
        return row.van_id
    return session.get_one(tables.Person, row.person_id).name


def _words(names: Sequence[str], hangs: Hanging) -> str:
    off = "; ".join(names)
    words = f"Not in the calendar any more, so not off: {off}."
    if hangs.again:
        visits = ", ".join(one.visit_id for one in hangs.again)
        words += " " + f"Because of that these can go as posted again: {visits}."
    return words[:MOST]
