"""How firmly a customer's promised time is held: changed by the office, who told them, and kept in the history."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.http import versions
from api.http.pages import Database, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch
from api.ledger.history import note
from api.ledger.told import told_now
from api.routes.records import Words
from api.tables import Booking, Visit

router = Subject(tags=("messages",))
_UNTOLD = "No time has been promised to the customer of"
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("/jobs/{visit_id}/hold")
def hold(session: Database, _: Office, visit_id: str) -> Response:
    """Give what the customer was told last and still counts, with its ETag."""
    found(session, Visit, visit_id, "job")
    booking = told_now(session, visit_id)
    if booking is None:
        raise Problem(404, f"{_UNTOLD} {visit_id}.")
    return _json(booking)


@router.post("/jobs/{visit_id}/hold", responses=responses(409, 412, 428))
def change_hold(
    request: Request, session: Database, now: Now, who: Office, visit_id: str,
    hold: Annotated[Literal["firm", "day", "soft"], Form(description="kept: crew, day and hour; the day; nothing yet")],
    mark: Annotated[Words, Form(max_length=40, description="from a form: the ETag that it was made with")] = "",
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Hold a promised time more or less firmly; weeks planned from now on go by it. The customer is told nothing."""
    found(session, Visit, visit_id, "job")
    booking = told_now(session, visit_id)
    if booking is None:
        raise Problem(409, f"{_UNTOLD} {visit_id}.", kind="not-now")
    now_is = booking.mark
    if if_match is None and not mark:
        raise Problem(428, f'Send If-Match, now "{now_is}", or the field mark.', kind="no-version")
    if not (versions.names(if_match, now_is) if if_match is not None else mark == now_is):
        raise versions.changed(now_is, booking.model_dump(mode="json"), {"hold": hold})
    before = booking.hold
    if hold != before:
        if not versions.update(session, booking, {"hold": hold}):
            raise versions.changed(booking.mark, booking.model_dump(mode="json"), {"hold": hold})
        note(session, now, who.name, "changed", "booking", visit_id, {"held": [before, hold]})
    return _json(booking) if wants_json(request) else RedirectResponse(f"/jobs/{visit_id}#told", 303)


def _json(booking: Booking) -> Response:
    return JSONResponse(booking.model_dump(mode="json"), headers={"ETag": versions.etag(booking.mark)})
