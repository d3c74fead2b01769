"""One's own sessions: where somebody is signed in, and the end of each; the language of one's pages."""

from __future__ import annotations

from typing import Annotated

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access import accounts
from api.access.guards import STAFF, Who, allow, cookie_name
from api.clock import machine_clock
from api.http.pages import Database, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import LANGUAGES
from api.ledger.history import note
from api.routes.lists import All
from api.routes.own.sign_in import Anybody, SignedIn, Text, inside, set_cookie, unkept
from scheduler.errors import BadInput

router = Subject(tags=("sign-in",))
CHOSEN_S = 365 * 24 * 3600  # that a browser keeps the language of its pages


@router.get("/sessions")
def session_list(request: Request, session: Database, who: SignedIn, part: All) -> Response:
    """List one's own sessions that are not over: when they began, when they were used last, by which browser."""
    assert who.account_id is not None
    own = accounts.digest(request.cookies.get(cookie_name(request.app.state.settings, "session"), ""))
    rows = [
        {"id": row.digest[:16], "made_at": row.made_at.isoformat(), "agent": row.agent, "this": row.digest == own,
         "seen_at": (row.seen_at or row.made_at).isoformat(), "expires_at": row.expires_at.isoformat()}
        for row in accounts.sessions_of(session, who.account_id, machine_clock())
    ]  # fmt: skip
    return unkept(part.whole(rows, lambda row: row["id"], lambda row: row))


@router.post("/sessions/end")
def end_other_sessions(
    request: Request, session: Database, who: Annotated[Who, allow(*STAFF, one_time=True, grave=True)]
) -> Response:
    """End all of one's own sessions but this one."""
    assert who.account_id is not None
    own = accounts.digest(request.cookies.get(cookie_name(request.app.state.settings, "session"), ""))
    others = [row for row in accounts.sessions_of(session, who.account_id, machine_clock()) if row.digest != own]
    for row in others:
        session.delete(row)
    note(session, machine_clock(), who.name, "ended other sessions", "account", who.name, {"number": len(others)})
    return JSONResponse({"ended": len(others)}) if wants_json(request) else RedirectResponse("/password", 303)


@router.post("/sessions/{session_id}/end")
def end_session(request: Request, session: Database, who: SignedIn, session_id: str) -> Response:
    """End one of one's own sessions."""
    assert who.account_id is not None
    mine = [
        row for row in accounts.sessions_of(session, who.account_id, machine_clock()) if row.digest[:16] == session_id
    ]
    if not mine:
        raise Problem(404, f'You have no session "{session_id}".')
    session.delete(mine[0])
    return JSONResponse({"ended": session_id}) if wants_json(request) else RedirectResponse("/password", 303)


@router.post("/language")
def choose_language(request: Request, _: Anybody, language: Text, next: Text = "/") -> Response:
    """Have this browser's pages in another language; crews read in that of their lead, customers in their own."""
    if language not in LANGUAGES:
        raise BadInput("language", f'must be one of {", ".join(LANGUAGES)}, is "{language}"')
    answer: Response = RedirectResponse(inside(next), 303)
    if wants_json(request):
        answer = JSONResponse({"language": language})
    set_cookie(request, answer, "language", language, CHOSEN_S)
    return answer
