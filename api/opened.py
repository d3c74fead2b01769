"""What a service works on, opened before all that makes its pages: where that fails, it is said at once."""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from api.database import Duty, Hold, Served, hold, open_database, upgrade
from api.secret import Secret, read_secret
from api.settings import Settings
from scheduler.errors import BadInput

LOOK_S, STARTING_S = 0.05, 600.0  # while another worker starts: it may be bringing the database to the newest form


@dataclass(frozen=True)
class Opened:
    """What a service works on: its data folder and database, held by it, the database in the newest form."""

    database: sa.Engine
    secret: Secret
    held: Hold

    def close(self) -> None:
        """Close the database and let others have it."""
        self.database.dispose()
        self.held.release()


def open_data(settings: Settings) -> Opened:
    """Hold, open and bring up to date what `settings` name; on PostgreSQL other workers may be at work on it.

    Raises `BadInput` in one sentence where it cannot be used, or is held by somebody who must be alone.
    """
    place = f"{settings.host}:{settings.port}, process {os.getpid()}"
    held = hold(settings.data, settings.database, place=place)
    try:
        _wait_for_turn(held)
        secret = read_secret(settings, lambda: secrets.token_urlsafe(32))
        database = open_database(settings.database)
        upgrade(database, others=lambda: bool(held.workers() - {held.number}), copies=settings.data)
        held.join()
        held.drop(Duty.START)
    except BaseException:
        held.release()
        raise
    return Opened(database, secret, held)


def _wait_for_turn(held: Hold) -> None:
    """Wait until no other worker is starting: secret, form and first sign-in are made by one alone."""
    end = time.monotonic() + STARTING_S
    while not held.take(Duty.START):
        if time.monotonic() > end:
            raise BadInput("EAVEBOARD_DATABASE", "another worker has been starting for minutes; end that one first")
        time.sleep(LOOK_S)


@contextmanager
def opened_beside(data: Path, address: str) -> Iterator[sa.Engine]:
    """Give the database of `address` in the newest form; a service in that form may be at work on it.

    What is brought to the newest form is held alone meanwhile. Raises `BadInput` in one sentence where it is in an
    older form and served, by an older program then, or where it cannot be used.
    """
    database = open_database(address)
    try:
        with ExitStack() as alone:

            def others() -> bool:
                try:
                    alone.callback(hold(data, address).release)
                except Served:
                    return True
                return False

            upgrade(database, others=others, copies=data)
        yield database
    finally:
        database.dispose()
