"""Taking a choice of a case: a new plan is posted, the booking written, the message drafted, all at once or not at all.

A choice was worked out on one posted plan. It is taken only on that plan, and only while today's rows still give it the
same cost; otherwise it is refused, and times are searched anew.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlmodel import Session, select

from api import tables
from api.falls.today import Today
from api.http import versions
from api.http.problems import Problem
from api.ledger.facts.week import kept_rain_date
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.ledger.plans.documents import because_as_data
from api.ledger.plans.posted import posted_week
from api.ledger.told import Hold, told_now
from api.messages.telling import book, draft
from api.rebooking.cases import close_if_done
from api.rebooking.leaving import leaving
from api.rebooking.rain_dates.next_week import KIND, WeekWith, posted_there
from api.rebooking.search import Searches, hole_of, standing_of
from api.rebooking.standing import OfferGround, explained, free_for
from api.week.post import post
from api.week.rain_dates import end
from api.week.run.planning import planned, store_plan
from scheduler.audit import audit
from scheduler.plan import Because, Plan, Skipped, route_from_data
from scheduler.price import outings, visits

DESPITE = "Other visits that fall are dealt with next, each in its own turn."


@dataclass(frozen=True)
class Caller:
    """Who takes a choice, when, and which version of the case's visit they have seen."""

    name: str
    now: datetime.datetime
    version: int


def take(
    session: Session, searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, key: str, hold: Hold,
    caller: Caller,
) -> tables.StoredPlan | None:  # fmt: skip
    """Give the visit the time of the offer `key`, or let it wait; return the plan that is posted for it.

    `hold` is how firmly the new time is promised. None: the offer is the time as it was, and nothing changes. Raises
    `Problem` 409 where the offer does not hold any more, 412 where somebody else was quicker.
    """
    today = _today(searches, case, caller)
    _require_state(visit, "open")
    offer = _choice(visit, key, ("wait", "stays", "moves", "later", "rain date"))
    if offer.get("as_planned") and not offer["moves"]:
        keep(session, case, visit, caller)
        return None
    _require_plan(searches, case, visit, today)
    stand = standing_of(session, today, case, visit)
    waits = offer["kind"] == "wait"
    date = None if waits else today.posted.date(offer["day"])
    later = date is not None and date >= today.next_week
    leaves = {visit.visit_id: leaving(case, date)} if waits or later else {}
    plan = _plan(searches, case, visit, today, stand, offer, leaves)
    spot = None if date is None else {
        "crew": offer["crew"], "date": date.isoformat(), "start": offer["start"], "end": offer["end"], "hold": hold
    }  # fmt: skip
    taken = {
        "kind": offer["kind"],
        "cost_cents": offer["cost_cents"],
        "extra_cents": offer["extra_cents"],
        "spot": spot,
    }
    _claim(session, visit, caller, {"state": "waiting" if waits else "rebooked", "taken": taken})
    _require_posted(session, searches, case, visit, today)
    there = _there(session, searches, case, visit, today, caller) if later and offer["kind"] == KIND else None
    before = told_now(session, visit.visit_id)
    book(session, visit.visit_id, spot, caller.now)
    if there is not None and (kept := kept_rain_date(session, visit.visit_id)) is not None:
        end(session, kept, "taken", now=caller.now, by=caller.name)
    stored = _post(session, today, stand, plan, "offered", caller, visit.visit_id)
    if there is not None and there.today.posted.posted_id:  # else the plan of that week will keep the promise
        _post(session, there.today, there.stand, there.plan, "offered", caller, visit.visit_id)
    if spot is not None or before is not None:
        was = None
        if before is not None:
            was = {"crew": before.crew_id, "date": before.day.isoformat(), "start": before.start, "hold": before.hold}
        draft(
            session, visit.visit_id, spot, before=was, why=case.cause if was is not None else "", now=caller.now,
            by=caller.name, case_id=case.id,
        )  # fmt: skip
    detail = {"visit": visit.visit_id, "plan": stored.id, **taken}
    did = "let wait" if waits else "rebooked"
    note(session, caller.now, caller.name, did, "case", str(case.id), detail)
    close_if_done(session, case, now=caller.now, by=caller.name)
    return stored


def _there(
    session: Session, searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, today: Today,
    caller: Caller,
) -> WeekWith:  # fmt: skip
    """Return the next week with the visit on its rain date; others are kept from posting it meanwhile."""
    rows = select(tables.PostedWeek).where(tables.PostedWeek.start_date == today.next_week)
    session.exec(rows.with_for_update()).all()
    there = posted_there(session, today, visit.visit_id, caller.now)
    if there is None:
        raise _anew(searches, case, visit, "What is known of the rain date's week has changed since this was found.")
    return there


def keep(session: Session, case: tables.RebookingCase, visit: tables.CaseVisit, caller: Caller) -> None:
    """Leave the visit as it is posted: what happened was no reason, or it was mended."""
    _require_state(visit, "open")
    _claim(session, visit, caller, {"state": "kept"})
    note(session, caller.now, caller.name, "kept", "case", str(case.id), {"visit": visit.visit_id})
    close_if_done(session, case, now=caller.now, by=caller.name)


