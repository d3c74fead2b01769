"""Tables in and out, a day's route, and what is printed: thin over `api.exchange`."""

from __future__ import annotations

import datetime
import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
from fastapi import File, Form, Header, Query, Request, UploadFile
from fastapi.responses import FileResponse, JSONResponse, Response
from sqlmodel import Session, col, select
from starlette.background import BackgroundTask

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, everyone, found, own_crew_day, own_job
from api.clock import Now, local_day, local_days, local_moments, machine_clock
from api.day.content import day_sheet_pdf
from api.exchange.importing import IMPORTABLE, TABLES, Imported, import_tables
from api.exchange.imports import Import, Sent
from api.exchange.whole import write_whole_file
from api.feeds.addresses import addresses_in_use, token_for
from api.feeds.maps import geojson, gpx, points
from api.fields.files.sheets import BadFiles
from api.http.headers import disposition
from api.http.names import crew_called
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.jobs.packet import packet_pdf
from api.languages import chosen_language, speak
from api.ledger.languages import language_of_crew
from api.ledger.plans.days import by_id, crew_day, crew_week
from api.office.lists.undoing import lists_of
from api.outside import outside
from api.places.filling import filled, questions
from api.routes.lists import All
from api.tables import Crew, Visit
from api.uploads.reading import MOST_BYTES, read_upload

router = Subject(tags=("exchange",))
MOST_SHOWN = 200  # rows of an import on its page
Manager = Annotated[Who, allow(Role.manager)]
Office = Annotated[Who, allow(Role.manager, Role.office)]
Staff = Annotated[Who, allow(*STAFF)]
OnTheDay = Annotated[Who, allow(*STAFF, crew_link=True)]
Anyone = Annotated[Who, everyone()]

_IMPORT_EXAMPLE = {
    "kept": False,
    "fingerprint": "5f1c0d2e",
    "questions": [],
    "tables": [{"table": "customers", "new": 1, "changed": 1, "unchanged": 58}],
    "changes": [
        {
            "table": "customers",
            "key": "C-001",
            "where": "customers.csv, row 2",
            "kind": "changed",
            "fields": {"phone": ["555-0201", "555-0999"]},
        }
    ],
}
_STANDS_EXAMPLE = {"id": "k3", "state": "working", "done": 120, "total": 3000, "told": None, "faults": []}
_WEEK_EXAMPLE = {
    "crew": "north-1",
    "start_date": "2027-04-12",
    "posted": True,
    "visits": [
        {
            "id": "J-1042",
            "kind": "install",
            "date": "2027-04-12",
            "start": "2027-04-12T09:15:00-05:00",
            "end": "2027-04-12T13:27:00-05:00",
            "customer": "Betony Sallowfield",
            "address": "63 Long Meadow, Tallow Bend",
        }
    ],
}


