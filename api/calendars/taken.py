"""What is new in a calendar that is trusted: taken in as it is fetched, and what follows is told."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, select

from api import tables
from api.calendars.ended import MOST, Key, by_reason, key_of, whose
from api.calendars.kept import belong
from api.database import transaction
from api.falls.today import Days
from api.fields.shown import day_name
from api.office import taking
from api.office.files import busy
from api.office.files.sheets import Rows, table_of
from api.office.hanging import Hanging, hanging
from api.office.kind import Kind

_NAMED = 4  # days that are named; of more their number is told


def take_days_off(
    days: Days, calendar_id: int, kind: Kind, rows: Rows, *, by: str, now: datetime.datetime
) -> str:  # fmt: skip
    """Take what is new among the rows of a calendar in, rows of `kind`; return in words what, and which visits fall.

    A day that somebody has entered or changed by hand stays so. A row that cannot stand is left out, and told. Empty
    where nothing is new.
    """
    with Session(days.database) as session:
        told = _take(session, kind, rows, by, now)
        session.rollback()
        others = _others(session, kind, calendar_id)
    lines = [
        row
        for row, done in zip(rows[1:], told.rows, strict=True)
        if done.what != "unchanged" and not busy.keys([rows[0], row]) & others
    ]
    if not lines:
        return ""
    mine = [rows[0], *lines]
    done = list[taking.TableTaken]()

    def do(session: Session) -> None:
        done.append(_take(session, kind, mine, by, now))
        calendar = session.get(tables.BusyCalendar, calendar_id)
        if calendar is not None:  # stopped while it was fetched
            belong(session, calendar, mine)

    hangs = hanging(days, now, do)
    with transaction(days.database) as session:
        do(session)
        off: Any = kind.table
        keys, rows_of_it = busy.keys(mine), session.exec(select(off).where(off.calendar_id == calendar_id))
        names = [f"{whose(session, row)}, {day_name(row.first)}" for row in rows_of_it if key_of(row) in keys]
    return _words(names, done[-1], hangs)


def _take(session: Session, kind: Kind, rows: Rows, by: str, now: datetime.datetime) -> taking.TableTaken:
    table = table_of(rows, kind)
    columns, _ = taking.columns_of(session, kind, table)
    return taking.take(session, kind, table, columns, by=by, now=now)


def _others(session: Session, kind: Kind, calendar_id: int) -> set[Key]:
    """Return the days that are there and are not of this calendar."""
    off: Any = kind.table
    wanted = select(off).where(sa.or_(off.calendar_id.is_(None), off.calendar_id != calendar_id))
    return {key_of(row) for row in session.exec(wanted)}


def _words(names: Sequence[str], done: taking.TableTaken, hangs: Hanging) -> str:
    named = "; ".join(names[:_NAMED])
    if (more := len(names) - _NAMED) > 0:
        named += f"; and {more} more"
    words = f"Taken in: {named}." if named else "Taken in: nothing."
    if done.refused:
        number, why = len(done.refused), done.refused[0].reasons[0]
        words += " " + f"{number} could not be: {why}."
    if hangs.fall:
        visits = by_reason(hangs.fall)
        words += " " + f"Because of that these can't go as posted: {visits}."
    return words[:MOST]
