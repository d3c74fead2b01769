"""A crew's day on a phone: the sheet, how far it is, and what is noted on it; and all crews of a day for the office."""

from __future__ import annotations

import datetime
import hashlib
from pathlib import Path
from typing import Annotated, Any

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, Response
from pydantic import Field

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, everyone, found
from api.access.idempotency import Once
from api.bench import losses
from api.clock import Now, local_day
from api.day import loading, phone, results, stop_times
from api.day.overview import crews_on
from api.falls.now import falling
from api.fields.limits import limit
from api.fields.shown import crew_begins, day_name, pounds
from api.hand_over import signing
from api.http.assets import asset
from api.http.names import crew_called
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import gettext, language, to_say
from api.ledger.kept import kept, unchanged
from api.ledger.plans.posted_days import posted_day, visit_of
from api.papers.shown.cautions import GOES_FIRST
from api.papers.shown.drawings import sheet_to_drill_by
from api.papers.shown.job_page import allowed
from api.routes import records
from api.routes.day.noting import REFUSALS, Noted, NotedOfVisit, OutBody, Reader, Writer, acting, own_day
from api.routes.lists import All
from api.tables import Crew, DayLink
from scheduler.documents import encode

router = Subject(tags=("days",))
Staff = Annotated[Who, allow(*LOOKERS)]
WORKER = Path(__file__).parents[2] / "static" / "built" / "day-worker.js"
HOLDS = {"firm": to_say("Promised firm"), "day": to_say("Day promised"), "soft": to_say("Told, may move")}


Point = Annotated[list[int], Field(min_length=2, max_length=2)]


class TickBody(NotedOfVisit):
    """Items of the visit's list, ticked onto the van or taken off it."""

    items: Annotated[list[Annotated[records.Words, Field(max_length=200)]], Field(min_length=1, max_length=200)]
    on: bool


class StepBody(NotedOfVisit):
    """A step signed off, with `note` on what is not in order, or the signature taken back."""

    step: Annotated[records.Words, Field(min_length=1, max_length=200)]
    signed: bool = True
    note: Annotated[records.Words, Field(max_length=500)] = ""


class TimeBody(NotedOfVisit):
    """The crew sets out for the visit (`on_way`) or has come there (`here`) at `at`; `noted` false takes it back."""

    what: stop_times.What
    noted: bool = True


class LossBody(NotedOfVisit):
    """`pieces` of a crate's item are missing or broken; `noted` false takes that back."""

    item: Annotated[records.Words, Field(min_length=1, max_length=200)]
    what: losses.Loss
    pieces: Annotated[int, Field(ge=1, le=10_000)] = 1
    noted: bool = True


class SignatureBody(NotedOfVisit):
    """Who signs for the visit, and what they write: lines of [x, y] in a field of 1000 by 400.

    `signed` false takes the signature back.
    """

    name: Annotated[records.Words, limit("signature.name")] | None = None
    strokes: Annotated[
        tuple[Annotated[list[Point], Field(max_length=6000)], ...], Field(max_length=500, strict=False)
    ] = ()
    signed: bool = True


class ResultBody(NotedOfVisit):
    """What became of the visit; minutes after local midnight. `replaces`: the result that this one corrects.

    `left_min`: how many minutes the rest of a visit partly done will take: a visit is made for it at once.
    """

    outcome: results.Outcome
    start: Annotated[int | None, Field(ge=0, le=2879)] = None
    end: Annotated[int | None, Field(ge=0, le=2879)] = None
    why: Annotated[records.Words, Field(max_length=1000)] = ""
    left_min: Annotated[int | None, Field(ge=1, le=1440)] = None
    replaces: Annotated[int | None, Field(ge=1, lt=2**31)] = None


@router.get("/crews/day-worker.js", response_class=Response)
def worker(_: Annotated[Who, everyone()]) -> Response:
    """Give the service worker that keeps day sheets for use without signal; its place is what it may keep."""
    if not WORKER.exists():
        raise Problem(404, "The pages' scripts have not been bundled: run ops/bundle.")
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"}
    return FileResponse(WORKER, media_type="text/javascript", headers=headers)


