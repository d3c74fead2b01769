"""A visit of today put off to another day: the cheapest time among its offers, taken at once, or taken back."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.falls.today import Today
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.posted import posted_week
from api.ledger.told import told_now
from api.messages.telling import book, drop_drafts
from api.rebooking import cases
from api.rebooking.search import Searches, offers_staying
from api.rebooking.standing import Wishes, away_days, locked_visits, standing
from api.rebooking.taking import Caller, take
from api.week.post import post
from scheduler.price import Visit, change_cents

AS_IT_WAS = "What was put off is taken back: the day is posted as it was."


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
        told = told_now(session, visit_id)
        before = None if told is None else {
            "crew": told.crew_id, "date": told.day.isoformat(), "start": told.start, "hold": told.hold,
        }  # fmt: skip
        stored = take(session, searches, case, row, other.offer["key"], "soft", Caller(by, now, row.version))
        assert stored is not None
        case.event = {**case.event, "put_off": {"visit": visit_id, "plan": stored.id, "told": before}}
        session.add(case)
        session.flush()
    return case


@dataclass(frozen=True)
class PutOff:
    """A visit put off by a case to `date` and minute `start`; `told`: the customer knows, it cannot be taken back."""

    case_id: int
    visit_id: str
    date: datetime.date
    start: int
    crew: str
    told: bool


def put_offs(session: Session, day: datetime.date) -> list[PutOff]:
    """Return what was put off from `day` by the plan that is posted now, and not taken back."""
    row = tables.RebookingCase
    around = row.start_date <= day, row.start_date > day - datetime.timedelta(days=7)
    found = []
    for case in session.exec(select(row).where(row.cause == "other", *around).order_by(col(row.id))):
        event, posted = case.event.get("put_off"), posted_week(session, case.start_date)
        if event is None or posted is None or posted.plan_id != event["plan"]:
            continue
        assert case.id is not None
        visit = session.get_one(tables.CaseVisit, (case.id, event["visit"]))
        if visit.taken is not None and visit.was["date"] == day.isoformat():
            known = _is_told(session, case.id, visit.visit_id)
            spot = visit.taken["spot"]
            date = datetime.date.fromisoformat(spot["date"])
            found.append(PutOff(case.id, visit.visit_id, date, spot["start"], spot["crew"], known))
    return found


def take_back(
    session: Session, searches: Searches, case: tables.RebookingCase, *, now: datetime.datetime, by: str
) -> None:
    """Post the day again as it was before a visit was put off; the customer has again been told what they were.

    Raises `Problem` 409 where nothing was put off by this case, the week was posted anew since, or the customer has
    been told of the other day.
    """
    event, today = case.event.get("put_off"), searches.days.of(case.start_date, now)
    visit = None if event is None else session.get_one(tables.CaseVisit, (case.id, event["visit"]))
    if event is None or visit is None or visit.state != "rebooked":
        raise _moved("Nothing was put off here, or it was taken back already.")
    if today is None or today.posted.plan_id != event["plan"]:
        raise _moved("The week has been posted anew since: there is nothing to undo here.")
    if _is_told(session, case.id, visit.visit_id):
        raise _moved(f"The customer of {visit.visit_id} knows of the other day: give it another time, and say so.")
    drop_drafts(session, visit.visit_id)
    book(session, visit.visit_id, event["told"], now)
    for row in cases.visits_of(session, case.id or 0):
        row.state, row.taken, row.version = "kept", None, row.version + 1
        session.add(row)
    cases.close_if_done(session, case, now=now, by=by)
    note(session, now, by, "took back putting off", "visit", visit.visit_id, {"case": case.id, "plan": case.plan_id})
    before = session.get_one(tables.StoredPlan, case.plan_id)
    post(session, before, today.built.week, now=now, by=by, despite_why=AS_IT_WAS)


def _is_told(session: Session, case_id: int | None, visit_id: str) -> bool:
    row = tables.Message
    mine = row.case_id == case_id, row.visit_id == visit_id
    found = select(row.id).where(*mine, col(row.state).in_(("told", "sending")))
    return session.exec(found.limit(1)).first() is not None


def _moved(words: str) -> Problem:
    return Problem(409, words, kind="changed-meanwhile")


def _later_days(today: Today) -> range:
    first = 0 if today.moment is None else today.moment[0] + 1
    return range(first, today.posted.week.days)
