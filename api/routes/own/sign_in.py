"""Signing in and out, and one's own password."""

from __future__ import annotations

import datetime
import secrets
from typing import Annotated, Any
from urllib.parse import quote, urlsplit

from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from itsdangerous import BadSignature, URLSafeSerializer, URLSafeTimedSerializer
from sqlmodel import Session, select

from api.access import accounts, notices, second_factor
from api.access.accounts import HalfIn
from api.access.guards import STAFF, Who, allow, cookie_name, csrf_token, days_handed_in, everyone, found
from api.clock import local_moments
from api.database import transaction
from api.http.measures import REFUSED
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.routes.records import Words
from api.secret import accepted
from api.settings import Settings
from api.tables import Account, SecondFactor
from scheduler.errors import BadInput

router = Subject(tags=("sign-in",))
CODE_S = 300  # in which the code follows the password
KNOWN_DAYS = 180  # that a browser in which somebody has signed in is known by
Text = Annotated[Words, Form(max_length=400)]
Anybody = Annotated[Who, everyone()]
SignedIn = Annotated[Who, allow(*STAFF, one_time=True)]


@router.get("/sign-in")
def sign_in_page(request: Request, who: Anybody, next: str = "/") -> Response:
    """Show the form to sign in; a program gets the token that its own form must carry."""
    csrf = who.csrf
    seed = None
    if not csrf:
        seed = secrets.token_urlsafe(32)
        csrf = csrf_token(request.app.state.secret, seed)
    values = {"csrf": csrf, "next": inside(next), "name": "", "fault": "", "provider": provider_named(request)}
    shown: Response = (
        JSONResponse({"csrf": csrf}) if wants_json(request) else page(request, "access/sign_in.html", values)
    )
    if seed is not None:
        set_cookie(request, shown, "form", seed)
    return unkept(shown)


@router.post("/sign-in", responses=responses(429))
def sign_in(request: Request, who: Anybody, name: Text = "", password: Text = "", next: Text = "/") -> Response:
    """Begin a session by name and password."""
    state = request.app.state
    settings: Settings = state.settings
    address = request.client.host if request.client else "?"
    try:
        made = accounts.sign_in(
            state.database, state.passwords, name, password, address=address, now=_now(), hours=settings.session_hours,
            browser=_known_browser(request, name), agent=request.headers.get("user-agent", ""),
        )  # fmt: skip
        status, fault = 401, "Name and password do not fit together, or the one-time password is over."
    except Problem as problem:
        REFUSED.labels("too many tries").inc()
        if wants_json(request):
            raise
        made, status, fault = None, problem.status, problem.detail
    if isinstance(made, HalfIn):
        return code_asked(request, who, made, inside(next))
    if made is None:
        if status == 401:
            REFUSED.labels("wrong").inc()
        if wants_json(request):
            raise Problem(401, fault, headers={"WWW-Authenticate": 'Session realm="Eaveboard"'})
        return sign_in_form(request, who.csrf, inside(next), name, fault, status)
    return let_in(request, made, name, inside(next))


@router.post("/sign-in/code", responses=responses(429))
def sign_in_code(request: Request, who: Anybody, ticket: Text = "", code: Text = "", next: Text = "/") -> Response:
    """Begin a session by the code from the phone, after the password was right."""
    state = request.app.state
    try:
        account_id, version, name = _tickets(request).loads(ticket, max_age=CODE_S)
    except (BadSignature, ValueError, TypeError):
        raise Problem(401, "That took too long: sign in again with your password.") from None
    half = HalfIn(account_id, version)
    address = request.client.host if request.client else "?"
    try:
        made = second_factor.come_in(
            state.database, half, code, address=address, now=_now(), hours=state.settings.session_hours,
            browser=_known_browser(request, name), agent=request.headers.get("user-agent", ""),
        )  # fmt: skip
        status, fault = 401, "That is not the code that your phone shows now, nor a recovery code that is left."
    except Problem as problem:
        if wants_json(request):
            raise
        made, status, fault = None, problem.status, problem.detail
    REFUSED.labels("wrong" if status == 401 else "too many tries").inc(made is None)
    if made is not None:
        return let_in(request, made, name, inside(next))
    if wants_json(request):
        raise Problem(401, fault, headers={"WWW-Authenticate": 'Session realm="Eaveboard"'})
    return code_asked(request, who, half, inside(next), ticket, fault, status)


@router.post("/sign-out")
def sign_out(request: Request, session: Database, _: SignedIn) -> Response:
    """Sign out: the sign-in ends here and now."""
    name = cookie_name(request.app.state.settings, "session")
    accounts.sign_out(session, request.cookies[name])
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(name, secure=request.app.state.settings.secure, httponly=True, samesite="lax")
    return answer


@router.get("/session")
def session_of_caller(
    session: Database, who: Annotated[Who, allow(*STAFF, crew_link=True, one_time=True, hand_in=True)]
) -> dict[str, Any]:
    """Say who is signed in, and the token that writing requests carry in X-CSRF-Token.

    `hand_in`: of a day link, the other days of its crew of which this phone may still hand in what it noted.
    """
    day = who.day.isoformat() if who.day else None
    others = [one.isoformat() for one in days_handed_in(session, who) if one != who.day]
    return {
        "name": who.name, "role": who.role, "crew_id": who.crew_id, "day": day, "hand_in": others, "csrf": who.csrf
    }  # fmt: skip


