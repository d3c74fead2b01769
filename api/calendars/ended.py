"""Days off that do not stand any more in the calendar that they came from: they end, and what follows is told."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.fields.shown import day_name
from api.office.hanging import Hanging, hanging
from api.office.keeping import keep, records, remove
from api.office.kinds import KINDS

Key = tuple[str, datetime.date, str]  # person, first day, part of the day
MOST = 400
_WHY = "not in the calendar any more"


def end_days_off(
    database: sa.Engine, calendar_id: int, named: Collection[Key], today: datetime.date, *, by: str,
    now: datetime.datetime,
) -> str:  # fmt: skip
    """End the days off of a calendar that it does not name any more; return in words which, and which visits go again.

    One that has begun already ends yesterday; the others are deleted. Empty where all still stand in it.
    """

    def do(session: Session) -> None:
        for row in _gone(session, calendar_id, named, today):
            (old,) = records(session, KINDS["days-off"], [row])
            if row.first < today:
                ends = {**old.values, "last": today - datetime.timedelta(days=1)}
                keep(session, KINDS["days-off"], old, ends, by=by, now=now, did=f"{_WHY}, changed")
            else:
                remove(session, KINDS["days-off"], old, by=by, now=now, did=f"{_WHY}, deleted")

    with Session(database) as session:
        gone = _gone(session, calendar_id, named, today)
        names = [f"{session.get_one(tables.Person, one.person_id).name} {day_name(one.first)}" for one in gone]
    if not gone:
        return ""
    hangs = hanging(database, now, do)
    with transaction(database) as session:
        do(session)
    return _words(names, hangs)


def _gone(
    session: Session, calendar_id: int, named: Collection[Key], today: datetime.date
) -> list[tables.DayOff]:  # fmt: skip
    off = tables.DayOff
    rows: Sequence[tables.DayOff] = session.exec(
        select(off).where(off.calendar_id == calendar_id, off.last >= today).order_by(col(off.first), col(off.id))
    ).all()
    return [row for row in rows if (row.person_id, row.first, row.part) not in named]


def _words(names: Sequence[str], hangs: Hanging) -> str:
    words = f"{_WHY.capitalize()}, so no day off: {', '.join(names)}."
    if hangs.again:
        can = ", ".join(f"{one.visit_id} ({one.words.rstrip('.')})" for one in hangs.again)
        words += f" Because of that these can go as posted again: {can}."
    return words[:MOST]
