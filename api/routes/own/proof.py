"""The page on which somebody gives their password again, before something grave."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access import proof
from api.access.accounts import has_codes
from api.access.guards import cookie_name, found
from api.clock import machine_clock
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.routes.own.sign_in import SignedIn, Text, inside, unkept
from api.tables import Account
from scheduler.errors import BadInput

router = Subject(tags=("sign-in",))


@router.get("/prove")
def show(request: Request, session: Database, who: SignedIn, next: str = "/") -> Response:
    """Ask for the password once more; `next` is the page to go on with."""
    asked = has_codes(session, found(session, Account, who.account_id, "account"))
    if wants_json(request):
        return unkept(JSONResponse({"code_asked": asked}))
    return _page(request, asked, inside(next))


@router.post("/prove", responses=responses(429))
def prove(
    request: Request, session: Database, who: SignedIn, old: Text = "", code: Text = "", next: Text = "/"
) -> Response:
    """Take the password, and the code from the phone where one is asked for: what is grave can then be done."""
    account, state = found(session, Account, who.account_id, "account"), request.app.state
    asked = has_codes(session, account)
    token = request.cookies[cookie_name(state.settings, "session")]
    now = machine_clock()
    try:
        proof.prove(state.database, state.passwords, account, token, old, code, now)
    except (BadInput, Problem) as fault:
        if wants_json(request):
            raise
        return _page(request, asked, inside(next), fault)
    return JSONResponse({"minutes": proof.MINUTES}) if wants_json(request) else RedirectResponse(inside(next), 303)


def _page(request: Request, asked: bool, aim: str, fault: BadInput | Problem | None = None) -> Response:
    words, status = "", 200
    if isinstance(fault, BadInput):
        words, status = f"{'The code' if fault.where == 'code' else 'This'} {fault.problem}.", 422
    elif fault is not None:
        words, status = fault.detail, fault.status
    values = {"asked": asked, "next": aim, "fault": words, "minutes": proof.MINUTES}
    return unkept(page(request, "access/prove.html", values, status=status))
