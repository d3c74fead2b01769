"""Texts that customers send: taken from the gateway by its own address, and read by the office."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from api.access.accounts import Role
from api.access.guards import Who, allow, everyone, found
from api.clock import Now, machine_clock
from api.http.pages import Database, forget_answers, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.messages.by_text.gateway import gateway_of
from api.messages.by_text.received import read_text, seen, take
from api.tables import TextReceived

router = Subject(tags=("messages",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
_BODY: dict[str, Any] = {
    "requestBody": {
        "description": "the fields are called as the page Text messages says",
        "required": True,
        "content": {
            kind: {"schema": {"type": "object"}} for kind in ("application/json", "application/x-www-form-urlencoded")
        },
    }
}


async def _said(request: Request) -> object:
    """Return what a call says, as JSON or a form; None for what is neither. Whose it is, the route asks first."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    try:
        if kind in ("application/x-www-form-urlencoded", "multipart/form-data"):
            return {name: value for name, value in (await request.form()).multi_items() if isinstance(value, str)}
        return json.loads(await request.body())
    except (ValueError, RecursionError, HTTPException):
        return None


@router.post("/texts/{token}", status_code=204, responses=responses(422, 429, 503), openapi_extra=_BODY)
def take_text(
    request: Request, session: Database, _: Annotated[Who, everyone(by_key=True)], now: Now, token: str,
    said: Annotated[object, Depends(_said)],
) -> Response:  # fmt: skip
    """Take a text that a customer sent, from the gateway that has this address; whose number it is, no answer tells."""
    row = gateway_of(session, request.app.state.secret, token, machine_clock())
    if row is None:
        raise Problem(404, "This address for texts is not good, or no longer.")
    take(session, row, *read_text(row, said), now=now)
    forget_answers(request.app.state)
    return Response(status_code=204)


@router.post("/messages/texts/{text_id}/seen")
def see_text(request: Request, session: Database, now: Now, who: Office, text_id: int) -> Response:
    """Note that a text has been read: it no longer stands at the top of the messages."""
    if not 0 < text_id < 2**31:
        raise Problem(404, f'No text has the id "{text_id}".')
    row = found(session, TextReceived, text_id, "text")
    seen(session, row, by=who.name, now=now)
    forget_answers(request.app.state)
    return JSONResponse(row.model_dump(mode="json")) if wants_json(request) else RedirectResponse("/messages", 303)
