"""The page on which somebody has a code from a phone asked for at sign-in, or ends that."""

from __future__ import annotations

import datetime
from typing import Any

import pyotp
import segno
from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session

from api.access import accounts, notices, second_factor
from api.access.guards import Who, found
from api.clock import local_moments
from api.http.pages import Database, page, wants_json
from api.http.problems import responses
from api.http.subject import Subject
from api.routes.own.sign_in import SignedIn, Text, unkept
from api.tables import Account, SecondFactor
from scheduler.errors import BadInput

router = Subject(tags=("sign-in",))


@router.get("/second-factor")
def show(request: Request, session: Database, who: SignedIn) -> Response:
    """Say whether one is asked for a code at sign-in, since when, and how many recovery codes are left."""
    if wants_json(request):
        since, left = _state(session, _own(session, who))
        return unkept(JSONResponse({"since": since.isoformat() if since else None, "recovery_codes_left": left}))
    return _page(request, session, who)


@router.post("/second-factor/begin", responses=responses(429))
def begin(request: Request, session: Database, who: SignedIn, old: Text = "") -> Response:
    """Make a new key and show it for the phone, after the password was given once more."""
    account, state = _own(session, who), request.app.state
    try:
        accounts.known_by_password(state.database, state.passwords, account, old, _now())
        address = second_factor.begin(session, account, _now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, who, fault=fault)
    if wants_json(request):
        return unkept(JSONResponse({"address": address}))
    return _page(request, session, who, address=address)


@router.post("/second-factor/confirm", responses=responses(429))
def confirm(request: Request, session: Database, who: SignedIn, code: Text = "") -> Response:
    """Ask for codes from now on, since one from the phone was right; the recovery codes are shown this once."""
    account = _own(session, who)
    try:
        codes = second_factor.confirm(session, account, code, _now())
        session.flush()
        notices.read(session, account)  # they have just done it
    except BadInput as fault:
        if wants_json(request):
            raise
        row = session.get(SecondFactor, account.id)
        waits = row is not None and row.since is None
        return _page(
            request, session, who, fault=fault, address=second_factor.address(account, row) if row and waits else ""
        )
    if wants_json(request):
        return unkept(JSONResponse({"recovery_codes": codes}))
    return _page(request, session, who, codes=codes)


@router.post("/second-factor/end", responses=responses(429))
def end(request: Request, session: Database, who: SignedIn, code: Text = "") -> Response:
    """Be asked for no code any more, after giving a last one."""
    account, now = _own(session, who), _now()
    try:
        second_factor.end_own(request.app.state.database, account, code, now)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _page(request, session, who, fault=fault)
    accounts.end_second_factor(session, account, by=who.name, now=now)
    return JSONResponse({"since": None}) if wants_json(request) else RedirectResponse("/sign-in", 303)


def _page(
    request: Request, session: Session, who: Who, *, fault: BadInput | None = None, address: str = "",
    codes: list[str] | None = None,
) -> Response:  # fmt: skip
    since, left = _state(session, _own(session, who))
    values: dict[str, Any] = {"since": since, "left": left, "codes": codes, "fault": fault, "picture": None}
    values["moment"] = local_moments(session)
    values["must_set_up"] = who.must_set_up and since is None
    if address:
        values["picture"] = Markup(segno.make(address, error="m").svg_inline(scale=5, border=4))
        secret = pyotp.parse_uri(address).secret
        values["key"] = " ".join(secret[k : k + 4] for k in range(0, len(secret), 4))
    return unkept(page(request, "access/second_factor.html", values, status=422 if fault else 200))


def _state(session: Session, account: Account) -> tuple[datetime.datetime | None, int]:
    row = session.get(SecondFactor, account.id)
    return (row.since if row else None), second_factor.left(session, account)


def _own(session: Session, who: Who) -> Account:
    return found(session, Account, who.account_id, "account")


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
