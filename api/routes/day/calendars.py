"""Calendar feeds and their private addresses: asked for, read without signing in, listed with last use, revoked."""

from __future__ import annotations

import datetime
import hashlib
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, everyone, found
from api.access.issued import note_used
from api.feeds.addresses import (
    Feed,
    address_for,
    address_of,
    addresses_in_use,
    revoke_address,
    token_for,
)
from api.feeds.calendar import crew_calendar, visit_calendar
from api.http.pages import Database, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.routes.lists import All
from api.routes.records import Words
from api.tables import CalendarAddress, Crew, Visit

router = Subject(tags=("calendars",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Staff = Annotated[Who, allow(*STAFF)]
_EXAMPLE = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Eaveboard//Visits//EN\r\nBEGIN:VEVENT\r\n"
    "UID:J-1042.north-1@crew.eaveboard\r\nDTSTAMP:20270408T200000Z\r\nSEQUENCE:0\r\n"
    "DTSTART;TZID=America/Chicago:20270412T091500\r\nDTEND;TZID=America/Chicago:20270412T132700\r\n"
    "STATUS:CONFIRMED\r\nSUMMARY:J-1042 12 ft install\\, Tallow Bend\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)
_ADDRESS = {"address": "https://example.org/calendars/eyJ…/visits.ics"}


def _gives(kind: str, example: Any) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {kind: {"example": example}}}}


@router.get("/crews/{crew_id}/calendar", responses=_gives("application/json", _ADDRESS))
def crew_feed(request: Request, session: Database, who: Staff, crew_id: str) -> Response:
    """Give the caller's own private address of a crew's calendar feed; a crew lead has that of the own crew only.

    It ends with the caller's account or token, after 400 days, or when it is revoked; then another one is given.
    """
    found(session, Crew, crew_id, "crew")
    if who.role is Role.lead and who.crew_id != crew_id:
        raise Problem(403, f"This is for the lead of {crew_id} and the office.")
    return _given(request, session, who, "crew", crew_id)


@router.get("/jobs/{visit_id}/calendar", responses=_gives("application/json", _ADDRESS))
def visit_feed(request: Request, session: Database, who: Office, visit_id: str) -> Response:
    """Give a private address of a visit's calendar feed, for its customer; it ends after 400 days, or when revoked."""
    found(session, Visit, visit_id, "job")
    return _given(request, session, who, "visit", visit_id)


@router.get("/calendars/{token}/visits.ics", responses=_gives("text/calendar", _EXAMPLE))
def calendar(request: Request, session: Database, _: Annotated[Who, everyone()], token: str) -> Response:
    """Give a calendar feed (RFC 5545); whoever has the address may read it, since calendars cannot sign in."""
    address = address_of(session, request.app.state.secret, token, _now())
    if address is None:
        raise Problem(404, "This calendar's address is not good, or no longer.")
    note_used(request.app.state.database, address, _now())
    if address.feed == "crew":
        data = crew_calendar(session, found(session, Crew, address.of_id, "crew").id)
    else:
        data = visit_calendar(session, found(session, Visit, address.of_id, "job").id)
    tag = f'"{hashlib.sha256(data).hexdigest()[:32]}"'
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={"ETag": tag})
    return Response(data, media_type="text/calendar", headers={"ETag": tag})


@router.get("/calendars")
def address_list(session: Database, _: Office, part: All) -> Response:
    """List the calendars' addresses that have not ended, without what opens them: whose, of what, used when."""
    return part.bare(addresses_in_use(session, _now()), lambda row: row.id, lambda row: row.model_dump(mode="json"))


@router.post("/calendars")
def make(session: Database, who: Office, crew_id: Annotated[Words, Form(max_length=80)] = "") -> Response:
    """Make the caller's own address of a crew's calendar, and lead back to the page that shows it."""
    found(session, Crew, crew_id, "crew")
    address_for(session, who, "crew", crew_id, _now())
    return RedirectResponse("/exchange#calendars", 303)


@router.post("/calendars/{address_id}/revoke")
def revoke(request: Request, session: Database, who: Office, address_id: int) -> Response:
    """End one address at once."""
    if not 0 < address_id < 2**31:
        raise Problem(404, f'No calendar address has the id "{address_id}".')
    row = found(session, CalendarAddress, address_id, "calendar address")
    revoke_address(session, row, by=who.name, now=_now())
    return (
        JSONResponse(row.model_dump(mode="json"))
        if wants_json(request)
        else RedirectResponse("/exchange#calendars", 303)
    )


def _given(request: Request, session: Session, who: Who, feed: Feed, of: str) -> JSONResponse:
    row = address_for(session, who, feed, of, _now())
    base = request.app.state.settings.base
    answer = JSONResponse({"address": f"{base}/calendars/{token_for(request.app.state.secret, row)}/visits.ics"})
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
