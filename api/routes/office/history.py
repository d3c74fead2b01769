"""The history, who changed what and when, and what this service says of itself to programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from sqlmodel import col, select

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, everyone
from api.http.pages import Database
from api.http.problems import KINDS, Problem
from api.http.subject import Subject
from api.routes.lists import Parts
from api.routes.records import Words
from api.tables import History

router = Subject()


@router.get("/history", tags=["history"])
def history(
    session: Database,
    _: Annotated[Who, allow(Role.manager, Role.office)],
    part: Parts,
    noun: Annotated[
        Words | None, Query(max_length=40, description="what was changed: customer, site, visit, …")
    ] = None,
    noun_id: Annotated[Words | None, Query(max_length=80)] = None,
    before: Annotated[
        int | None, Query(ge=1, le=2**31 - 1, deprecated=True, description="what `after` was called before")
    ] = None,
) -> Response:
    """List the history, the newest first; `next` is the line to go on `after`, null at the end."""
    limit, behind = part.most, part.number or before
    wanted = select(History).order_by(col(History.id).desc()).limit(limit + 1)
    for column, value in ((History.noun, noun), (History.noun_id, noun_id)):
        if value is not None:
            wanted = wanted.where(col(column) == value)
    if behind is not None:
        wanted = wanted.where(col(History.id) < behind)
    rows = session.exec(wanted).all()
    items = [row.model_dump(mode="json") for row in rows[:limit]]
    following = items[-1]["id"] if len(rows) > limit else None
    return part.answer({"items": items, "next": following}, following)


@router.get("/problems/{kind}", tags=["problems"])
def problem(kind: str, _: Annotated[Who, everyone()]) -> Response:
    """Say what a kind of problem is: where the `type` of a problem document leads."""
    if kind not in KINDS:
        raise Problem(404, "There is no such kind of problem.")
    return PlainTextResponse(KINDS[kind] + ".\n")


@router.get("/openapi.json", include_in_schema=False)
def openapi(request: Request, _: Annotated[Who, allow(*STAFF)]) -> JSONResponse:
    """Describe every address of this service."""
    return JSONResponse(request.app.openapi())