@router.get("/crews/{crew_id}/days/{day}/manifest.webmanifest", response_class=Response)
def manifest(session: Database, who: Reader, crew_id: str, day: datetime.date) -> Response:
    """Give the manifest with which a phone puts the day sheet beside its other programs."""
    own_day(session, who, crew_id, day)
    crew = found(session, Crew, crew_id, "crew")
    address = f"/crews/{crew_id}/days/{day}"
    icon = {"src": asset("awning.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any maskable"}
    picture = {"src": asset("awning.png"), "sizes": "512x512", "type": "image/png", "purpose": "any maskable"}
    values = {
        "name": f"{crew.name}, {day_name(day)}", "short_name": crew.name, "id": address, "start_url": address,
        "scope": "/crews/", "display": "standalone", "orientation": "any", "background_color": "#f3f5f5",
        "theme_color": "#14524a", "icons": [icon, picture],
    }  # fmt: skip
    return JSONResponse(values, media_type="application/manifest+json")


@router.get("/crews/{crew_id}/days/{day}")
def crew_day(request: Request, session: Database, who: Reader, now: Now, crew_id: str, day: datetime.date) -> Response:
    """Show what the posted week gives a crew to do on a day."""
    own_day(session, who, crew_id, day)
    crew = found(session, Crew, crew_id, "crew")
    posted = posted_day(session, crew_id, day)
    if wants_json(request):
        route = None if posted is None else posted.route
        return Response(b"null" if route is None else encode(route), media_type="application/json")
    values: dict[str, Any] = {"crew": crew, "day": day, "sheet": None}
    if posted is not None:
        shown = phone.day_page(session, crew, posted, now)
        values |= {"sheet": shown.content, "state": shown.state, "posted": posted.posted}
        days = request.app.state.searches.days
        key = ("falls on day sheets", phone.minute_of(now), language(), unchanged(session))
        values["falls"] = kept(session, key, lambda: falling(session, days, now))
        values["opened"] = session.get_one(DayLink, who.link_id).digest if who.link_id is not None else ""
        values["business"] = shown.content.business
        values |= {"goes_first": gettext(GOES_FIRST), "pounds": pounds, "allowed": allowed, "where": loading.WHERE}
        values |= {
            "holds": HOLDS,
            "outcomes": results.WORDS,
            "reasons": results.REASONS,
            "may_write": _may_write(who, crew_id),
        }
    return page(request, "day/day.html", values)


@router.get("/crews/{crew_id}/days/{day}/state")
def state(session: Database, who: Reader, now: Now, crew_id: str, day: datetime.date) -> Response:
    """Give as JSON how far a crew's day is; null where nothing is posted for it."""
    own_day(session, who, crew_id, day)
    found(session, Crew, crew_id, "crew")
    posted = posted_day(session, crew_id, day)
    return JSONResponse(None if posted is None else phone.day_state(session, posted, now))


@router.get("/crews/{crew_id}/days/{day}/drawings/{visit_id}", response_class=Response)
def drawing(session: Database, who: Reader, now: Now, crew_id: str, day: datetime.date, visit_id: str) -> Response:
    """Give the sheet to drill by of one of the day's visits, as preparation made it last, in the crew's language."""
    own_day(session, who, crew_id, day)
    posted = posted_day(session, crew_id, day)
    svg = sheet_to_drill_by(session, visit_id, now) if posted is not None and visit_id in posted.visits else None
    if svg is None:
        detail = gettext('{crew} has no wall drawing of "{visit}" on {day}.')
        raise Problem(404, detail.format(crew=crew_begins(crew_called(session, crew_id)), visit=visit_id, day=day))
    tag = f'"{hashlib.sha256(svg.encode()).hexdigest()[:32]}"'
    return Response(svg, media_type="image/svg+xml", headers={"ETag": tag})


@router.post("/crews/{crew_id}/days/{day}/ticks", responses=REFUSALS)
def tick(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: TickBody
) -> Response:
    """Tick items of a kit onto the van, or take them off; with its last item a verified kit is loaded."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        done = loading.tick(session, posted, visit, body.items, body.on, noted)
        return JSONResponse({"visit": visit.id, "condition": done.condition, "ticked": done.ticked})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/out", responses=REFUSALS)
def out(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: OutBody
) -> Response:
    """Note that the van leaves; refused while a kit is not on it, unless somebody overrules that and says why."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        row = loading.go_out(session, posted, body.overruled_by, body.overruled_why, noted)
        return JSONResponse(row.model_dump(mode="json", exclude={"plan_id", "version"}))

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/back", responses=REFUSALS)
def back(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: Noted
) -> Response:
    """Note that the van is back in the yard; kits of visits still to be done are off it with that."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        row = loading.come_back(session, posted, noted)
        return JSONResponse(row.model_dump(mode="json", exclude={"plan_id", "version"}))

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/steps", responses=REFUSALS)
def step(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: StepBody
) -> Response:
    """Sign a step of a visit off, or take the signature back."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        row = results.sign(session, posted, visit, body.step, body.signed, body.note, noted)
        return JSONResponse({"visit": visit.id, "step": body.step, "signed_by": row.done_by if row else None})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/times", responses=REFUSALS)
def time(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: TimeBody
) -> Response:
    """Note when the crew set out for a visit or came there; of two such notes the first counts."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        row = stop_times.note_time(session, posted, visit, body.what, body.noted, noted)
        return JSONResponse({"visit": visit.id, "what": body.what, "at": row.at.isoformat() if row else None})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/losses", responses=REFUSALS)
def loss(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: LossBody
) -> Response:
    """Note pieces of a crate that are missing or broken on site: they become a short, the kit is whole no more."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        if body.noted:
            losses.note_loss(session, posted, visit, body.item, body.what, body.pieces, noted)
        else:
            losses.take_back(session, posted, visit, body.item, body.what, noted)
        found = losses.losses(session, (visit.id,), day).get(visit.id, [])
        return JSONResponse({"visit": visit.id, "losses": found})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/signatures", responses=REFUSALS)
def signature(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: SignatureBody
) -> Response:
    """Keep the customer's signature for a visit, or take it back."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        if body.signed:
            signing.take_signature(session, posted, visit, body.name or "", body.strokes, noted)
        else:
            signing.take_back(session, posted, visit, noted)
        return JSONResponse({"visit": visit.id, "signed_by": body.name if body.signed else None})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/results", status_code=201, responses=REFUSALS)
def result(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: ResultBody
) -> Response:
    """Note what became of a visit: done closes it, anything else leaves it open for a new time."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = visit_of(session, posted, body.visit, although_moved=body.although_moved)
        told = results.ResultTold(body.outcome, body.start, body.end, body.why, body.replaces, body.left_min)
        row = results.tell(session, posted, visit, told, noted)
        return JSONResponse(results.record(row), 201)

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.get("/days/{day}")
def all_crews(request: Request, session: Database, _: Staff, now: Now, day: datetime.date, part: All) -> Response:
    """Show how far all crews are on a day: what left without its kit and why, and what could not be finished."""
    crews = crews_on(session, day, now)
    if wants_json(request):
        return part.bare(crews, lambda crew: crew.crew, lambda crew: crew)
    values = {"day": day, "crews": crews, "today": local_day(session, now), "outcomes": results.WORDS}
    values |= {"before": day - datetime.timedelta(days=1), "after": day + datetime.timedelta(days=1)}
    return page(request, "day/days.html", values)


def _may_write(who: Who, crew_id: str) -> bool:
    return who.role in (Role.manager, Role.office) or (who.crew_id == crew_id and who.role is not Role.reader)
