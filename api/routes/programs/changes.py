"""The feed of changes: what has happened, in order, for programs that go on where they were."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from fastapi.responses import Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.hooks.changes import changes, newest
from api.http.pages import Database
from api.http.subject import Subject
from api.routes.lists import ListPart

router = Subject(tags=("programs",))


@router.get("/changes")
def feed(
    request: Request,
    session: Database,
    _: Annotated[Who, allow(Role.manager, Role.office)],
    after: Annotated[
        int | None,
        Query(ge=0, le=2**31 - 1, description="the `next` of the answer before; 0: from the first; left out: from now"),
    ] = None,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
) -> Response:
    """List what has changed after a cursor, the oldest first; `next` is where to go on, also where nothing is new.

    A change is in the feed within seconds. `event` says which kind a webhook would be told, null for any other.
    """
    part = ListPart(request, None, limit)
    if after is None:
        return part.answer({"items": [], "next": newest(session), "more": False}, None)
    found = changes(session, after, limit + 1)
    items = [change.record() for change in found[:limit]]
    following, more = items[-1]["cursor"] if items else after, len(found) > limit
    return part.answer({"items": items, "next": following, "more": more}, following if more else None)
