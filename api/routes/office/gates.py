"""Gates: what is open before visits can go, by what it holds up, closed with one press, and their papers as files."""

from __future__ import annotations

import datetime
from typing import Annotated, Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import File, Form, Path, Query, Request, UploadFile
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, found, own_job
from api.clock import Now
from api.http.headers import disposition
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.kept_files import MEDIA_TYPES, MOST_BYTES, path_of
from api.office import keeping, papers
from api.office.gates import begin_gates, open_gates
from api.office.kinds import KINDS
from api.routes.records import Words

router = Subject(tags=("gates",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Staff = Annotated[Who, allow(*STAFF)]
Key = Annotated[int, Path(ge=1, le=2**31 - 1)]
Job = Annotated[str, Form(max_length=80, description="the job whose gates are shown again; empty: all")]
_FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "the paper",
        "content": {
            kind: {"schema": {"type": "string", "format": "binary"}} for kind in (papers.PDF, *MEDIA_TYPES.values())
        },
    }
}


@router.get("/gates")
def gates(
    request: Request, session: Database, now: Now, _: Office, job: Annotated[Words, Query(max_length=80)] = ""
) -> Response:
    """Show the open gates, those of promised visits first; `job`: those of one job, and its closed ones below."""
    business = session.get(tables.Business, 1)
    today = now.astimezone(ZoneInfo(business.timezone if business else "UTC")).date()
    closed: list[tables.Gate] = []
    if job:
        found(session, tables.Visit, job, "job")
        gate = tables.Gate
        wanted = select(gate).where(gate.visit_id == job, gate.state == "closed").order_by(col(gate.id))
        closed = list(session.exec(wanted))
    shown = open_gates(session, today, job or None)
    kept = papers.papers_of(session, [*(one.gate for one in shown), *closed])
    return page(request, "office/gates.html", {"gates": shown, "closed": closed, "job": job, "papers": kept})


@router.post("/gates/{gate_id}/closed", responses=responses(409, 413, 415))
def close(
    request: Request, session: Database, now: Now, who: Office, gate_id: Key,
    paper: Annotated[str, Form(max_length=200)] = "", job: Job = "",
    file: Annotated[UploadFile | None, File(description="its paper: PDF, JPEG, PNG or WebP, at most 12 MB")] = None,
) -> Response:  # fmt: skip
    """Close a gate, with its paper where there is one: its visit is free for the next plan, where no other holds it."""
    kind = KINDS["gates"]
    gate = found(session, tables.Gate, gate_id, "gate")
    _keep(request, session, gate, file, who, now)
    old = keeping.record_of(session, kind, [str(gate_id)])
    assert old is not None
    texts = {"state": "closed"} | ({"paper": paper} if paper else {})
    keeping.keep(session, kind, old, keeping.read(session, kind, texts, old), by=who.name, now=now)
    return _shown(job)


@router.post("/gates/usual")
def usual(session: Database, now: Now, who: Office, job: Annotated[str, Form(max_length=80)]) -> Response:
    """Give a job the gates that its kind usually has."""
    begin_gates(session, found(session, tables.Visit, job, "job"), by=who.name, now=now)
    return _shown(job)


@router.post("/gates/{gate_id}/papers", status_code=201, responses=responses(409, 413, 415))
def add_paper(
    request: Request, session: Database, now: Now, who: Office, gate_id: Key,
    file: Annotated[UploadFile, File(description="a PDF file, or a JPEG, PNG or WebP picture, of at most 12 MB")],
    job: Job = "",
) -> Response:  # fmt: skip
    """Keep a paper of a gate as a file; of a picture, where it was taken and all else that a camera adds is dropped."""
    gate = found(session, tables.Gate, gate_id, "gate")
    row, new = papers.keep(
        session, request.app.state.settings.data, gate, file.filename or "", file.file.read(MOST_BYTES + 1),
        by=who.name, now=now,
    )  # fmt: skip
    if wants_json(request):
        return JSONResponse(_record(row), 201 if new else 200, {"Location": f"/gate-papers/{row.id}"})
    return _shown(job)


@router.get("/gate-papers/{paper_id}", responses=_FILE, response_class=Response)
def paper(request: Request, session: Database, who: Staff, paper_id: Key) -> Response:
    """Give a paper of a gate to whoever may see its job."""
    row = found(session, tables.GatePaper, paper_id, "paper")
    own_job(session, who, session.get_one(tables.Gate, row.gate_id).visit_id)
    path = path_of(request.app.state.settings.data, "papers", row.sha256)
    if not path.exists():
        raise Problem(404, f"The file of paper {row.id} is missing from the data folder: restore it from a backup.")
    headers = {"Content-Disposition": disposition("inline", row.name), "Cache-Control": "private, no-cache"}
    return FileResponse(path, media_type=row.media_type, headers=headers)


@router.post("/gate-papers/{paper_id}/taken-away")
def take_away(request: Request, session: Database, now: Now, who: Office, paper_id: Key, job: Job = "") -> Response:
    """Take a paper away from its gate; for thirty days it can be put back."""
    row = found(session, tables.GatePaper, paper_id, "paper")
    papers.take_away(session, row, by=who.name, now=now)
    return JSONResponse(_record(row)) if wants_json(request) else _shown(job)


@router.post("/gate-papers/{paper_id}/put-back")
def put_back(request: Request, session: Database, now: Now, who: Office, paper_id: Key, job: Job = "") -> Response:
    """Put a paper back that was taken away."""
    row = found(session, tables.GatePaper, paper_id, "paper")
    papers.put_back(session, row, by=who.name, now=now)
    return JSONResponse(_record(row)) if wants_json(request) else _shown(job)


def _keep(
    request: Request, session: Session, gate: tables.Gate, file: UploadFile | None, who: Who, now: datetime.datetime
) -> None:
    """Keep the file that a form may have brought."""
    if file is not None and file.filename:
        data = file.file.read(MOST_BYTES + 1)
        papers.keep(session, request.app.state.settings.data, gate, file.filename, data, by=who.name, now=now)


def _record(row: tables.GatePaper) -> dict[str, Any]:
    return {**row.model_dump(mode="json", exclude={"sha256"}), "address": f"/gate-papers/{row.id}"}


def _shown(job: str) -> RedirectResponse:
    return RedirectResponse(f"/gates?job={quote(job, safe='')}" if job else "/gates", 303)
