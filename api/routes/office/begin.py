"""The first days: what is there, what comes next, and the two quick ways to a business."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from typing import Annotated, Any

import msgspec
from fastapi import File, Header, Request, UploadFile
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow
from api.business import begin
from api.clock import Now, machine_clock
from api.exchange.business_loads import BusinessLoad
from api.exchange.imports import CellTold
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject

router = Subject(prefix="/begin", tags=("first days",))
Staff = Annotated[Who, allow(*STAFF)]
Manager = Annotated[Who, allow(Role.manager)]
Prefer = Annotated[str, Header(max_length=200, description="respond-async: begin, and say how far it is")]
BEGUN: dict[int | str, dict[str, Any]] = {202: {"description": "begun; Location says how far it is"}, **responses(409)}

# Where a step leads that is not for a role.
_MANAGERS, _OFFICES = (
    ("/settings/business", "/who-may-sign-in"),
    ("/set-up", "/set-up/jobs", "/places", "/exchange", "/bench"),
)
_CLOSED = {
    Role.manager: (),
    Role.office: _MANAGERS,
    Role.lead: _MANAGERS + _OFFICES + ("/jobs",),
    Role.reader: _MANAGERS + _OFFICES,
}


@router.get("")
def guide(request: Request, session: Database, now: Now, who: Staff) -> Response:
    """Show the steps to a posted week, those done ticked."""
    if wants_json(request):
        told = [{"title": s.title, "done": s.done, "there": s.there, "words": s.words} for s in begin.steps(session)]
        return Response(msgspec.json.encode({"steps": told}), media_type="application/json")
    return _page(request, session, now, who)


@router.get("/example.zip", response_class=Response)
def example(_: Staff) -> Response:
    """Give the demo business's files, to be written over with one's own."""
    headers = {"Content-Disposition": 'attachment; filename="business.zip"'}
    return Response(begin.example_zip(), media_type="application/zip", headers=headers)


@router.post("/demo", responses=BEGUN)
def load_demo(request: Request, session: Database, now: Now, who: Manager, prefer: Prefer = "") -> Response:
    """Load the demo business into an empty database; its walls are drawn when its week is planned.

    A page is led to how far it is; a program with `Prefer: respond-async` (RFC 7240) gets 202 and its address.
    """
    return _taken(request, session, now, who, None, "the demo business", prefer)


@router.post("/business", responses=BEGUN)
def take_business(
    request: Request,
    session: Database,
    now: Now,
    who: Manager,
    file: Annotated[UploadFile, File(description="a ZIP file with the files of a business")],
    prefer: Prefer = "",
) -> Response:
    """Take a whole business in, all of its files or none; every bad cell is told with file, row and column.

    Answers as `/begin/demo` does.
    """
    return _taken(request, session, now, who, file.file.read(begin.MOST_BYTES + 1), file.filename or "the file", prefer)


@router.get("/loads/{load_id}")
def load_stands(request: Request, session: Database, now: Now, who: Manager, load_id: str) -> Response:
    """Say how far a business is that is taken in.

    `state`: working, done or failed; then `faults` name what is wrong.
    """
    found = request.app.state.loads.of(load_id, machine_clock())
    if wants_json(request):
        return JSONResponse(_stands(found), headers={"Cache-Control": "no-store"})
    if found.state == "done":
        return RedirectResponse("/begin", 303)
    return _page(request, session, now, who, faults=found.faults, working=found if found.state == "working" else None)


def _must_be_empty(session: Session) -> None:
    if not begin.is_bare(session):
        name = session.get_one(tables.Business, 1).name
        raise Problem(409, f"There is a business already: {name}. Nothing was changed.", kind="taken")


def _taken(
    request: Request, session: Session, now: datetime.datetime, who: Who, data: bytes | None, name: str, prefer: str
) -> Response:
    """Take a business in: behind the page, or for a program that does not ask for that until it is in."""
    _must_be_empty(session)
    loads = request.app.state.loads
    behind = re.search(r"(^|[,\s])respond-async\b", prefer.lower()) is not None
    if wants_json(request) and not behind:
        session.rollback()  # it is written by another connection
        loads.take(data, name, who.name, machine_clock(), now)
        return RedirectResponse("/begin", 303)
    begun = loads.begin(data, name, who.name, machine_clock(), now)
    address = f"/begin/loads/{begun.id}"
    if not wants_json(request):
        return RedirectResponse(address, 303)
    return JSONResponse(_stands(begun), 202, {"Location": address, "Preference-Applied": "respond-async"})


def _stands(found: BusinessLoad) -> dict[str, Any]:
    kept = {"id": found.id, "state": found.state, "done": found.done, "total": found.total}
    return kept | {"faults": [{"where": one.where, "detail": one.problem} for one in found.faults]}


def _page(
    request: Request,
    session: Session,
    now: datetime.datetime,
    who: Who,
    *,
    faults: Sequence[CellTold] = (),
    working: BusinessLoad | None = None,
) -> Response:
    found = begin.steps(session)
    values = {
        "steps": found,
        "next": next((n for n, step in enumerate(found) if not step.done), None),
        "empty": session.get(tables.Business, 1) is None,
        "bare": begin.is_bare(session),
        "manager": who.role is Role.manager,
        "closed": _CLOSED[who.role or Role.reader],
        "faults": faults,
        "working": working,
        "monday": begin.first_monday(session, now),
        "can_plan": found[0].done and found[1].done and found[3].done and not found[7].done,
    }
    return page(request, "exchange/begin.html", values)
