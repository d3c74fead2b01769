"""`eaveboard reset-password`: the way back in where no manager can sign in any more."""

from __future__ import annotations

import datetime
import os
from typing import Annotated

import typer

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
    from api.database import open_database, transaction, upgrade
    from api.settings import read_settings
    from api.tables import Account
    from scheduler.errors import BadInput

    settings = read_settings(os.environ)
    database = open_database(settings.database)
    try:
        upgrade(database, copies=settings.data)
        with transaction(database) as session:
            account = session.exec(select(Account).where(Account.name == name.strip().lower())).first()
            if account is None and not manager:
                problem = f'nobody signs in as "{name}"; with --manager a manager does'
                raise BadInput("NAME", problem)
            now = datetime.datetime.now(datetime.UTC)
            if account is None:
                made = Passwords(quick=settings.quick_passwords)
                make_account(session, made, name, Role.manager, None, by="command line", now=now)
                account = session.exec(select(Account).where(Account.name == name.strip().lower())).one()
            account.active = True
            if manager:
                account.role, account.crew_id = Role.manager, None
            if codes:
                end_second_factor(session, account, by="command line", now=now)
            passwords = Passwords(quick=settings.quick_passwords)
            password = reset(session, passwords, account, by="command line", now=datetime.datetime.now(datetime.UTC))
    finally:
        database.dispose()
    voice().give({"name": account.name, "password": password})
    voice().show(f"Sign in as {account.name} with the one-time password {password}")