def fill(
    session: Session, searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, key: str, caller: Caller
) -> tables.StoredPlan:
    """Put the waiting job of the choice `key` into the hole that the visit has left; return the plan posted for it."""
    today = _today(searches, case, caller)
    if visit.state == "open":
        raise Problem(409, f"Give {visit.visit_id} a new time first: until then there is no hole.")
    offer = _choice(visit, key, ("fill",))
    _require_plan(searches, case, visit, today)
    stand = hole_of(session, today)
    plan = _plan(searches, case, visit, today, stand, offer, {})
    _claim(session, visit, caller, {"offers": [o for o in visit.offers if o["kind"] != "fill"]})
    _require_posted(session, searches, case, visit, today)
    stored = _post(session, today, stand, plan, "repaired", caller)
    detail = {"visit": offer["visit"], "plan": stored.id, "saves_cents": offer["saves_cents"]}
    note(session, caller.now, caller.name, "filled a hole", "case", str(case.id), detail)
    return stored


def _today(searches: Searches, case: tables.RebookingCase, caller: Caller) -> Today:
    """Return the week as it stands: built before anything is claimed, for building it may write."""
    today = searches.days.of(case.start_date, caller.now)
    if today is None:
        raise Problem(409, "The week of this visit is not posted any more.", kind="changed-meanwhile")
    return today


def _require_state(visit: tables.CaseVisit, state: str) -> None:
    if visit.state != state:
        words = {"rebooked": "has a new time", "waiting": "waits", "kept": "stays as it was"}
        detail = f"{visit.visit_id} is dealt with already: it {words.get(visit.state, 'is open')}."
        raise Problem(409, detail, kind="changed-meanwhile")


def _choice(visit: tables.CaseVisit, key: str, kinds: tuple[str, ...]) -> dict[str, Any]:
    offer = next((o for o in visit.offers if o["key"] == key and o["kind"] in kinds), None)
    if offer is None:
        detail = "This choice is not among those found any more: look at the newer ones."
        raise Problem(409, detail, kind="changed-meanwhile")
    return offer


def _require_plan(searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, today: Today) -> None:
    if visit.offers_plan_id != today.posted.plan_id:
        raise _anew(searches, case, visit, "The week has been posted anew since these times were found.")


def _require_posted(
    session: Session, searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, today: Today
) -> None:
    """Refuse where somebody posted at the same moment; on a server, keep others out until this is done."""
    session.exec(
        select(tables.PostedWeek).where(tables.PostedWeek.id == today.posted.posted_id).with_for_update()
    ).one()
    row = posted_week(session, case.start_date)
    if row is None or row.id != today.posted.posted_id:
        raise _anew(searches, case, visit, "The week has been posted anew at this moment.")


def _plan(
    searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, today: Today, stand: OfferGround,
    offer: dict[str, Any], because: dict[str, tuple[Because, ...]],
) -> Plan:  # fmt: skip
    """Return the plan of a choice, held against the week as it stands now."""
    routes = tuple(map(route_from_data, offer["routes"]))
    plan = explained(planned(stand.week, routes), today.posted.plan, today.built.because)
    plan = msgspec.structs.replace(
        plan, skipped=tuple(Skipped(s.job, because.get(s.job, s.because)) for s in plan.skipped)
    )
    if audit(stand.week, plan).broken_rules or plan.cost.total != offer["cost_cents"]:
        raise _anew(searches, case, visit, "What is known of kits, crews or weather has changed since this was found.")
    name = offer.get("visit", visit.visit_id)
    done = visits(outings(stand.week, routes)).get(name)
    if done is not None and today.moment is not None and (done.day, done.start) <= today.moment:
        raise _anew(searches, case, visit, "This time has passed.")
    return plan


def _anew(searches: Searches, case: tables.RebookingCase, visit: tables.CaseVisit, words: str) -> Problem:
    assert case.id is not None
    searches.begin(case.id, visit.visit_id)
    return Problem(409, f"{words} Nothing was changed; new times are being searched.", kind="changed-meanwhile")


def _claim(session: Session, visit: tables.CaseVisit, caller: Caller, values: dict[str, Any]) -> None:
    if visit.version != caller.version or not versions.update(session, visit, values):
        raise versions.changed(visit.version, {"state": visit.state, "taken": visit.taken}, {"version": caller.version})


def _post(
    session: Session, today: Today, stand: OfferGround, plan: Plan, how: str, caller: Caller,
    visit_id: str | None = None,
) -> tables.StoredPlan:  # fmt: skip
    inputs = fingerprint(stand.week, msgspec.to_builtins(plan.routes))
    stored = store_plan(
        session, stand.week, plan, because=because_as_data(today.built.because), inputs=inputs, how=how, now=caller.now,
        by=caller.name, made_from=today.posted.plan_id, timed=today.built.timed,
    )  # fmt: skip
    post(session, stored, free_for(today, visit_id), now=caller.now, by=caller.name, despite_why=DESPITE)
    return stored
