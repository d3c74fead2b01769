"""The warranty of an awning that was hung: when its clock begins and ends, and the callbacks since."""

from __future__ import annotations

import calendar
import datetime
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.days.day_rows import next_day
from api.ledger.facts.job import of_visits, rows


@dataclass(frozen=True)
class Callback:
    """A repair of an awning since it was hung: `day` is when it was done (None: it is open), `within` the warranty."""

    visit: tables.Visit
    day: datetime.date | None
    within: bool


@dataclass(frozen=True)
class Warranty:
    """`begun_on` is the day on which the awning was hung for good, `ends_on` the first day without warranty."""

    begun_on: datetime.date
    ends_on: datetime.date


def warranty_of(session: Session, awning_id: str) -> Warranty | None:
    """Return the warranty of an awning; None while it is not hung, or something of its install is still open."""
    return _warranty(session, _installs(session, awning_id))


def _warranty(session: Session, hung: list[tables.Visit]) -> Warranty | None:
    """Return the warranty of what these visits have hung, as `warranty_of` does."""
    if not hung or any(visit.state == "open" for visit in hung):
        return None
    days = [r.day for r in of_visits(session, tables.DayResult, [v.id for v in hung]) if r.outcome == "done"]
    if not days:
        return None
    months = session.get_one(tables.Business, 1).warranty_months
    return Warranty(max(days), months_after(max(days), months))


def callbacks(session: Session, awning_id: str, today: datetime.date) -> list[Callback]:
    """Return the repairs and callbacks of an awning since it was hung, the newest first.

    What was left of its install is none, nor is work of a kind of its own, such as new cloth.
    """
    hung = _installs(session, awning_id)
    warranty, own = _warranty(session, hung), {visit.id for visit in hung}
    done = select(tables.Visit).where(tables.Visit.awning_id == awning_id, tables.Visit.kind == "repair")
    back = select(tables.CalledBack.visit_id)
    done = done.where(sa.or_(col(tables.Visit.work_id).in_(("repair", "callback")), col(tables.Visit.id).in_(back)))
    visits = session.exec(done.where(tables.Visit.state != "cancelled").order_by(col(tables.Visit.id).desc())).all()
    found = [visit for visit in visits if visit.id not in own]
    days = {r.visit_id: r.day for r in of_visits(session, tables.DayResult, [v.id for v in found])}
    return [
        Callback(
            visit, days.get(visit.id) if visit.state == "done" else None,
            within=warranty is not None and warranty.begun_on <= days.get(visit.id, today) < warranty.ends_on,
        )
        for visit in found
    ]  # fmt: skip


def _installs(session: Session, awning_id: str) -> list[tables.Visit]:
    """Return the visits that hang an awning, with their later days and those that do what was left of them."""
    wanted = (tables.Visit.awning_id == awning_id, tables.Visit.kind == "install", tables.Visit.state != "cancelled")
    found = rows(session, tables.Visit, *wanted)
    known, left = {visit.id for visit in found}, [visit.id for visit in found]
    while left:
        results = of_visits(session, tables.DayResult, left)
        after = {r.follow_on for r in results if r.follow_on is not None}
        days = [next_day(session, visit) for visit in found if visit.id in left]
        after = (after | {one.id for one in days if one is not None}) - known
        rest = rows(session, tables.Visit, col(tables.Visit.id).in_(after)) if after else []
        found += [visit for visit in rest if visit.state != "cancelled"]
        known |= after
        left = sorted(after)
    return found


def months_after(day: datetime.date, months: int) -> datetime.date:
    """Return the same day of the month `months` later, the month's last where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
