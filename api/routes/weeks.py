"""The week sheet."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from api.guards import STAFF, Who, allow
from api.pages import Database, page, wants_json
from api.queries import facts, newest_plan, planned_weeks
from api.weeksheet import week_page

router = APIRouter()


@router.get("/")
def home(request: Request, session: Database, _: Annotated[Who, allow(*STAFF)]) -> Response:
    """Lead to the week that was planned last."""
    weeks = planned_weeks(session)
    if not weeks:
        return page(request, "empty.html", {})
    return RedirectResponse(f"/weeks/{weeks[0]}", 303)


@router.get("/weeks/{start_date}")
def week(request: Request, session: Database, _: Annotated[Who, allow(*STAFF)], start_date: datetime.date) -> Response:
    """Show the newest plan of the week that begins on `start_date`."""
    stored = newest_plan(session, start_date)
    if stored is None:
        raise HTTPException(404, f"No plan has been made for the week of {start_date}.")
    if wants_json(request):
        return Response(stored.plan, media_type="application/json")
    return page(request, "week.html", {"page": week_page(facts(session), stored)})
