"""The first days: what is there, what comes next, and the two quick ways to a business."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Annotated

import msgspec
import sqlalchemy as sa
from fastapi import APIRouter, File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow
from api.business import begin, demo
from api.business.load import load_business
from api.business.seed import read_business
from api.clock import Now, clock_of
from api.database import transaction
from api.fields.sheets import BadFiles
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from scheduler.errors import BadInput

router = APIRouter(prefix="/begin", tags=["first days"])
Staff = Annotated[Who, allow(*STAFF)]
Manager = Annotated[Who, allow(Role.manager)]

# Where a step leads that is not for a role.
_MANAGERS, _OFFICES = ("/settings/business", "/accounts"), ("/set-up", "/set-up/jobs", "/places", "/exchange", "/bench")
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


@router.post("/demo")
def load_demo(request: Request, session: Database, now: Now, who: Manager) -> Response:
    """Load the demo business into an empty database; its walls are drawn when its week is planned."""
    _must_be_empty(session)
    _load(request, demo.FILES, now)
    return RedirectResponse("/begin", 303)


@router.post("/business")
def take_business(
    request: Request,
    session: Database,
    now: Now,
    who: Manager,
    file: Annotated[UploadFile, File(description="a ZIP file with the files of a business")],
) -> Response:
    """Take a whole business in, all of its files or none; every bad cell is told with file, row and column."""
    _must_be_empty(session)
    name = file.filename or "the file"
    try:
        with begin.unpacked(file.file.read(begin.MOST_BYTES + 1), name) as folder:
            _load(request, folder, now)
    except BadFiles as fault:
        if wants_json(request):
            raise
        return _page(request, session, now, who, faults=fault.faults, status=422)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, now, who, faults=(fault,), status=422)
    return RedirectResponse("/begin", 303)


def _must_be_empty(session: Session) -> None:
    if not begin.is_bare(session):
        name = session.get_one(tables.Business, 1).name
        raise Problem(409, f"There is a business already: {name}. Nothing was changed.", kind="taken")


def _load(request: Request, folder: Path, now: datetime.datetime) -> None:
    state, business = request.app.state, read_business(folder)
    with transaction(state.database) as session:  # a bare name gives way to the whole
        session.execute(sa.delete(tables.Business))
    load_business(state.database, business, demo.files_fingerprint(folder), now)
    state.clock = clock_of(state.settings.clock, state.database)  # a clock set to the forecast has one to go by now


def _page(
    request: Request,
    session: Session,
    now: datetime.datetime,
    who: Who,
    *,
    faults: tuple[BadInput, ...] = (),
    status: int = 200,
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
        "monday": begin.first_monday(session, now),
        "can_plan": found[0].done and found[1].done and found[3].done and not found[7].done,
    }
    return page(request, "exchange/begin.html", values, status=status)
