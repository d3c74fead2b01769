"""Calendars that are fetched for days off, of people and of vans: added, fetched now, stopped."""

from __future__ import annotations

from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import Form, Path, Request
from fastapi.responses import RedirectResponse, Response

from api import tables
from api.access.guards import found
from api.calendars import kept
from api.clock import Now
from api.database import transaction
from api.http.pages import Database
from api.http.subject import Subject
from api.office.files import busy
from api.office.kinds import KINDS
from api.routes.office.kinds import Office, list_page
from scheduler.errors import BadInput

Kinds = Literal["days-off", "van-days"]
router = Subject(prefix="/set-up/{kind_id}/calendars", tags=("set up",))


@router.post("")
def add(
    request: Request, session: Database, now: Now, who: Office, kind_id: Kinds,
    address: Annotated[str, Form(max_length=500, description="https or webcal")],
    whose: Annotated[str, Form(max_length=90, description="a person, crew and its id, or van and its id")] = "",
    by_itself: Annotated[bool, Form(description="take in what is new as it is fetched; else it waits")] = False,
) -> Response:  # fmt: skip
    """Have a calendar fetched from now on, at once for the first time."""
    try:
        with transaction(request.app.state.database) as own:  # over before it is fetched, which takes a while
            if busy.kind_of(whose) != kind_id and whose:
                raise BadInput("whose", "choose whose calendar it is")
            made = kept.make(own, whose, address, by_itself=by_itself, by=who.name, now=now)
    except BadInput as fault:
        words = fault.problem if fault.where == "whose" else f"The calendar’s {fault.where} {fault.problem}"
        return list_page(request, session, KINDS[kind_id], fault=words, status=422)
    request.app.state.calendars.fetch(made)
    return _back(kind_id, "The calendar is fetched every hour from now on.")


@router.post("/{calendar_id}")
def change(
    request: Request, session: Database, now: Now, who: Office, kind_id: Kinds,
    calendar_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
    do: Annotated[Literal["fetch", "stop"], Form(description="fetch it now, or no more")],
) -> Response:  # fmt: skip
    """Fetch a calendar now, or no more; the days off that were taken from it stay."""
    row = found(session, tables.BusyCalendar, calendar_id, "calendar")
    if do == "stop":
        kept.stop(session, row, by=who.name, now=now)
        return _back(kind_id, "The calendar is fetched no more; the days off taken from it stay.")
    request.app.state.calendars.fetch(calendar_id)
    return _back(kind_id, "The calendar was fetched.")


def _back(kind_id: str, words: str) -> Response:
    return RedirectResponse(f"/set-up/{kind_id}?{urlencode({'kept': words})}", 303)
