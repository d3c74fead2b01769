"""What a service works on, opened before all that makes its pages: where that fails, it is said at once."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

import sqlalchemy as sa

from api.database import Hold, hold, open_database, upgrade
from api.secret import Secret, read_secret
from api.settings import Settings


@dataclass(frozen=True)
class Opened:
    """What a service works on: its data folder and database, held by it alone, the database in the newest form."""

    database: sa.Engine
    secret: Secret
    held: Hold

    def close(self) -> None:
        """Close the database and let others have it."""
        self.database.dispose()
        self.held.release()


def open_data(settings: Settings) -> Opened:
    """Hold, open and bring up to date what `settings` name.

    Raises `BadInput` in one sentence where it cannot be used, or another service is at work on it.
    """
    held = hold(settings.data, settings.database)
    try:
        secret = read_secret(settings, lambda: secrets.token_urlsafe(32))
        database = open_database(settings.database)
        upgrade(database)
    except BaseException:
        held.release()
        raise
    return Opened(database, secret, held)
