"""Messages to customers: looked over, edited, sent once by e-mail or as a text, or told by telephone."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import StringConstraints
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now, local_day, local_moments
from api.database import transaction
from api.falls.now import each_falling
from api.fields.limits import limit
from api.fields.shown import day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, etag
from api.ledger.plans.named import named
from api.ledger.told import HOLDS
from api.messages import sending, telling
from api.messages.by_text.gateway import gateway
from api.messages.by_text.received import Received, stopped_at, unread, unread_of
from api.messages.listed import ToTell, to_tell
from api.messages.reminders import draft_reminders, to_remind
from api.messages.together import MOST, How, tell_together
from api.routes.records import Words
from api.settings import Settings
from scheduler.errors import BadInput

router = Subject(tags=("messages",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Version = Annotated[int, Form(ge=0)]
Mark = Annotated[str, StringConstraints(pattern=r"^[1-9][0-9]{0,8}\.[1-9][0-9]{0,8}$")]
Back = Annotated[Literal["", "list"], Form(description="list: answer with the way back to the list")]
STATES = {
    "draft": "○ still to tell", "failed": "▲ not sent", "sending": "… being sent", "told": "✓ told",
    "dropped": "dropped",
}  # fmt: skip


@router.get("/messages")
def message_list(request: Request, session: Database, _: Office, now: Now) -> Response:
    """List what is still to be told, and what was told last.

    `falls` says why a visit cannot go at the time that the message tells of; empty where it can. `texts` are those
    that customers sent and nobody has read.
    """
    if wants_json(request):
        rows = sorted(_to_tell(request, session, now), key=lambda one: one.message.id or 0)
        shown = [_line(session, one.message) | {"falls": one.falls, "special": one.special} for one in rows]
        return JSONResponse(
            {"open": shown, "told": _told_last(session), "texts": [_text(one) for one in unread(session)]}
        )
    return _list(request, session, now, 200)


@router.get("/messages/look-over")
def look_over(request: Request, session: Database, _: Office, now: Now) -> Response:
    """Show the messages with nothing special in one go, to be sent or noted as told by one button."""
    usual = [one for one in _to_tell(request, session, now) if not one.special]
    return page(request, "messages/look_over.html", {"usual": usual, "on": _on_day} | _ways(request, session))


@router.post("/messages/together")
def together(
    request: Request, session: Database, now: Now, who: Office,
    tell: Annotated[list[Mark], Form(max_length=MOST, description="the messages, each as id.version")],
    how: Annotated[How, Form(description="send: by e-mail; text: as texts; told: by telephone")],
) -> Response:  # fmt: skip
    """Send many messages by e-mail or as texts, or note them as told by telephone; each that cannot be says why."""
    if how == "send" and not _mail(request):
        raise Problem(409, "No mail server is set up (EAVEBOARD_SMTP): tell them by telephone.")
    if how == "text" and gateway(session) is None:
        raise Problem(409, "No text gateway is set up: tell them by telephone.")
    marks = [(int(number), int(version)) for number, version in (mark.split(".") for mark in dict.fromkeys(tell))]
    database = request.app.state.database
    outcome = tell_together(database, _settings(request), marks, how, now=now, by=who.name)
    if wants_json(request):
        left = [{"id": number, "why": why} for number, why in outcome.left.items()]
        return JSONResponse({"told": outcome.told, "left": left})
    session.expire_all()
    return _list(request, session, now, 200, outcome.told, outcome.left)


@router.post("/messages/reminders")
def remind(request: Request, session: Database, now: Now, who: Office) -> Response:
    """Draft a reminder for each customer of the next day on which crews go out; they are then told with the others."""
    made = draft_reminders(session, local_day(session, now), now=now, by=who.name)
    if wants_json(request):
        return JSONResponse({"drafted": made})
    return RedirectResponse("/messages", 303)


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
    to_phone: Annotated[str | None, Form(max_length=200)] = None,
    text: Annotated[str | None, Form(max_length=8000)] = None,
    then: Annotated[Literal["keep", "send", "text", "told", "written"], Form()] = "keep", back: Back = "",
) -> Response:  # fmt: skip
    """Keep the message as it was changed; `then` says whether to send it, or note it as told, in the same step.

    "told": by telephone; "written": by a letter, or from a mail program of one's own.
    """
    row = _found(session, message_id)
    _require(row, version, if_match)
    values: dict[str, Any] = {"subject": " ".join(subject.split()), "body": body.replace("\r\n", "\n"),
                              "to_email": to_email.strip(), "to_name": to_name.strip() or row.to_name}  # fmt: skip
    values |= {} if to_phone is None else {"to_phone": to_phone.strip()}
    values |= {} if text is None else {"text": text.replace("\r\n", "\n").strip()}
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
        if then in ("told", "written"):
            how = "telephone" if then == "told" else "a letter of one's own"
            telling.told_by_hand(inner, mine, now=now, by=who.name, how=how)
    session.refresh(row)
    if then in ("send", "text"):
        _send(request, row, now, who, then)
    return _back(request, session, row, back)


@router.post("/messages/{message_id}/send", responses=responses(409, 412, 422, 428))
def send(
    request: Request, session: Database, now: Now, who: Office, message_id: int, version: Version = 0,
    if_match: IfMatch = None, back: Back = "",
    how: Annotated[Literal["send", "text"], Form(description="send: by e-mail; text: as a text")] = "send",
) -> Response:  # fmt: skip
    """Send the message by e-mail or as a text, once; a failure is kept with it in words, and it can be sent again."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    _send(request, row, now, who, how)
    return _back(request, session, row, back)


