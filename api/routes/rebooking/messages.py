"""Messages to customers: looked over, edited, sent by e-mail once, or told by telephone."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.database import transaction
from api.falls.now import each_falling
from api.fields.limits import limit
from api.fields.shown import day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.versions import IfMatch, etag
from api.ledger.told import HOLDS
from api.messages import telling
from api.rebooking.cases import named
from api.routes.records import Words
from api.settings import Settings
from scheduler.errors import BadInput

router = APIRouter(tags=["messages"])
Office = Annotated[Who, allow(Role.manager, Role.office)]
Version = Annotated[int, Form(ge=0)]
STATES = {
    "draft": "○ still to tell", "failed": "▲ not sent", "sending": "… being sent", "told": "✓ told",
    "dropped": "dropped",
}  # fmt: skip


@router.get("/messages")
def message_list(request: Request, session: Database, _: Office, now: Now) -> Response:
    """List what is still to be told, and what was told last.

    `falls` says why a visit cannot go at the time that the message tells of; empty where it can.
    """
    wanted = select(tables.Message).where(col(tables.Message.state).in_(telling.OPEN))
    falls = {one.visit_id: one.words for one in each_falling(session, request.app.state.searches.days, now)}
    rows = session.exec(wanted.order_by(col(tables.Message.id))).all()
    still = [_line(session, m) | {"falls": _falls(m, falls)} for m in rows]
    told = select(tables.Message).where(tables.Message.state == "told").order_by(col(tables.Message.told_at).desc())
    last = [_line(session, m) for m in session.exec(told.limit(20)).all()]
    if wants_json(request):
        return JSONResponse({"open": still, "told": last})
    return page(request, "messages.html", {"still": still, "told": last, "states": STATES, "mail": _mail(request),
                                                   "on": _on_day})  # fmt: skip


@router.get("/messages/{message_id}")
def message(request: Request, session: Database, _: Office, message_id: int) -> Response:
    """Show a message, with the form to change it while it is a draft."""
    return _shown(request, session, _found(session, message_id))


@router.get("/messages/{message_id}/visit.ics")
def calendar(request: Request, session: Database, _: Office, message_id: int) -> Response:
    """Give the calendar file that goes with a message."""
    row = _found(session, message_id)
    text = row.calendar or telling.invitation(session, row, _settings(request).mail_from)[0]
    if not text:
        raise Problem(404, "This visit has never had a time, so that there is no calendar file.")
    headers = {"Content-Disposition": 'attachment; filename="visit.ics"'}
    return Response(text.encode(), media_type="text/calendar; charset=utf-8", headers=headers)


@router.post("/messages/{message_id}", responses=responses(409, 412, 428))
def change(
    request: Request, session: Database, now: Now, who: Office, message_id: int,
    subject: Annotated[str, Form(max_length=200)], body: Annotated[str, Form(max_length=8000)],
    to_email: Annotated[str, Form(max_length=200)] = "", to_name: Annotated[str, Form(max_length=200)] = "",
    hold: Annotated[Literal["firm", "day", "soft", ""], Form()] = "", version: Version = 0, if_match: IfMatch = None,
    then: Annotated[Literal["keep", "send", "told"], Form()] = "keep",
) -> Response:  # fmt: skip
    """Keep the message as it was changed; `then` says whether to send it, or mark it as told, in the same step."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    values: dict[str, Any] = {"subject": " ".join(subject.split()), "body": body.replace("\r\n", "\n"),
                              "to_email": to_email.strip(), "to_name": to_name.strip() or row.to_name}  # fmt: skip
    if hold and row.spot is not None:
        values["spot"] = {**row.spot, "hold": hold}
    fault = _fault(values)
    if fault is not None:
        if wants_json(request):
            raise fault
        return _shown(request, session, row, values, fault)
    with transaction(request.app.state.database) as inner:  # kept before it is sent
        mine = inner.get_one(tables.Message, row.id)
        if mine.version != row.version:
            raise Problem(412, "Somebody else was quicker: look at it again.", kind="changed-meanwhile")
        if any(getattr(mine, name) != value for name, value in values.items()):
            telling.edit(inner, mine, values, now=now, by=who.name)
        if then == "told":
            telling.told_by_telephone(inner, mine, now=now, by=who.name)
    session.refresh(row)
    if then == "send":
        _send(request, row, now, who)
    return _back(request, session, row)


