"""The page of one customer: who they are, where their awnings hang; for managers also giving all out, and erasing."""

from __future__ import annotations

import os
import tempfile
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response
from sqlmodel import Session
from starlette.background import BackgroundTask

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now, local_moments
from api.customers import erasing, gathered, packed
from api.database import transaction
from api.http.pages import Database, page, wants_json
from api.http.problems import responses
from api.http.subject import Subject
from api.messages.by_text.received import stopped_at
from api.routes.records import Words
from api.settings import Settings
from api.tables import Customer
from scheduler.errors import BadInput

router = Subject(prefix="/customers", tags=("customers",))
Manager = Annotated[Who, allow(Role.manager)]
GraveManager = Annotated[Who, allow(Role.manager, grave=True)]
_FILE = {"schema": {"type": "string", "format": "binary"}}
_ZIP: dict[int | str, dict[str, Any]] = {
    200: {"description": "a ZIP file", "content": {"application/zip": _FILE}},
}


def show(request: Request, session: Session, customer: Customer, fault: str = "") -> Response:
    """Return the page of a customer."""
    who: Who = request.state.who
    values = {
        "customer": customer,
        "sites": gathered.sites_of(session, customer.id),
        "visits": gathered.visits_of(session, customer.id),
        "erased": gathered.erased(session, customer.id),
        "cannot": erasing.may_be_erased(session, customer.id) if who.role is Role.manager else "",
        "manager": who.role is Role.manager,
        "office": who.role in (Role.manager, Role.office),
        "no_texts": stopped_at(session, customer.phone),
        "moment": local_moments(session),
        "fault": fault,
        "in_backups": _in_backups(request.app.state.settings),
    }
    return page(request, "jobs/customer.html", values, status=422 if fault else 200)


def _in_backups(settings: Settings) -> str:
    """Say how long what is erased is still in backups."""
    others = "copies that somebody has put elsewhere, and those made before an upgrade, until they are deleted there"
    if settings.backups is None:
        return f"Backups hold it all: {others}. This service makes none by itself."
    days, least = settings.backup_days, "the newest three stay until others are made"
    return f"Backups made before hold it all for {days} days and are then deleted ({least}); {others}."


@router.get("/{customer_id}/kept.zip", responses=_ZIP, response_class=Response)
def kept(request: Request, now: Now, who: Manager, customer_id: str) -> Response:
    """Give all that is kept on a customer: a table for each kind of row, pictures and drawings."""
    made, name = tempfile.mkstemp(prefix="eave-customer-", suffix=".zip")
    state = request.app.state
    try:
        with transaction(state.database) as session:
            found(session, Customer, customer_id, "customer")
        with os.fdopen(made, "wb") as out:
            packed.pack(state.database, state.settings.data, customer_id, out, by=who.name, now=now)
    except BaseException:
        os.unlink(name)
        raise
    after = BackgroundTask(os.unlink, name)
    headers = {"Cache-Control": "no-store"}
    return FileResponse(name, 200, headers, "application/zip", background=after, filename=f"customer-{customer_id}.zip")


@router.post("/{customer_id}/erase", responses=responses(409))
def erase(
    request: Request,
    session: Database,
    now: Now,
    who: GraveManager,
    customer_id: str,
    sure: Annotated[Words, Form(max_length=80, description="the customer's id once more")] = "",
) -> Response:
    """Erase a customer for good: who they are goes from the rows, the history and the pictures."""
    customer, state = found(session, Customer, customer_id, "customer"), request.app.state
    if sure.strip() != customer.id:
        fault = BadInput("sure", f'must be "{customer.id}", the number of the customer who is erased')
        if wants_json(request):
            raise fault
        return show(request, session, customer, f"To erase for good, write {customer.id}.")
    session.rollback()  # erasing writes in a transaction of its own
    done = erasing.erase(state.database, state.settings.data, customer_id, by=who.name, now=now)
    if wants_json(request):
        return JSONResponse(
            {"lines": done.lines, "photos": done.photos, "papers": done.papers, "still_named_in": list(done.left)}
        )
    return RedirectResponse(f"/customers/{customer_id}", 303)
