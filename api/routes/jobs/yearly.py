"""Yearly services: what is made next, and by which rule."""

from __future__ import annotations

from typing import Annotated

from fastapi import Request
from fastapi.responses import Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.clock import Now, local_day
from api.http.pages import Database, page
from api.http.subject import Subject
from api.yearly.making import next_visits

router = Subject(tags=("jobs",))
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("/yearly")
def yearly(request: Request, session: Database, now: Now, _: Office) -> Response:
    """Show which visits the yearly services make next, the first first."""
    return page(request, "office/yearly.html", {"services": next_visits(session, local_day(session, now))})
