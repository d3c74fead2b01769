"""A visit of today put off to another day: the cheapest time among its rebooking offers, taken at once where asked."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from api import tables
from api.falls.today import Today
from api.rebooking import cases
from api.rebooking.search import Searches, away_days, locked_visits, offers_staying
from api.rebooking.standing import Wishes, standing
from api.rebooking.taking import Caller, take
from scheduler.price import Visit, change_cents


@dataclass(frozen=True)
class OtherDay:
    """A time on a later day of the posted week, and what the visit costs there, without what today loses by it."""

    offer: dict[str, Any]
    date: datetime.date
    cents: int


def other_day(session: Session, today: Today, visit_id: str) -> OtherDay | None:
    """Return the cheapest time for a visit on a later day of the posted week, the others staying; None: there is none.

    Answers 409 where what is posted cannot be kept by today's rows.
    """
    days = frozenset(_later_days(today))
    if not days:
        return None
    away, locked = away_days(session, today), locked_visits(session, today)
    stand = standing(today, visit_id, wishes=Wishes(days=days), away=away, locked=locked)
    found = [offer for offer in offers_staying(today, stand, visit_id) if offer["day"] in days]
    if not found:
        return None
    best = found[0]
    job = next(job for job in stand.week.jobs if job.id == visit_id)
    at = Visit(best["crew"], best["day"], best["start"], best["end"])
    told = 0 if job.booked is None else change_cents(job.booked, at, stand.week.broken_cents)
    cents = best["cost_cents"] - (stand.plan.cost.total - stand.leaving_cents) - told
    return OtherDay(best, today.posted.date(best["day"]), cents)


def put_off(
    session: Session, searches: Searches, today: Today, visit_id: str, why: str, other: OtherDay | None, *,
    now: datetime.datetime, by: str,
) -> tables.RebookingCase:  # fmt: skip
    """Open a case for a visit of today, and give it the time `other`; None: times are to be searched with the case."""
    wishes = {"days": [today.posted.date(day).isoformat() for day in _later_days(today)]}
    case = cases.open_case(
        session, today, "other", [visit_id], detail=why, wishes=wishes, crew_day=None, now=now, by=by
    )
    if other is not None:
        row = session.get_one(tables.CaseVisit, (case.id, visit_id))
        row.offers, row.offers_plan_id = [other.offer], today.posted.plan_id
        session.add(row)
        session.flush()
        take(session, searches, case, row, other.offer["key"], "soft", Caller(by, now, row.version))
    return case


def _later_days(today: Today) -> range:
    first = 0 if today.moment is None else today.moment[0] + 1
    return range(first, today.posted.week.days)
