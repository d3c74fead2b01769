"""Drive times: what times them, how many are known, which answers were refused, and trying the source."""

from __future__ import annotations

from typing import Annotated

import msgspec
from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.clock import local_moments
from api.http.pages import Database, page, wants_json
from api.http.subject import Subject
from api.roads import shown

router = Subject(prefix="/roads", tags=("roads",))
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("")
def roads(request: Request, session: Database, _: Office, asked: str = "") -> Response:
    """Show what times the drives, how many are known, and what is wrong with asking for them."""
    return _page(request, session, None, asked=bool(asked))


@router.post("/try")
def try_now(request: Request, session: Database, _: Office) -> Response:
    """Ask the source that is set for one drive between two known places, and show what it said."""
    start, goal = shown.places_to_try(session)
    source, constants = shown.source_to_try(session, request.app.state.settings.data)
    trial = shown.tried(start, goal, source, constants)
    if wants_json(request):
        return Response(msgspec.json.encode(trial), media_type="application/json")
    return _page(request, session, trial)


@router.post("/fetch", status_code=202)
def fetch(request: Request, _: Office) -> Response:
    """Have all drives asked for that are not known or have grown old; they come while work goes on."""
    request.app.state.roads.ask()
    if wants_json(request):
        return Response(b'{"asked":true}', 202, media_type="application/json")
    return RedirectResponse("/roads?asked=1", 303)


def _page(request: Request, session: Database, trial: shown.Trial | None, asked: bool = False) -> Response:
    standing = shown.standing(session)
    if wants_json(request):
        return Response(msgspec.json.encode(standing), media_type="application/json")
    values = {"now": standing, "moment": local_moments(session), "trial": trial, "asked": asked}
    return page(request, "settings/roads.html", values)
