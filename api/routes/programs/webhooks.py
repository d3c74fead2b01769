"""The manager's page of programs that are told what happens, with the log of what each was told."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.calls.guard import allowing
from api.clock import local_days, local_moments, machine_clock
from api.hooks import hooks
from api.hooks.changes import KINDS
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.routes.lists import All, ListPart, parts_of
from api.routes.records import Words
from api.tables import Webhook
from scheduler.errors import BadInput

Newest = Annotated[ListPart, parts_of(100)]
router = Subject(tags=("programs",))
Manager = Annotated[Who, allow(Role.manager)]


@router.get("/webhooks")
def webhook_list(request: Request, session: Database, _: Manager, part: All) -> Response:
    """List the programs that are told what happens, with the form for a new one."""
    if wants_json(request):
        return part.bare(hooks.open_hooks(session), lambda row: row.id, _record)
    return _page(request, session)


@router.post("/webhooks")
def make_webhook(
    request: Request,
    session: Database,
    who: Manager,
    name: Annotated[Words, Form(max_length=80)] = "",
    address: Annotated[Words, Form(max_length=600)] = "",
    events: Annotated[list[Words], Form(max_length=len(KINDS))] = [],  # noqa: B006
) -> Response:
    """Have a program told of `events` from now on; the secret that signs what it is told is shown once."""
    try:
        allowed = allowing(request.app.state.settings.inner_calls)
        row = hooks.make(session, name, address, events, by=who.name, now=machine_clock(), allowed=allowed)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, {"name": name, "address": address, "events": events}, fault)
    if wants_json(request):
        answer: Response = JSONResponse({**_record(row), "secret": row.secret}, 201)
    else:
        answer = page(request, "hooks/made.html", {"row": row}, status=201)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.get("/webhooks/{webhook_id}")
def webhook_log(
    request: Request, session: Database, _: Manager, webhook_id: int, part: Annotated[ListPart, parts_of(100)]
) -> Response:
    """Show what a program was told lately and what it still is owed, the newest first: `limit` calls at a time."""
    row = _found(session, webhook_id)
    most = part.most
    calls = hooks.calls_of(session, row, most=most + 1, before=part.number)
    calls, following = calls[:most], calls[most - 1].id if len(calls) > most else None
    if wants_json(request):
        told = [call.model_dump(mode="json") for call in calls]
        return part.answer({**_record(row), "calls": told, "next": following}, following)
    values = {"row": row, "calls": calls, "kinds": KINDS}
    values |= {"moment": local_moments(session), "date_of": local_days(session)}
    return page(request, "hooks/log.html", values)


@router.post("/webhooks/{webhook_id}/try", status_code=202)
def try_webhook(request: Request, session: Database, _: Manager, webhook_id: int) -> Response:
    """Have a program told a trial message at once."""
    row, now = _found(session, webhook_id), machine_clock()
    if row.ended_at is not None:
        raise Problem(409, f"{row.name} is told nothing more: make a new webhook.", kind="not-now")
    call = hooks.owe(session, row, "trial", {"type": "trial", "timestamp": now.isoformat(), "data": {}}, now)
    if wants_json(request):
        return JSONResponse(call.model_dump(mode="json"), 202)
    return RedirectResponse(f"/webhooks/{webhook_id}", 303)


@router.post("/webhooks/{webhook_id}/end")
def end_webhook(request: Request, session: Database, who: Manager, webhook_id: int) -> Response:
    """Tell a program nothing more."""
    row = _found(session, webhook_id)
    hooks.end(session, row, by=who.name, now=machine_clock())
    return JSONResponse(_record(row)) if wants_json(request) else RedirectResponse("/webhooks", 303)


def _found(session: Session, webhook_id: int) -> Webhook:
    if not 0 < webhook_id < 2**31:
        raise Problem(404, f'No webhook has the id "{webhook_id}".')
    return found(session, Webhook, webhook_id, "webhook")


def _page(
    request: Request, session: Session, form: dict[str, Any] | None = None, fault: BadInput | None = None
) -> Response:
    rows = hooks.open_hooks(session)
    values: dict[str, Any] = {
        "hooks": [(row, next(iter(hooks.calls_of(session, row, most=1)), None)) for row in rows],
        "kinds": KINDS,
        "date_of": local_days(session),
        "fault": fault,
        "form": form or {"name": "", "address": "https://", "events": list(KINDS)},
    }
    return page(request, "hooks/webhooks.html", values, status=422 if fault else 200)


def _record(row: Webhook) -> dict[str, Any]:
    return row.model_dump(mode="json", exclude={"secret", "at_cursor"})
