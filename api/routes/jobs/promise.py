"""Promise at sale: times for a job over the weeks ahead, and booking one; for people, and for a shop's own web form."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Annotated, Any, Literal, get_args
from urllib.parse import quote

import msgspec
from fastapi import Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.files.sheets import BadFiles
from api.fields.limits import as_sent, limit
from api.fields.measures import in_bounds, office_length
from api.http.pages import Database, page, wants_json
from api.http.problems import responses
from api.http.subject import Subject
from api.jobs.models import model_names
from api.ledger.told import HOLDS, told_now
from api.office.work_kinds import offered
from api.papers.shown.job_page import job_page
from api.papers.shown.wall_words import wall_words
from api.places.finder import Finder
from api.places.pins import pin_text, read_pin
from api.promise.finding import TimesFound, found_in, times_for
from api.promise.ground import Sales
from api.promise.taking import AskedTime, Promised, asked_for, promise
from api.promise.wanted import NEW, Buyer, WantedJob, enter, faults, horizon_with, towns_known
from api.routes import records
from api.tables import Business, Customer, Site, Visit
from scheduler.errors import BadInput
from scheduler.layout.documents import WallKind

router = Subject(tags=("promise",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Hold = Literal["firm", "day", "soft"]
Typed = Annotated[records.Words, Field(max_length=60)]
Key = Annotated[records.Words, Form(max_length=120, description="the key of a time that was told")]
_WALLS = get_args(WallKind)
_Wall = Annotated[records.Words, Field(max_length=40)]


class WantedBody(records.Body):
    """A job that is not entered yet: what, where, and of an install its wall.

    It is where its pin is, else where its address is found, else in the middle of the sites known in its town. Lengths
    in millimeters; what is left out is taken as usual.
    """

    kind: Annotated[str, limit("work_kind.id")] = "install"
    town: Annotated[str, limit("site.town")]
    address: Annotated[records.Words, Field(max_length=200)] = ""
    lat: Annotated[float, limit("site.lat")] | None = None
    lon: Annotated[float, limit("site.lon")] | None = None
    width_mm: Annotated[int, limit("awning.width_mm")] | None = None
    height_mm: Annotated[int | None, Field(ge=500, le=20_000)] = None
    wall: _Wall = ""
    model: Annotated[records.Words, Field(max_length=120)] = ""


class BookingBody(WantedBody):
    """The job that is sold, for whom, and the `key` of the time that was told."""

    name: Annotated[str, limit("customer.name")]
    phone: Annotated[str, limit("customer.phone")] = ""
    email: Annotated[str, limit("customer.email")] = ""
    time: Annotated[records.Words, Field(max_length=120)]
    hold: Hold = "day"


class TypedJob(BaseModel):
    """A job that is not entered yet as a person types it: lengths in feet and inches or millimeters, a pin in words."""

    kind: Typed = "install"
    town: Typed = ""
    address: Annotated[records.Words, Field(max_length=200)] = ""
    pin: Typed = ""
    width: Typed = ""
    height: Typed = ""
    wall: Typed = ""
    model: Typed = ""


class SoldJob(TypedJob):
    """The same once it is sold: for whom, and the `key` of the time that was told."""

    town: Typed
    name: Annotated[str, as_sent("customer.name")]
    phone: Annotated[str, as_sent("customer.phone")] = ""
    email: Annotated[str, as_sent("customer.email")] = ""
    time: Annotated[records.Words, Field(max_length=120, description="the key of a time that was told")]
    hold: Hold = "day"


@router.get("/jobs/{visit_id}/times")
def job_times(request: Request, session: Database, _: Office, now: Now, visit_id: str) -> Response:
    """Give up to five times over the weeks ahead that an open job could be promised, by date.

    Each has its `key`, `crew`, `date`, `half_day`, `start`, `end`, `earliest`, `latest` (minutes after midnight),
    `run_cents` (what it takes to run), `cost_cents` (and all that weighs besides), `risk` (the chance that the weather
    takes it). `rests` says what they rest on, `because` why there are none, `until` how far was looked.
    """
    visit = found(session, Visit, visit_id, "job")
    ground = _sales(request).ground(now)
    if not wants_json(request) and visit.state == "open" and visit_id in ground.horizon.facts.elsewhere:
        return RedirectResponse(f"/rebooking/new?visit={quote(visit_id)}&cause=customer", 303)  # told already
    times = times_for(session, ground, visit_id, now)
    if wants_json(request):
        return _json(_record(times))
    site, shown = session.get_one(Site, visit.site_id), job_page(session, visit_id, now)
    wall = wall_words(shown.job, site, session.get_one(Business, 1), now.year) if shown else None
    values = {
        "visit": visit, "site": site, "customer": session.get_one(Customer, site.customer_id), "times": times,
        "holds": HOLDS, "booking": told_now(session, visit_id), "action": f"/jobs/{visit_id}/promise", "hidden": {},
        "shade": wall.shade if wall else (),
    }  # fmt: skip
    return page(request, "looking_back/times.html", values)


@router.post("/jobs/{visit_id}/promise", status_code=201, responses=responses(400, 409))
def promise_job(
    request: Request, session: Database, who: Office, now: Now, once: Once, visit_id: str, time: Key,
    hold: Annotated[Hold, Form()] = "day",
) -> Response:  # fmt: skip
    """Promise an open job one of its times: the booking is written, the message drafted with its calendar entry.

    Refused by 409 where the time is not free any more (`time-taken`): of two who sell the same hour one gets it.
    """

    def write() -> Response:
        made = promise(_sales(request), lambda _: visit_id, asked_for(time, hold), now=now, by=who.name)
        if wants_json(request):
            return _json(_booked(made), 201, {"Location": f"/jobs/{visit_id}"})
        return RedirectResponse(f"/jobs/{visit_id}#told", 303)

    return once(session, write)


@router.get("/promise")
def promise_page(
    request: Request, session: Database, _: Office, now: Now, job: Annotated[TypedJob, Query()]
) -> Response:
    """Show the form for a job that is not entered yet, and once a town is given the times that it could be promised."""
    typed = job.model_dump()
    times, fault, where, at = None, "", "", ""
    if job.town.strip():
        try:
            wanted, at = _located(request, _wanted(session, typed))
            times = _times(request, session, wanted, now)
            typed["pin"] = pin_text(wanted.lat, wanted.lon)
        except BadInput as problem:
            fault, where = problem.problem, problem.where
    values = {
        "typed": typed, "times": times, "fault": fault, "where": where, "towns": towns_known(session), "walls": _WALLS,
        "works": offered(session),
        "models": model_names(session), "holds": HOLDS, "action": "/promise", "hidden": typed, "booking": None,
        "at": at,
    }  # fmt: skip
    return page(request, "horizon/promise.html", values, 422 if fault else 200)


@router.post("/promise", responses=responses(400, 409))
def promise_form(
    request: Request, session: Database, who: Office, now: Now, once: Once, sold: Annotated[SoldJob, Form()]
) -> Response:
    """Enter the job that is sold and promise it the time; all of it or nothing."""
    wanted, _ = _located(request, _wanted(session, sold.model_dump(include=set(TypedJob.model_fields))))

    def write() -> Response:
        buyer = Buyer(sold.name, sold.phone, sold.email)
        made = _sell(request, wanted, buyer, asked_for(sold.time, sold.hold), now, who.name)
        return RedirectResponse(f"/jobs/{made.visit_id}#told", 303)

    return once(session, write)


@router.post("/promise/times")
def wanted_times(request: Request, session: Database, _: Office, now: Now, body: WantedBody) -> Response:
    """Give up to five times that a job which is not entered yet could be promised; nothing is kept.

    The answer is as that of `/jobs/{visit_id}/times`.
    """
    return _json(_record(_times(request, session, _from(request, body), now)))


@router.post("/promise/bookings", status_code=201, responses=responses(400, 409))
def book_wanted(request: Request, session: Database, who: Office, now: Now, once: Once, body: BookingBody) -> Response:
    """Enter a job with its customer and site and promise it a time, all of it or nothing.

    The answer has `visit`, `crew`, `date`, `start`, `end`, `hold` and `message`, the message that the office looks over
    and sends. Refused by 409 where the time is not free any more (`time-taken`): ask for times again. Send an
    `Idempotency-Key`: the same request sent twice books once.
    """

    wanted = _from(request, body)

    def write() -> Response:
        buyer = Buyer(body.name, body.phone, body.email)
        made = _sell(request, wanted, buyer, asked_for(body.time, body.hold), now, who.name)
        return _json(_booked(made), 201, {"Location": f"/jobs/{made.visit_id}"})

    return once(session, write)


def _sales(request: Request) -> Sales:
    sales: Sales = request.app.state.sales
    return sales


def _times(request: Request, session: Session, wanted: WantedJob, now: datetime.datetime) -> TimesFound:
    ground = _sales(request).ground(now)
    return found_in(horizon_with(session, ground.horizon, wanted, now), ground.plan, NEW)


def _sell(
    request: Request, wanted: WantedJob, buyer: Buyer, asked: AskedTime, now: datetime.datetime, by: str
) -> Promised:
    sales = _sales(request)
    known = sales.ground(now).horizon.facts

    def entered(session: Session) -> str:
        try:
            return enter(session, known, wanted, buyer, by=by, now=now)
        except BadFiles as bad:
            raise faults(bad) from None

    return promise(sales, entered, asked, now=now, by=by)


def _from(request: Request, body: WantedBody) -> WantedJob:
    values = {name.name: getattr(body, name.name) for name in dataclasses.fields(WantedJob)}
    return _located(request, _checked(WantedJob(**values)))[0]


def _located(request: Request, wanted: WantedJob) -> tuple[WantedJob, str]:
    """Return the job with the place of its address, where one is known or found, and how sure that place is.

    Times are near enough by the likeliest place; the pin is looked at once the job is entered.
    """
    if wanted.lat is not None or not wanted.address:
        return wanted, ""
    finder: Finder = request.app.state.places
    answer = finder.find(wanted.address, wanted.town)
    if not answer.places:
        return wanted, ""
    place = answer.places[0]
    words = place.words if answer.sure else f"{place.words}, not sure: look at the pin once the job is entered"
    return dataclasses.replace(wanted, lat=place.lat, lon=place.lon), words


def _wanted(session: Session, typed: dict[str, str]) -> WantedJob:
    """Return what a form says; raises `BadInput` naming the field."""
    units = getattr(session.get(Business, 1), "units", "imperial")

    def length(name: str, column: str) -> int | None:
        try:
            return in_bounds(limit(column), office_length(typed[name], units), units) if typed[name].strip() else None
        except BadInput as fault:
            raise BadInput(name, fault.problem) from None

    try:
        lat, lon = read_pin(typed["pin"]) or (None, None)
    except BadInput as fault:
        raise BadInput("pin", fault.problem) from None
    return _checked(
        WantedJob(
            typed["kind"], typed["town"].strip(), typed["address"].strip(), lat, lon,
            length("width", "awning.width_mm"), length("height", "awning.width_mm"), typed["wall"], typed["model"],
        )
    )  # fmt: skip


def _checked(wanted: WantedJob) -> WantedJob:
    if wanted.wall and wanted.wall not in _WALLS:
        raise BadInput("wall", f'must be one of {", ".join(_WALLS)}, is "{wanted.wall}"')
    if (wanted.lat is None) != (wanted.lon is None):
        raise BadInput("lat" if wanted.lat is None else "lon", "is missing: give both or neither")
    if not wanted.town:
        raise BadInput("town", "must not be empty")
    return wanted


def _record(times: TimesFound) -> dict[str, Any]:
    found_times = [
        {**dataclasses.asdict(time), "date": str(time.date), "half_day": time.half_day, "key": time.key}
        for time in times.times
    ]
    return {"times": found_times, "rests": times.rests, "because": times.because, "until": str(times.until)}


def _booked(made: Promised) -> dict[str, Any]:
    return {
        "visit": made.visit_id, "crew": made.crew, "date": str(made.date), "start": made.start, "end": made.end,
        "hold": made.hold, "message": made.message_id,
    }  # fmt: skip


def _json(value: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(msgspec.json.encode(value), status, headers, "application/json")
