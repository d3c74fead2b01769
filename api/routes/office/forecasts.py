"""Forecasts: which are on record for which place, how fetching them goes, and fetching them now."""

from __future__ import annotations

from typing import Annotated

import msgspec
from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.business.outside import KINDS
from api.clock import Now, local_moments
from api.forecasts.shown import places
from api.http.pages import Database, page, wants_json
from api.http.subject import Subject
from api.tables import Business, ForecastSource

router = Subject(prefix="/forecasts", tags=("forecasts",))
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("")
def shown(request: Request, session: Database, _: Office, now: Now, came: str = "") -> Response:
    """Show each place with its newest forecast: when it was issued, how old it is, and what is wrong with fetching."""
    source = session.get(ForecastSource, 1) or ForecastSource()
    listed = places(session, now)
    if wants_json(request):
        told = {"kind": source.kind, "address": source.address, "places": [msgspec.to_builtins(one) for one in listed]}
        return Response(msgspec.json.encode(told), media_type="application/json")
    business = session.get(Business, 1)
    values = {
        "source": source,
        "kind": dict(KINDS)[source.kind],
        "places": listed,
        "moment": local_moments(session),
        "climate": business is not None and bool(business.climate),
        "came": int(came) if came.isdecimal() and len(came) < 5 else None,
    }
    return page(request, "settings/forecasts.html", values)


@router.post("/fetch")
def fetch(request: Request, _: Office) -> Response:
    """Fetch the forecast of every place now, and show what came; a service that does not answer takes its time."""
    came = request.app.state.forecasts.fetch()
    if wants_json(request):
        return Response(msgspec.json.encode({"came": came}), media_type="application/json")
    return RedirectResponse(f"/forecasts?came={came}", 303)
