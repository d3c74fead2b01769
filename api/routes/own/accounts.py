"""The manager's page of who may sign in: accounts made, changed, given a new password."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from api.access import accounts
from api.access.accounts import Passwords, Role
from api.access.guards import Who, allow, found
from api.clock import local_days
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.routes.lists import All
from api.routes.own.sign_in import Text, provider_named, unkept
from api.tables import Account, Crew, SecondFactor
from scheduler.errors import BadInput

router = Subject(tags=("sign-in",))
Manager = Annotated[Who, allow(Role.manager)]
GraveManager = Annotated[Who, allow(Role.manager, grave=True)]


@router.get("/accounts", include_in_schema=False)
def before(_: Manager) -> Response:
    """Lead on from where the list was before: bookmarks have that address."""
    return RedirectResponse("/who-may-sign-in", 308)


@router.get("/who-may-sign-in")
def account_list(request: Request, session: Database, _: Manager, part: All) -> Response:
    """List the accounts, with the form for a new one."""
    if wants_json(request):
        return part.bare(_all(session), lambda row: row.id, _record)
    return _list_page(request, session)


@router.post("/who-may-sign-in")
def make_account(
    request: Request, session: Database, who: GraveManager, name: Text = "", role: Text = "", crew_id: Text = ""
) -> Response:
    """Make an account; its one-time password is shown once."""
    passwords: Passwords = request.app.state.passwords
    try:
        if crew_id and session.get(Crew, crew_id) is None:
            raise BadInput("crew_id", f'no crew has the id "{crew_id}"')
        made = accounts.make_account(session, passwords, name, role, crew_id, by=who.name, now=_now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, {"name": name, "role": role, "crew_id": crew_id}, fault)
    return _handed_over(request, name.strip().lower(), made, 201)


@router.post("/who-may-sign-in/{account_id}/reset")
def reset(request: Request, session: Database, who: GraveManager, account_id: int) -> Response:
    """Give an account a new one-time password, shown once; its sessions end."""
    account = _account(session, account_id)
    made = accounts.reset_password(session, request.app.state.passwords, account, by=who.name, now=_now())
    return _handed_over(request, account.name, made, 200)


@router.post("/who-may-sign-in/{account_id}/email")
def email(request: Request, session: Database, who: GraveManager, account_id: int, email: Text = "") -> Response:
    """Have a sign-in provider's word on an e-mail address let somebody in, and notices go there; their sessions end.

    Empty: no address.
    """
    account = _account(session, account_id)
    try:
        accounts.set_email(session, account, email, by=who.name, now=_now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, fault=fault)
    return JSONResponse(_record(account)) if wants_json(request) else RedirectResponse("/who-may-sign-in", 303)


@router.post("/who-may-sign-in/{account_id}/second-factor/end")
def end_second_factor(request: Request, session: Database, who: GraveManager, account_id: int) -> Response:
    """Ask somebody else for no code any more, such as for a lost phone; their sessions end."""
    account = _account(session, account_id)
    if account.id == who.account_id:
        raise Problem(403, "This is for another manager: end your own codes on the page of your password.")
    if not accounts.end_second_factor(session, account, by=who.name, now=_now()):
        raise Problem(404, f"{account.name} is asked for no code.")
    return JSONResponse(_record(account)) if wants_json(request) else RedirectResponse("/who-may-sign-in", 303)


@router.post("/who-may-sign-in/{account_id}")
def change(
    request: Request, session: Database, who: GraveManager, account_id: int, role: Text = "", active: Text = ""
) -> Response:
    """Give an account another role, or disable or enable it; its sessions end."""
    account = _account(session, account_id)
    try:
        if active not in ("yes", "no"):
            raise BadInput("active", f'must be yes or no, is "{active}"')
        accounts.change_account(session, account, role=role, active=active == "yes", by=who.name, now=_now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, fault=fault)
    return JSONResponse(_record(account)) if wants_json(request) else RedirectResponse("/who-may-sign-in", 303)


def _list_page(
    request: Request, session: Session, form: dict[str, str] | None = None, fault: BadInput | None = None
) -> Response:
    crews = session.exec(select(Crew).order_by(col(Crew.id))).all()
    values = {
        "accounts": _all(session),
        "with_codes": set(session.exec(select(SecondFactor.account_id).where(col(SecondFactor.since).is_not(None)))),
        "own_id": request.state.who.account_id,
        "date_of": local_days(session),
        "provider": provider_named(request),
        "mailed": request.app.state.settings.smtp is not None,
        "roles": list(Role),
        "crews": crews,
        "form": form or {"name": "", "role": Role.office, "crew_id": ""},
        "fault": fault,
    }
    return page(request, "access/accounts.html", values, status=422 if fault else 200)


def _handed_over(request: Request, name: str, password: str, status: int) -> Response:
    days = accounts.ONE_TIME_DAYS
    values = {"name": name, "password": password, "days": days}
    if wants_json(request):
        return unkept(JSONResponse({"name": name, "one_time_password": password}, status))
    return unkept(page(request, "access/account_made.html", values, status=status))


def _account(session: Session, account_id: int) -> Account:
    if not 0 < account_id < 2**31:
        raise Problem(404, f'Nobody who signs in has the id "{account_id}".')
    return found(session, Account, account_id, "account")


def _all(session: Session) -> list[Account]:
    return list(session.exec(select(Account).order_by(col(Account.name))).all())


def _record(row: Account) -> dict[str, Any]:
    kept = {"id", "name", "role", "crew_id", "active", "email"}
    return {**row.model_dump(include=kept), "one_time_password": row.one_time_until is not None}


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
