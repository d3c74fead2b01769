"""`eaveboard reset-password`: the way back in where no manager can sign in any more."""

from __future__ import annotations

import datetime
import os
from typing import Annotated

import typer


def reset_password(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The account's name, such as manager.")] = "manager",
) -> None:
    """Print a new one-time password of an account, which ends its sessions and enables it.

    Whoever can run this can read the database anyway. EAVEBOARD_DATA or EAVEBOARD_DATABASE names the database.
    """
    from sqlmodel import select

    from api.access.accounts import Passwords
    from api.access.accounts import reset_password as reset
    from api.database import open_database, transaction, upgrade
    from api.settings import read_settings
    from api.tables import Account
    from scheduler.errors import BadInput

    settings = read_settings(os.environ)
    database = open_database(settings.database)
    try:
        upgrade(database)
        with transaction(database) as session:
            account = session.exec(select(Account).where(Account.name == name.strip().lower())).first()
            if account is None:
                raise BadInput("NAME", f'there is no account "{name}"; the first one is made when the pages are served')
            account.active = True
            passwords = Passwords(quick=settings.quick_passwords)
            password = reset(session, passwords, account, by="command line", now=datetime.datetime.now(datetime.UTC))
    finally:
        database.dispose()
    typer.echo(f"Sign in as {account.name} with the one-time password {password}")
