"""Today: one line a crew with what is at risk, and the message that tells a customer how late the crew will be."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from fastapi import APIRouter, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api import tables
from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.clock import Now, local_day, local_moments
from api.falls.now import each_falling
from api.http.pages import Database, page, wants_json
from api.http.problems import responses
from api.ledger.plans.posted import posted_on
from api.routes.records import Words
from api.running.crews import crew_lines
from api.running.late import tell_today

router = APIRouter(tags=["days"])
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("/today")
def today(request: Request, session: Database, who: Annotated[Who, allow(*LOOKERS)], now: Now) -> Response:
    """Show where each crew is, how far behind or ahead, its next promise, and which promises are at risk or broken.

    As JSON `{date, crews, falls}`; minutes are after local midnight, `behind_min` below 0 means ahead.
    """
    day = local_day(session, now)
    lines = crew_lines(session, day, now)
    falls = [one for one in each_falling(session, request.app.state.searches.days, now) if one.date == day]
    if wants_json(request):
        body = {"date": day, "crews": lines, "falls": {one.visit_id: one.words for one in falls}}
        return Response(msgspec.json.encode(body), media_type="application/json")
    posted = posted_on(session, day)
    values: dict[str, Any] = {"day": day, "lines": lines, "at": local_moments(session)(now), "posted": posted}
    values |= {"falls": falls}
    values |= {"may_tell": who.role in (Role.manager, Role.office)}
    return page(request, "today.html", values)


@router.post("/today/late", status_code=201, responses=responses(409))
def tell_late(
    request: Request, session: Database, who: Office, now: Now, visit: Annotated[Words, Form(max_length=80)]
) -> Response:
    """Draft the message that tells the customer of a visit how late the crew will be today; its promise stays.

    Refused by 409 where the visit is not at risk today: there is nothing to tell.
    """
    found(session, tables.Visit, visit, "job")
    message = tell_today(session, local_day(session, now), visit, now=now, by=who.name)
    if wants_json(request):
        made = message.model_dump(mode="json", exclude={"calendar"})
        return JSONResponse(made, 201, {"Location": f"/messages/{message.id}"})
    return RedirectResponse(f"/messages/{message.id}", 303)