def _gives(media_type: str, example: Any = None) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of a good answer for the OpenAPI."""
    content: dict[str, Any] = {} if example is not None else {"schema": {"type": "string", "format": "binary"}}
    if example is not None:
        content["example"] = example
    return {200: {"description": "found", "content": {media_type: content}}}


BEGUN: dict[int | str, dict[str, Any]] = {202: {"description": "begun; Location says how far it is"}, **responses(409)}


@router.get("/exchange")
def exchange(request: Request, session: Database, who: Office) -> Response:
    """Show what can be taken out, and the form for a table to be taken in."""
    return _page(request, session, who)


@router.get("/exchange/export.zip", responses=_gives("application/zip"), response_class=Response)
def export(request: Request, now: Now, _: Manager) -> Response:
    """Give the whole business in one ZIP file, which an empty base takes in; what signs people in is left out."""
    made, name = tempfile.mkstemp(prefix="eave-export-", suffix=".zip")
    state = request.app.state
    try:
        os.close(made)
        outside(write_whole_file, state.settings.database, state.settings.data, Path(name), now)
    except BaseException:
        os.unlink(name)
        raise
    after = BackgroundTask(os.unlink, name)
    return FileResponse(name, media_type="application/zip", filename="eaveboard-export.zip", background=after)


@router.post("/exchange/imports", responses=_gives("application/json", _IMPORT_EXAMPLE) | BEGUN)
def take_in(
    request: Request,
    session: Database,
    now: Now,
    who: Office,
    file: Annotated[UploadFile, File(description="a CSV or XLSX file")],
    table: Annotated[str, Form(max_length=40, description=f"empty, or one of {', '.join(IMPORTABLE)}")] = "",
    run: Annotated[Literal["try", "keep"], Form(description="try: only say what it would do")] = "try",
    expected: Annotated[str, Form(max_length=80, description="the fingerprint of the trial run")] = "",
    prefer: Annotated[str, Header(max_length=200, description="respond-async: begin, and say how far it is")] = "",
) -> Response:
    """Take a table in, all or nothing, or say what that would do; the same file again changes nothing.

    With `Prefer: respond-async` (RFC 7240) the answer is 202 at once, and its Location says how far it is.
    """
    data, name = file.file.read(MOST_BYTES + 1), file.filename or "upload"
    if re.search(r"(^|[,\s])respond-async\b", prefer.lower()):
        sent = Sent(data, name, table, run == "keep", expected)
        begun = request.app.state.imports.begin(sent, who.name, machine_clock(), now)
        headers = {"Location": f"/exchange/imports/{begun.id}", "Preference-Applied": "respond-async"}
        return JSONResponse(_stands(begun), 202, headers)
    try:
        uploads = outside(read_upload, data, name, IMPORTABLE, table or None)
        uploads = filled(session, request.app.state.places, uploads)
        asked = questions(session, uploads)
        done = import_tables(session, uploads, keep=run == "keep", now=now, by=who.name, expected=expected or None)
    except BadFiles as fault:
        if wants_json(request):
            raise
        return _page(request, session, who, faults=fault.faults, status=422)
    if wants_json(request):
        return JSONResponse(_told(done) | {"questions": asked})
    return _page(request, session, who, done=done, table=table, questions=asked)


@router.get("/exchange/imports/{import_id}", responses=_gives("application/json", _STANDS_EXAMPLE))
def import_stands(request: Request, session: Database, who: Office, import_id: str) -> Response:
    """Say how far a table is that is taken in, and once it is over what came of it.

    `state`: working, done or failed. Then `told` is what an import answers, or `faults` name what is to be mended.
    """
    found = request.app.state.imports.of(import_id, machine_clock())
    if wants_json(request):
        return JSONResponse(_stands(found), headers={"Cache-Control": "no-store"})
    working = found if found.state == "working" else None
    return _page(
        request, session, who, done=found.imported, faults=found.faults, table=found.table, questions=found.questions,
        working=working,
    )  # fmt: skip


@router.get("/crews/{crew_id}/visits", responses=_gives("application/json", _WEEK_EXAMPLE))
def crew_visits(
    session: Database,
    who: Staff,
    crew_id: str,
    start_date: Annotated[datetime.date, Query(description="a day of the week that is asked for")],
    part: All,
) -> Response:
    """List a crew's visits of one week in order, by the posted plan, else the newest."""
    found(session, Crew, crew_id, "crew")
    _own_crew(session, who, crew_id)
    monday = start_date - datetime.timedelta(days=start_date.weekday())
    posted, stops = crew_week(session, crew_id, monday)
    get, visits = by_id(session), []
    for visit_id, (begin, end) in stops:
        visit, site, customer, _awning = get(visit_id)
        visits.append(
            {
                "id": visit_id,
                "kind": visit.kind,
                "date": begin.date().isoformat(),
                "start": begin.isoformat(),
                "end": end.isoformat(),
                "customer": customer.name,
                "address": f"{site.address}, {site.town}",
            }
        )
    visits, following = part.of(visits, lambda one: f"{one['id']}.{one['date']}")
    body = {"crew": crew_id, "start_date": monday.isoformat(), "posted": posted, "visits": visits, "next": following}
    return part.answer(body, following)


@router.get("/crews/{crew_id}/days/{day}/route.geojson", responses=_gives("application/geo+json"))
def day_geojson(session: Database, who: OnTheDay, crew_id: str, day: datetime.date) -> Response:
    """Give a crew's day as a route in order (RFC 7946)."""
    planned = _day(session, who, crew_id, day)
    return Response(geojson(planned, points(session, planned)), media_type="application/geo+json")


