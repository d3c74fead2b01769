"""Rain dates: a second day kept for a posted visit that the weather may take; shown, kept, let go, gone to at once."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import msgspec
from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.falls.falls import lost_chance, rain_date_of
from api.falls.today import Days
from api.fields.shown import day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.plans.named import named
from api.rebooking.rain_dates import keeping
from api.rebooking.search import Searches
from api.routes.records import Words
from api.tables import Visit

router = Subject(tags=("rebooking",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Key = Annotated[Words, Form(max_length=120, description="the key of a day that was shown")]


@router.get("/jobs/{visit_id}/rain-date", responses=responses(409))
def shown(request: Request, session: Database, now: Now, _: Office, visit_id: str) -> Response:
    """Show the rain date that is kept for a posted visit, or the days that could be: of its week the best first, then
    the first of the next week (`next_week`; `planned` says how many visits, promised to nobody, make room there).

    `because` says why there is none: the visit cannot be moved, or no crew has room for it on a later day of both.
    """
    visit = found(session, Visit, visit_id, "job")
    today = keeping.posted_with(_days(request), session, visit.id, now)
    kept, days, because = rain_date_of(today, visit.id), list[keeping.RainDay](), ""
    if kept is None:
        try:
            days = keeping.rain_days(session, today, visit.id, now)
        except Problem as problem:
            because = problem.detail
    job = next((one for one in today.built.week.jobs if one.id == visit.id), None)
    spot = today.posted.spots[visit.id]
    values: dict[str, Any] = {
        "visit": visit.id,
        "date": today.posted.date(spot.day).isoformat(),
        "start": spot.start,
        "chance": None if job is None else lost_chance(today, job, spot),
        "kept": None if kept is None else keeping.rain_date_line(session, today, kept),
        "days": [msgspec.to_builtins(one) | {"key": one.key} for one in days],
        "because": because,
    }
    if wants_json(request):
        return JSONResponse(values)
    return page(request, "rebooking/rain_date.html", values | {"name": named(session, visit.id), "on": _on_day})


@router.post("/jobs/{visit_id}/rain-date", responses=responses(409))
def keep(request: Request, session: Database, now: Now, who: Office, visit_id: str, day: Key) -> Response:
    """Keep a day that was shown as the rain date of a posted visit, and draft what its customer is told."""
    visit = found(session, Visit, visit_id, "job")
    today = keeping.posted_with(_days(request), session, visit.id, now)
    row = keeping.keep(session, today, visit.id, day, now=now, by=who.name)
    return _kept(request, row.model_dump(mode="json"), visit.id)


@router.post("/jobs/{visit_id}/rain-date/let-go", responses=responses(409))
def let_go(request: Request, session: Database, now: Now, who: Office, visit_id: str) -> Response:
    """Keep the rain date no longer: its hours are free for all; a customer who knows of it is to be told."""
    visit = found(session, Visit, visit_id, "job")
    row = keeping.let_go(session, visit.id, now=now, by=who.name)
    return _kept(request, row.model_dump(mode="json"), visit.id)


@router.post("/jobs/{visit_id}/rain-date/go", responses=responses(409, 412))
def go(request: Request, session: Database, now: Now, who: Office, visit_id: str) -> Response:
    """Give the visit its rain date at once: post it, write the booking, draft the message."""
    visit = found(session, Visit, visit_id, "job")
    case = keeping.go_there(session, _searches(request), visit.id, now=now, by=who.name)
    if wants_json(request):
        return JSONResponse({"case": case.id})
    return RedirectResponse(f"/rebooking/{case.id}?visit={visit.id}#choices", 303)


def _kept(request: Request, row: dict[str, Any], visit_id: str) -> Response:
    return JSONResponse(row) if wants_json(request) else RedirectResponse(f"/jobs/{visit_id}/rain-date", 303)


def _searches(request: Request) -> Searches:
    searches: Searches = request.app.state.searches
    return searches


def _days(request: Request) -> Days:
    return _searches(request).days


def _on_day(date: str) -> str:
    return day_name(datetime.date.fromisoformat(date))