@router.get("/password")
def password_page(request: Request, session: Database, who: SignedIn) -> Response:
    """Show the form for a new password, and where one is signed in."""
    assert who.account_id is not None
    own = accounts.digest(request.cookies.get(cookie_name(request.app.state.settings, "session"), ""))
    mine = accounts.sessions_of(session, who.account_id, _now())
    factor = session.get(SecondFactor, who.account_id)
    values: dict[str, Any] = {"must_change": who.must_change, "fault": None, "sessions": mine, "own": own}
    values["codes_since"], values["moment"] = factor.since if factor else None, local_moments(session)
    return page(request, "access/password.html", values)


@router.post("/password")
def password(
    request: Request, session: Database, who: SignedIn, old: Text = "", new: Text = "", again: Text = ""
) -> Response:
    """Change one's own password; all one's sessions end, and this one begins anew."""
    account = found(session, Account, who.account_id, "account")
    state = request.app.state
    try:
        accounts.known_by_password(state.database, state.passwords, account, old, _now())
        accounts.change_password(session, state.passwords, account, old, new, again, _now())
        session.flush()
        notices.read(session, account)
    except BadInput as fault:
        if wants_json(request):
            raise
        return page(request, "access/password.html", {"must_change": who.must_change, "fault": fault}, status=422)
    answer = RedirectResponse("/", 303)
    hours, agent = state.settings.session_hours, request.headers.get("user-agent", "")
    _start(request, answer, accounts.new_session(session, account, _now(), hours, agent))
    return answer


def sign_in_form(request: Request, csrf: str, aim: str, name: str, fault: str, status: int) -> Response:
    """Show the form to sign in again, with what was wrong."""
    values = {"csrf": csrf, "next": aim, "name": name, "fault": fault, "provider": provider_named(request)}
    return unkept(page(request, "access/sign_in.html", values, status=status))


def provider_named(request: Request) -> str:
    """Return what people know the sign-in provider by, its machine's name; empty where there is none."""
    provider = request.app.state.settings.provider
    return "" if provider is None else urlsplit(provider.issuer).hostname or ""


def code_asked(
    request: Request, who: Who, half: HalfIn, aim: str, ticket: str = "", fault: str = "", status: int = 202
) -> Response:
    """Ask for the code from the phone; `ticket` says whose password was right, and that for `CODE_S` alone."""
    if not ticket:
        with transaction(request.app.state.database) as session:
            name = found(session, Account, half.account_id, "account").name
        ticket = str(_tickets(request).dumps([half.account_id, half.version, name]))
    if wants_json(request):
        return unkept(JSONResponse({"code_asked": True, "ticket": ticket}, status))
    values = {"csrf": who.csrf, "next": aim, "ticket": ticket, "fault": fault}
    return unkept(page(request, "access/sign_in_code.html", values, status=200 if status == 202 else status))


def let_in(request: Request, made: accounts.SignedIn, name: str, aim: str) -> Response:
    """Answer with the new session, and have the browser known from now on."""
    state = request.app.state
    answer: Response
    if wants_json(request):
        answer = JSONResponse({"csrf": csrf_token(state.secret, made.token), "must_change": made.must_change})
    else:
        answer = RedirectResponse("/password" if made.must_change else _past_notices(request, name, aim), 303)
    _end_old(request)
    _start(request, answer, made.token)
    if not _known_browser(request, name):
        known = _browsers(request).dumps([name.strip().lower(), secrets.token_urlsafe(16)])
        set_cookie(request, answer, "browser", str(known), KNOWN_DAYS * 86400)
    return answer


def _past_notices(request: Request, name: str, aim: str) -> str:
    """Return where somebody goes first who has just signed in: to what was changed on their sign-in meanwhile."""
    with transaction(request.app.state.database) as session:
        account = session.exec(select(Account).where(Account.name == name.strip().lower())).one()
        told = notices.is_to_be_told(session, account, _now())
    return f"/notices?next={quote(aim, safe='')}" if told else aim


def _tickets(request: Request) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(accepted(request.app.state.secret, _now()), salt="code asked")


def _browsers(request: Request) -> URLSafeSerializer:
    return URLSafeSerializer(accepted(request.app.state.secret, _now()), salt="known browser")


def _known_browser(request: Request, name: str) -> str:
    """Return what tells apart a browser in which `name` has signed in before; empty where it has not."""
    token = request.cookies.get(cookie_name(request.app.state.settings, "browser"), "")
    try:
        known, mark = _browsers(request).loads(token)
    except (BadSignature, ValueError, TypeError):
        return ""
    return str(mark) if known == name.strip().lower() else ""


def set_cookie(request: Request, answer: Response, what: str, value: str, seconds: int | None = None) -> None:
    """Set a cookie that scripts cannot read and other sites cannot send; kept to https but on this machine alone.

    `seconds` None: until the browser is closed. Lax, not strict: links in mails and messages lead to pages.
    """
    settings: Settings = request.app.state.settings
    answer.set_cookie(
        cookie_name(settings, what), value, seconds, path="/", secure=settings.secure, httponly=True, samesite="lax"
    )


def _start(request: Request, answer: Response, token: str) -> None:
    set_cookie(request, answer, "session", token, request.app.state.settings.session_hours * 3600)


def _end_old(request: Request) -> None:
    """End the session in which somebody signs in anew: its token may be known to others."""
    old = request.cookies.get(cookie_name(request.app.state.settings, "session"))
    if old:
        with Session(request.app.state.database) as session, session.begin():
            accounts.sign_out(session, old)


def unkept(answer: Response) -> Response:
    """Have no browser or proxy keep this answer."""
    answer.headers["Cache-Control"] = "no-store"
    return answer


def inside(aim: str) -> str:
    """Return `aim` where it is an address of our own, else the first page: nobody is led elsewhere by a link."""
    plain = aim.startswith("/") and not aim.startswith("//") and "\\" not in aim and aim.isprintable()
    return aim if plain else "/"


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
