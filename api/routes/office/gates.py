"""Gates: what is open before visits can go, by what it holds up, and closed with one press."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import Form, Path, Query, Request
from fastapi.responses import RedirectResponse, Response

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.http.pages import Database, page
from api.http.subject import Subject
from api.office import keeping
from api.office.gates import begin_gates, open_gates
from api.office.kinds import KINDS
from api.routes.records import Words

router = Subject(prefix="/gates", tags=("gates",))
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("")
def gates(
    request: Request, session: Database, now: Now, _: Office, job: Annotated[Words, Query(max_length=80)] = ""
) -> Response:
    """Show the open gates, those of promised visits first; `job`: those of one job."""
    business = session.get(tables.Business, 1)
    today = now.astimezone(ZoneInfo(business.timezone if business else "UTC")).date()
    if job:
        found(session, tables.Visit, job, "job")
    return page(request, "office/gates.html", {"gates": open_gates(session, today, job or None), "job": job})


@router.post("/{gate_id}/closed")
def close(
    session: Database, now: Now, who: Office, gate_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
    paper: Annotated[str, Form(max_length=200)] = "", job: Annotated[str, Form(max_length=80)] = "",
) -> Response:  # fmt: skip
    """Close a gate: its visit is free for the next plan, as far as no other gate holds it."""
    kind = KINDS["gates"]
    found(session, tables.Gate, gate_id, "gate")
    old = keeping.record_of(session, kind, [str(gate_id)])
    assert old is not None
    texts = {"state": "closed"} | ({"paper": paper} if paper else {})
    keeping.keep(session, kind, old, keeping.read(session, kind, texts, old), by=who.name, now=now)
    return RedirectResponse(f"/gates?job={quote(job, safe='')}" if job else "/gates", 303)


@router.post("/usual")
def usual(session: Database, now: Now, who: Office, job: Annotated[str, Form(max_length=80)]) -> Response:
    """Give a job the gates that its kind usually has."""
    begin_gates(session, found(session, tables.Visit, job, "job"), by=who.name, now=now)
    return RedirectResponse(f"/gates?job={quote(job, safe='')}", 303)
