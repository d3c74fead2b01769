"""The manager's page of the gateway that sends text messages to customers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.calls.guard import allowing
from api.clock import machine_clock
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.messages.by_text.calling import send_text
from api.messages.by_text.gateway import (
    BEGINS,
    FIELDS,
    end,
    end_reply_address,
    gateway,
    keep,
    new_reply_address,
    reply_token,
)
from api.messages.by_text.received import stopped_at
from api.messages.mail import NotSent
from api.routes.records import Words
from api.tables import Business, TextGateway
from scheduler.errors import BadInput

router = Subject(tags=("messages",))
Manager = Annotated[Who, allow(Role.manager)]
LABELS = {
    "address": "its address", "form": "form of a call", "to_field": "field for the number",
    "text_field": "field for the words", "more": "other fields", "header": "header for the key", "secret": "its key",
    "prefix": "country's number", "from_field": "field for the sender's number",
    "words_field": "field for what they say",
}  # fmt: skip


@router.get("/text-gateway")
def text_gateway(request: Request, session: Database, _: Manager) -> Response:
    """Show the gateway that sends text messages, but for its key, with the form to set or change it."""
    row = gateway(session)
    if wants_json(request):
        return JSONResponse({"gateway": None if row is None else _record(request, row)})
    return _page(request, row)


@router.post("/text-gateway")
def set_text_gateway(
    request: Request, session: Database, who: Manager,
    address: Annotated[Words, Form(max_length=600)] = "",
    form: Annotated[Literal["json", "form"], Form(description="how a call says what it says")] = "json",
    to_field: Annotated[Words, Form(max_length=60)] = "to",
    text_field: Annotated[Words, Form(max_length=60)] = "text",
    more: Annotated[str, Form(max_length=1200, description="other fields, a line each: from=+13195550100")] = "",
    header: Annotated[Words, Form(max_length=80, description="the header that carries the key; empty: none")] = "",
    secret: Annotated[str, Form(max_length=600, description="the key; empty: the one that is there stays")] = "",
    prefix: Annotated[Words, Form(max_length=10, description="before numbers that name no country")] = "+1",
    from_field: Annotated[Words, Form(max_length=60, description="of texts that come: who sent it")] = "from",
    words_field: Annotated[Words, Form(max_length=60, description="of texts that come: what it says")] = "text",
    version: Annotated[int, Form(ge=0, description="that of the gateway as it was read; 0: there was none")] = 0,
) -> Response:  # fmt: skip
    """Set or change the gateway that sends text messages."""
    given = {"address": address, "form": form, "to_field": to_field, "text_field": text_field, "more": more,
             "header": header, "secret": secret, "prefix": prefix,
             "from_field": from_field, "words_field": words_field}  # fmt: skip
    allowed = allowing(request.app.state.settings.inner_calls)
    try:
        row = keep(session, given, version, by=who.name, now=machine_clock(), allowed=allowed)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, gateway(session), {**given, "secret": ""}, fault)
    return JSONResponse(_record(request, row)) if wants_json(request) else RedirectResponse("/text-gateway", 303)


@router.post("/text-gateway/replies", responses=responses(412))
def set_reply_address(
    request: Request, session: Database, who: Manager,
    version: Annotated[int, Form(ge=0, description="that of the gateway as it was read")] = 0,
    do: Annotated[Literal["make", "end"], Form(description="end: take no more texts")] = "make",
) -> Response:  # fmt: skip
    """Take customers' texts by a new address from now on, or end it; the one before is good no more."""
    if do == "end":
        end_reply_address(session, version, by=who.name, now=machine_clock())
    else:
        new_reply_address(session, version, by=who.name, now=machine_clock())
    row = gateway(session)
    if wants_json(request):
        return JSONResponse({"gateway": None if row is None else _record(request, row)})
    return RedirectResponse("/text-gateway#replies", 303)


@router.post("/text-gateway/try")
def try_text_gateway(
    request: Request, session: Database, _: Manager,
    number: Annotated[Words, Form(max_length=40, description="whom the trial goes to")],
) -> Response:  # fmt: skip
    """Send a trial message to a number, and say what the gateway answered."""
    row = gateway(session)
    if row is None:
        raise Problem(409, "No text gateway is set up: enter its address first.")
    if stopped_at(session, number) is not None:
        raise Problem(422, "This number wants no texts (it sent STOP).")
    name, fault = session.get_one(Business, 1).name, ""
    session.expunge(row)
    try:
        send_text(row, number, f"{name}: a trial message.", allowing(request.app.state.settings.inner_calls))
    except NotSent as problem:
        fault = problem.words
    if wants_json(request):
        return JSONResponse({"sent": not fault, "fault": fault})
    return _page(request, row, tried={"number": number, "fault": fault})


@router.post("/text-gateway/end")
def end_text_gateway(request: Request, session: Database, who: Manager) -> Response:
    """Send no more text messages, and forget the gateway's key."""
    end(session, by=who.name, now=machine_clock())
    return JSONResponse({"gateway": None}) if wants_json(request) else RedirectResponse("/text-gateway", 303)


def _page(
    request: Request, row: TextGateway | None, form: dict[str, str] | None = None, fault: BadInput | None = None,
    tried: dict[str, str] | None = None,
) -> Response:  # fmt: skip
    begins = BEGINS if row is None else {name: getattr(row, name) for name in FIELDS if name != "secret"}
    values: dict[str, Any] = {
        "row": row,
        "form": form or begins,
        "fault": fault,
        "labels": LABELS,
        "tried": tried,
        "texts": _texts(request, row),
    }
    return page(request, "messages/text_gateway.html", values, status=422 if fault else 200)


def _record(request: Request, row: TextGateway) -> dict[str, Any]:
    return row.model_dump(mode="json", exclude={"secret", "id", "reply_key"}) | {"texts": _texts(request, row)}


def _texts(request: Request, row: TextGateway | None) -> str:
    """Return the address to which the gateway brings texts; empty where none are taken."""
    token = "" if row is None else reply_token(request.app.state.secret, row)
    return f"{request.app.state.settings.base}/texts/{token}" if token else ""