@router.post("/messages/{message_id}/told", responses=responses(409, 412, 428))
def told(
    request: Request, session: Database, now: Now, who: Office, message_id: int, version: Version = 0,
    if_match: IfMatch = None, words: Annotated[Words, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """Mark the message as told by telephone, by the caller."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    telling.told_by_hand(session, row, now=now, by=who.name, words=words)
    return _back(request, session, row)


@router.post("/messages/{message_id}/answered", responses=responses(409, 412, 422, 428))
def answered(
    request: Request, session: Database, now: Now, who: Office, message_id: int,
    words: Annotated[Words, Form(max_length=400)] = "", version: Version = 0, if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Keep what the customer answered to a message that was told."""
    row = _found(session, message_id)
    _require(row, version, if_match)
    try:
        telling.answered(session, row, words, now=now, by=who.name)
    except BadInput as fault:
        if wants_json(request):
            raise BadInput("words", fault.problem) from None
        return _shown(request, session, row, {}, BadInput("words", fault.problem))
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
        sending.give_up_sending(session, row, now=now, by=who.name)
    else:
        telling.drop(session, row, now=now, by=who.name)
    return _back(request, session, row)


def _to_tell(request: Request, session: Session, now: datetime.datetime) -> list[ToTell]:
    falls = {one.visit_id: one.words for one in each_falling(session, request.app.state.searches.days, now)}
    return to_tell(session, falls)


def _told_last(session: Session) -> list[dict[str, Any]]:
    told = select(tables.Message).where(tables.Message.state == "told").order_by(col(tables.Message.told_at).desc())
    return [_line(session, message) for message in session.exec(told.limit(20))]


def _text(one: Received) -> dict[str, Any]:
    return one.text.model_dump(mode="json") | {"customer": one.customer, "visit_id": one.about}


def _list(
    request: Request, session: Session, now: datetime.datetime, status: int, done: int | None = None,
    left: Mapping[int, str] | None = None,
) -> Response:  # fmt: skip
    """Return the list as a page; `done` were told just now, `left` were not, each with why."""
    still, newest = _to_tell(request, session, now), col(tables.StoredPlan.id).desc()
    values: dict[str, Any] = {
        "special": [one for one in still if one.special],
        "usual": [one for one in still if not one.special],
        "told": _told_last(session),
        "states": STATES,
        "on": _on_day,
        "holds": HOLDS,
        "done": done,
        "unread": unread(session),
        "live_week": session.exec(select(col(tables.StoredPlan.start_date)).order_by(newest).limit(1)).first(),
        "moment": local_moments(session),
        "left": left or {},
        "remind": to_remind(session, local_day(session, now)),
    } | _ways(request, session)
    return page(request, "messages/messages.html", values, status=status)


def _send(
    request: Request, row: tables.Message, now: datetime.datetime, who: Who, how: Literal["send", "text"]
) -> None:
    assert row.id is not None
    send_it = sending.send_by_text if how == "text" else sending.send_by_mail
    send_it(request.app.state.database, _settings(request), row.id, row.version, now=now, by=who.name)


def _on_day(date: str) -> str:
    return day_name(datetime.date.fromisoformat(date))


def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


def _mail(request: Request) -> bool:
    return _settings(request).smtp is not None


def _ways(request: Request, session: Session) -> dict[str, bool]:
    """Say by what messages can be sent from here, beside the telephone."""
    return {"mail": _mail(request), "texts": gateway(session) is not None}


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
    for name in ("subject", "body", "to_email", "to_name", "to_phone", "text"):
        if not values.get(name) and name in ("to_phone", "text"):
            continue  # a message may go by letter alone
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
    values = {"message": _line(session, row) | (form or {}), "states": STATES, "fault": fault,
              "on": _on_day, "holds": HOLDS,
              "no_texts": stopped_at(session, row.to_phone), "unread": unread_of(session, row.id or 0),
              "moment": local_moments(session),
              "so": row.state not in ("draft", "failed") or telling.still_so(session, row),
              **_ways(request, session)}  # fmt: skip
    return page(request, "messages/message.html", values, status=422 if fault else 200)


def _back(request: Request, session: Session, row: tables.Message, back: str = "") -> Response:
    session.refresh(row)
    if wants_json(request):
        return JSONResponse(_line(session, row), headers={"ETag": etag(row.version)})
    if back == "list":
        return RedirectResponse("/messages" if row.state in ("told", "dropped") else f"/messages#m-{row.id}", 303)
    return RedirectResponse("/messages" if row.state in ("told", "dropped") else f"/messages/{row.id}", 303)


def _line(session: Session, row: tables.Message) -> dict[str, Any]:
    name = named(session, row.visit_id)
    shown = row.model_dump(mode="json", exclude={"calendar"})
    return shown | {"what": name.what, "customer": name.customer, "phone": name.phone, "town": name.town}
