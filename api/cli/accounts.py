"""`eaveboard reset-password`: the way back in where no manager can sign in any more."""

from __future__ import annotations

import datetime
from typing import Annotated

import typer

from api.cli.in_use import database_in_use
from api.cli.saying.voice import voice


def reset_password(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Who signs in, such as manager.")] = "manager",
    manager: Annotated[
        bool, typer.Option("--manager", help="Make them a manager, and let them sign in where nobody has that name.")
    ] = False,
    codes: Annotated[
        bool,
        typer.Option(
            "--codes", help="Ask them for no code from a phone any more: it is lost, and so are the recovery codes."
        ),
    ] = False,
) -> None:
    """Print a new one-time password for somebody, which ends their sessions and lets them sign in again.

    Whoever can run this can read the database anyway. EAVEBOARD_DATA or EAVEBOARD_DATABASE names the database.
    """
    from sqlmodel import select

    from api.access.accounts import Passwords, Role, end_second_factor, make_account
    from api.access.accounts import reset_password as reset
    from api.database import transaction
    from api.tables import Account
    from scheduler.errors import BadInput

    with database_in_use() as (database, settings), transaction(database) as session:
        account = session.exec(select(Account).where(Account.name == name.strip().lower())).first()
        if account is None and not manager:
            raise BadInput("NAME", f'nobody signs in as "{name}"; with --manager a manager does')
        now = datetime.datetime.now(datetime.UTC)
        passwords = Passwords(quick=settings.quick_passwords)
        if account is None:
            make_account(session, passwords, name, Role.manager, None, by="command line", now=now)
            account = session.exec(select(Account).where(Account.name == name.strip().lower())).one()
        account.active = True
        if manager:
            account.role, account.crew_id = Role.manager, None
        if codes:
            end_second_factor(session, account, by="command line", now=now)
        password, called = reset(session, passwords, account, by="command line", now=now), account.name
    voice().give({"name": called, "password": password})
    voice().show(f"Sign in as {called} with the one-time password {password}")
