"""Turns: what only one at a time may do, over all workers of a database."""

from __future__ import annotations

import enum
import threading
import time
import weakref
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import sqlalchemy as sa
from sqlalchemy.exc import OperationalError, SQLAlchemyError
from sqlmodel import Session

from api.database import begin_writing
from api.database.server_locks import TURN

LOCK_NOT_AVAILABLE = "55P03"  # PostgreSQL's code for a lock that was waited for too long
_here: weakref.WeakKeyDictionary[sa.Engine, dict[Turn, threading.Lock]] = weakref.WeakKeyDictionary()
_making = threading.Lock()


class Turn(enum.IntEnum):
    """What people and programs wait for each other with."""

    BEGIN_RUN = 1
    PROMISE = 2
    ASK_PLACES = 3
    FETCH_FORECASTS = 4
    TIME_DRIVES = 5
    ASK_WORTH = 6
    ORDER_VISITS = 7
    TAKE_TEXT = 8
    NUMBER_JOBS = 9


def one_at_a_time(session: Session, of: Turn) -> None:
    """Have the rest of a transaction be at `of` alone, over all workers; SQLite lets one write at a time anyway."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(sa.select(sa.func.pg_advisory_xact_lock(TURN, int(of))))
    else:
        begin_writing(session)


@contextmanager
def turn(database: sa.Engine, of: Turn, wait_s: float | None = None) -> Iterator[None]:
    """Wait until nobody else, in this process or another, is at `of`; then be at it.

    Raises `TimeoutError` where none comes within `wait_s`; None waits for ever.
    """
    end = None if wait_s is None else time.monotonic() + wait_s
    with _making:
        lock = _here.setdefault(database, defaultdict(threading.Lock))[of]
    if not lock.acquire(timeout=-1 if wait_s is None else wait_s):
        raise TimeoutError
    try:
        if database.dialect.name != "postgresql":
            yield
            return
        connection = database.connect()
        try:
            _wait(connection, of, end)
            yield
        finally:
            with suppress(SQLAlchemyError):  # a server that has gone has let go
                connection.close()
    finally:
        lock.release()


def _wait(connection: sa.Connection, of: Turn, end: float | None) -> None:
    """Take the server's lock for as long as the connection's transaction is open."""
    if end is not None:
        left_ms = max(1, round(1000 * (end - time.monotonic())))
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {left_ms}")
    try:
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(TURN, int(of))))
    except OperationalError as fault:
        if getattr(fault.orig, "sqlstate", None) != LOCK_NOT_AVAILABLE:
            raise
        raise TimeoutError from None