@router.get("/crews/{crew_id}/days/{day}/route.gpx", responses=_gives("application/gpx+xml"))
def day_gpx(session: Database, who: OnTheDay, now: Now, crew_id: str, day: datetime.date) -> Response:
    """Give a crew's day as waypoints and a route in order (GPX 1.1)."""
    planned = _day(session, who, crew_id, day)
    data = gpx(planned, points(session, planned), now)
    return _file(data, "application/gpx+xml", f"{crew_id}-{day}.gpx")


@router.get("/crews/{crew_id}/days/{day}/day-sheet.pdf", responses=_gives("application/pdf"))
def day_sheet(session: Database, who: OnTheDay, now: Now, crew_id: str, day: datetime.date) -> Response:
    """Give a crew's day on paper."""
    _day(session, who, crew_id, day)
    data = day_sheet_pdf(session, crew_id, day, now)
    assert data is not None  # `_day` has found it
    return _file(data, "application/pdf", f"{crew_id}-{day}.pdf", inline=True)


@router.get("/jobs/{visit_id}/packet.pdf", responses=_gives("application/pdf"))
def packet(session: Database, who: OnTheDay, now: Now, visit_id: str) -> Response:
    """Give a job's packet: drawing, drill schedule, findings in full, kit, cautions, checks to sign."""
    own_job(session, who, visit_id)
    found(session, Visit, visit_id, "job")
    if who.crew_id is not None:  # a crew reads it
        speak(chosen_language() or language_of_crew(session, who.crew_id, who.day or local_day(session, now)))
    data = packet_pdf(session, visit_id, now)
    assert data is not None
    return _file(data, "application/pdf", f"{visit_id}.pdf", inline=True)


def _own_crew(session: Session, who: Who, crew_id: str) -> None:
    if who.role is Role.lead and who.crew_id != crew_id:
        raise Problem(403, f"This is for the lead of {crew_called(session, crew_id)} and the office.")


def _day(session: Session, who: Who, crew_id: str, day: datetime.date) -> Any:
    own_crew_day(session, who, crew_id, day)
    found(session, Crew, crew_id, "crew")
    planned = crew_day(session, crew_id, day)
    if planned is None:
        raise Problem(404, f"No plan has been made for the week of {day}.")
    return planned


def _page(
    request: Request,
    session: Session,
    who: Who,
    *,
    done: Imported | None = None,
    faults: Sequence[Any] = (),
    table: str = "",
    questions: Sequence[str] = (),
    status: int = 200,
    working: Import | None = None,
) -> Response:
    secret, base = request.app.state.secret, request.app.state.settings.base
    crews = session.exec(select(Crew).where(col(Crew.active)).order_by(col(Crew.id))).all()
    feeds = addresses_in_use(session, datetime.datetime.now(datetime.UTC))
    mine = {row.id: f"{base}/calendars/{token_for(secret, row)}/visits.ics" for row in feeds if row.who == who.key}
    values = {
        "who": who,
        "feeds": feeds,
        "date_of": local_days(session),
        "mine": mine,
        "crews": crews,
        "importable": IMPORTABLE,
        "done": done,
        "told": _told(done) if done else None,
        "faults": faults,
        "table": table,
        "working": working,
        "questions": questions,
        "most": MOST_SHOWN,
        "lists": lists_of(session, TABLES),
        "moment": local_moments(session),
        "kept": request.query_params.get("kept", "")[:200],
        "may_export": who.role is Role.manager,
    }
    return page(request, "exchange/exchange.html", values, status=status)


def _stands(found: Import) -> dict[str, Any]:
    """Return how far a table is as JSON, and what came of it."""
    faults = msgspec.to_builtins(found.faults)
    told = None if found.imported is None else _told(found.imported) | {"questions": list(found.questions)}
    return {"id": found.id, "state": found.state, "done": found.done, "total": found.total, "told": told,
            "faults": faults}  # fmt: skip


def _told(done: Imported) -> dict[str, Any]:
    """Return an import as JSON; what stays as it is is only counted."""
    kinds: tuple[Literal["new", "changed", "unchanged"], ...] = ("new", "changed", "unchanged")
    return {
        "kept": done.kept,
        "fingerprint": done.fingerprint,
        "tables": [{"table": t, **{kind: done.count(kind, t) for kind in kinds}} for t in done.tables],
        "changes": [asdict(change) for change in done.changes if change.kind != "unchanged"],
    }


def _file(data: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    way = "inline" if inline else "attachment"
    return Response(data, media_type=media_type, headers={"Content-Disposition": disposition(way, name)})
