"""Times for any open job: what could be offered to its customer on the plan of its week, and taking one."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.fields.shown import day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.jobs.listed import places
from api.ledger.plans.named import named
from api.ledger.told import HOLDS, told_now
from api.rebooking.times import FIRST, JobTimes, Time, take_time, times_of

router = APIRouter(prefix="/jobs/{visit_id}/times", tags=["rebooking"])
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("", responses={303: {"description": "to a posted visit's own way to another time"}})
def times(request: Request, session: Database, now: Now, _: Office, visit_id: str) -> Response:
    """Show the times that an open job could be given in the week that is planned, cheapest for others first."""
    _open(session, visit_id)
    if not wants_json(request):
        where = places(session).stops.get(visit_id)
        if where is not None and where.posted:
            return RedirectResponse(f"/rebooking/new?visit={visit_id}&cause=customer", 303)
    shown = times_of(session, visit_id, now)
    if wants_json(request):
        return JSONResponse({"visit": visit_id, **_told(shown)})
    name = named(session, visit_id)
    booking = told_now(session, visit_id)
    values: dict[str, Any] = {
        "shown": shown, "name": name, "booking": booking, "holds": HOLDS, "visit": visit_id,
        "first": shown.times[:FIRST] if shown else (), "more": shown.times[FIRST:] if shown else (),
    }  # fmt: skip
    return page(request, "times.html", values)


@router.post("", status_code=201, responses=responses(409) | {303: {"description": "to a form: the week sheet"}})
def take(
    request: Request, session: Database, now: Now, who: Office, visit_id: str,
    plan: Annotated[int, Form(ge=1, lt=2**31, description="the plan that the time was offered on")],
    choice: Annotated[str, Form(max_length=120, description="the key of the time")],
    hold: Annotated[Literal["firm", "day", "soft"], Form()] = "soft",
) -> Response:  # fmt: skip
    """Give the job one of the times: a new plan of its week, and the customer is noted as told by telephone."""
    visit = _open(session, visit_id)
    row = take_time(session, visit.id, plan, choice, hold, now=now, by=who.name)
    if wants_json(request):
        return JSONResponse({"plan_id": row.id, "start_date": row.start_date.isoformat()}, 201)
    return RedirectResponse(f"/jobs/{visit_id}", 303)


def _open(session: Session, visit_id: str) -> tables.Visit:
    visit = found(session, tables.Visit, visit_id, "job")
    if visit.state != "open":
        raise Problem(409, f"{visit_id} is {visit.state} and needs no time.")
    return visit


def _told(shown: JobTimes | None) -> dict[str, Any]:
    if shown is None:
        return {"plan": None, "times": [], "why_none": "No plan knows this job yet."}
    return {
        "plan": shown.plan_id,
        "start_date": shown.start_date.isoformat(),
        "posted": shown.posted,
        "times": [_time(one) for one in shown.times],
        "why_none": shown.why_none,
        "because": [why.detail for why in shown.because],
    }


def _time(one: Time) -> dict[str, Any]:
    return {
        "key": one.key, "crew": one.offer.crew, "date": one.date.isoformat(), "day": day_name(one.date),
        "start": one.offer.start, "earliest": one.offer.earliest, "latest": one.offer.latest,
        "extra_cents": one.offer.extra_cents, "moves": [move.visit_id for move in one.moves],
    }  # fmt: skip
