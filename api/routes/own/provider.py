"""Signing in by the provider of OpenID Connect that the settings name: there, and back with its word."""

from __future__ import annotations

import secrets
from dataclasses import astuple
from typing import Annotated

from fastapi import Query, Request
from fastapi.responses import RedirectResponse, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer

from api.access.accounts import HalfIn
from api.access.guards import Who, cookie_name, csrf_token, everyone
from api.access.provider import NotLetIn, SignInAsked, SignInProvider, let_in_by_provider
from api.clock import machine_clock
from api.http.measures import REFUSED
from api.http.pages import wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.routes.own.sign_in import code_asked, inside, let_in, set_cookie, sign_in_form, unkept
from api.routes.records import Words
from api.secret import accepted

WAY_S = 600  # in which somebody comes back from the provider
router = Subject(tags=("sign-in",))
Anybody = Annotated[Who, everyone()]
Brought = Annotated[Words, Query(max_length=4000)]


@router.get("/sign-in/provider")
def leave(request: Request, who: Anybody, next: str = "/") -> Response:
    """Lead the browser to the provider, which asks who somebody is; 404 where the settings name none."""
    provider, asked = _provider(request), SignInAsked.anew(inside(next))
    try:
        to = provider.way(asked, machine_clock())
    except NotLetIn as fault:
        return _refused(request, who, f"{fault}", asked.aim, 502)
    answer = RedirectResponse(to, 303)
    if not who.csrf:  # a code from a phone may be asked for on the way back, by a form
        set_cookie(request, answer, "form", secrets.token_urlsafe(32))
    set_cookie(request, answer, "provider", str(_kept(request).dumps(astuple(asked))), WAY_S)
    return unkept(answer)


@router.get("/sign-in/provider/back")
def come_back(
    request: Request, who: Anybody, code: Brought = "", state: Brought = "", iss: Brought = "", error: Brought = ""
) -> Response:
    """Begin a session by what the provider says; only for the browser that left for it from here, and once."""
    provider, now = _provider(request), machine_clock()
    name = cookie_name(request.app.state.settings, "provider")
    try:
        asked = SignInAsked(*_kept(request).loads(request.cookies.get(name, ""), max_age=WAY_S))
    except (BadSignature, ValueError, TypeError):
        return _refused(request, who, "That took too long, or began in another browser: sign in again.", "/", 401)
    try:
        if not secrets.compare_digest(state.encode(), asked.state.encode()):
            raise NotLetIn("The provider's answer is not for this sign-in: sign in again.")
        if error or not code:
            raise NotLetIn("The provider did not let you in: sign in again, or by password.")
        email = provider.email(asked, code, iss, now)
        hours, agent = request.app.state.settings.session_hours, request.headers.get("user-agent", "")
        account, made = let_in_by_provider(request.app.state.database, email, now, hours, agent)
    except NotLetIn as fault:
        REFUSED.labels("provider").inc()
        answer = _refused(request, who, f"{fault}", asked.aim, 401)
    else:
        if isinstance(made, HalfIn):
            answer = code_asked(request, who, made, asked.aim)
        else:
            answer = let_in(request, made, account, asked.aim)
    answer.delete_cookie(name, secure=request.app.state.settings.secure, httponly=True, samesite="lax")
    return unkept(answer)


def _provider(request: Request) -> SignInProvider:
    found: SignInProvider | None = request.app.state.provider
    if found is None:
        raise Problem(404, "Nobody signs in by a provider here: no setting names one.")
    return found


def _kept(request: Request) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(accepted(request.app.state.secret, machine_clock()), salt="at the provider")


def _refused(request: Request, who: Who, fault: str, aim: str, status: int) -> Response:
    """Show the form to sign in by password, with what was wrong."""
    if wants_json(request):
        raise Problem(status, fault)
    if who.csrf:
        return sign_in_form(request, who.csrf, aim, "", fault, status)
    seed = secrets.token_urlsafe(32)
    answer = sign_in_form(request, csrf_token(request.app.state.secret, seed), aim, "", fault, status)
    set_cookie(request, answer, "form", seed)
    return answer