@router.post("/messages/{message_id}/send", responses=responses(409, 412, 422, 428))
def send(
    request: Request, session: Database, now: Now, who: Office, message_id: int, version: Version = 0,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Send the message by e-mail, once; a failure is kept with it in words, and it can be sent again."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    _send(request, row, now, who)
    return _back(request, session, row)


@router.post("/messages/{message_id}/told", responses=responses(409, 412, 428))
def told(
    request: Request, session: Database, now: Now, who: Office, message_id: int, version: Version = 0,
    if_match: IfMatch = None, words: Annotated[Words, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """Mark the message as told by telephone, by the caller."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    telling.told_by_telephone(session, row, now=now, by=who.name, words=words)
    return _back(request, session, row)


@router.post("/messages/{message_id}/drop", responses=responses(409, 412, 428))
def drop(
    request: Request, session: Database, now: Now, who: Office, message_id: int, version: Version = 0,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Drop a draft, or give up one whose sending was cut off."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    if row.state == "sending":
        telling.give_up_sending(session, row, now=now, by=who.name)
    else:
        telling.drop(session, row, now=now, by=who.name)
    return _back(request, session, row)


def _falls(message: tables.Message, falls: dict[str, str]) -> str:
    """Return why the visit cannot go as the message says, empty where it can or the message says that it is off."""
    return "" if message.spot is None else falls.get(message.visit_id, "")


def _send(request: Request, row: tables.Message, now: datetime.datetime, who: Who) -> None:
    assert row.id is not None
    database = request.app.state.database
    telling.send_by_mail(database, _settings(request), row.id, row.version, now=now, by=who.name)


def _on_day(date: str) -> str:
    return day_name(datetime.date.fromisoformat(date))


def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


def _mail(request: Request) -> bool:
    return _settings(request).smtp is not None


def _found(session: Session, message_id: int) -> tables.Message:
    if not 0 < message_id < 2**31:
        raise Problem(404, f'No message has the id "{message_id}".')
    return found(session, tables.Message, message_id, "message")


def _require(row: tables.Message, version: int, if_match: str | None) -> None:
    if if_match is None and not version:
        raise Problem(428, f"Send If-Match, now {etag(row.version)}, or the field version.", kind="no-version")
    matches = if_match.strip() in ("*", etag(row.version)) if if_match is not None else version == row.version
    if not matches:
        detail = "Somebody else has changed or sent this message meanwhile: look at it again."
        raise Problem(412, detail, kind="changed-meanwhile", headers={"ETag": etag(row.version)})


def _fault(values: dict[str, Any]) -> BadInput | None:
    for name in ("subject", "body", "to_email", "to_name"):
        try:
            limit(f"message.{name}").check(values[name].strip())
        except BadInput as fault:
            return BadInput(name, fault.problem)
    return None


def _shown(
    request: Request, session: Session, row: tables.Message, form: dict[str, Any] | None = None,
    fault: BadInput | None = None,
) -> Response:  # fmt: skip
    if wants_json(request):
        return JSONResponse(_line(session, row), headers={"ETag": etag(row.version)})
    values = {"message": _line(session, row) | (form or {}), "states": STATES, "mail": _mail(request), "fault": fault,
              "on": _on_day, "holds": HOLDS,
              "so": row.state not in ("draft", "failed") or telling.still_so(session, row)}  # fmt: skip
    return page(request, "message.html", values, status=422 if fault else 200)


def _back(request: Request, session: Session, row: tables.Message) -> Response:
    session.refresh(row)
    if wants_json(request):
        return JSONResponse(_line(session, row), headers={"ETag": etag(row.version)})
    return RedirectResponse("/messages" if row.state in ("told", "dropped") else f"/messages/{row.id}", 303)


def _line(session: Session, row: tables.Message) -> dict[str, Any]:
    name = named(session, row.visit_id)
    shown = row.model_dump(mode="json", exclude={"calendar"})
    return shown | {"what": name.what, "customer": name.customer, "phone": name.phone, "town": name.town}
