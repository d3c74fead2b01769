"""The manager's page of programs: tokens made, shown once, listed with their last use, and revoked."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from api.access import tokens
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.scopes import SCOPES
from api.clock import local_days, local_moments
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.routes.lists import All
from api.routes.records import Words
from api.tables import ProgramToken
from scheduler.errors import BadInput

router = Subject(tags=("tokens",))
Manager = Annotated[Who, allow(Role.manager)]
GraveManager = Annotated[Who, allow(Role.manager, grave=True)]
Text = Annotated[Words, Form(max_length=80)]


@router.get("/tokens")
def token_list(request: Request, session: Database, _: Manager, part: All) -> Response:
    """List the tokens that open something, with the form for a new one."""
    if wants_json(request):
        return part.bare(_open(session), lambda row: row.id, _record)
    return _page(request, session)


@router.post("/tokens")
def make(
    request: Request,
    session: Database,
    who: GraveManager,
    name: Text = "",
    scopes: Annotated[list[Words], Form(max_length=len(SCOPES))] = [],  # noqa: B006
    days: Text = "365",
) -> Response:
    """Make a token for a program; it is shown once."""
    try:
        if not days.isdecimal() or len(days) > 6:
            raise BadInput("days", f'must be a whole number from 1 to {tokens.MOST_DAYS}, is "{days}"')
        made = tokens.make_token(session, name, scopes, int(days), by=who.name, now=_now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, {"name": name, "scopes": scopes, "days": days}, fault)
    if wants_json(request):
        answer: Response = JSONResponse({**_record(made.row), "token": made.text}, 201)
    else:
        base = request.app.state.settings.base
        values = {"row": made.row, "text": made.text, "base": base, "date_of": local_days(session)}
        answer = page(request, "access/token_made.html", values, status=201)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/tokens/{token_id}/revoke")
def revoke(request: Request, session: Database, who: Manager, token_id: int) -> Response:
    """Make a token useless at once."""
    if not 0 < token_id < 2**31:
        raise Problem(404, f'No token has the id "{token_id}".')
    row = found(session, ProgramToken, token_id, "token")
    tokens.revoke_token(session, row, by=who.name, now=_now())
    return JSONResponse(_record(row)) if wants_json(request) else RedirectResponse("/tokens", 303)


def _open(session: Session) -> list[ProgramToken]:
    wanted = select(ProgramToken).where(ProgramToken.expires_at > _now(), col(ProgramToken.revoked_at).is_(None))
    return list(session.exec(wanted.order_by(col(ProgramToken.name), col(ProgramToken.id))).all())


def _page(
    request: Request, session: Session, form: dict[str, Any] | None = None, fault: BadInput | None = None
) -> Response:
    values: dict[str, Any] = {"tokens": _open(session), "scopes": SCOPES, "fault": fault}
    values["moment"], values["date_of"] = local_moments(session), local_days(session)
    values["form"] = form or {"name": "", "scopes": ["read"], "days": "365"}
    return page(request, "access/tokens.html", values, status=422 if fault else 200)


def _record(row: ProgramToken) -> dict[str, Any]:
    return row.model_dump(mode="json", exclude={"digest"})


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
