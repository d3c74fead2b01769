"""The locks of a PostgreSQL server by which workers know of each other: who is there, who leads, who is at what.

They are advisory locks of one connection: the server lets go of them as soon as the process ends, however it ends.
"""

from __future__ import annotations

import enum
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

# "eavebord" as eight bytes: the number of the lock on the whole database, which is one for a database.
ADVISORY = int.from_bytes(b"eavebord", "big")
# First of the two numbers of all other locks, "eave" as four bytes and on: workers, work, turns.
WORKER, WORK, TURN = (int.from_bytes(b"eave", "big") + kind for kind in range(3))
# A machine that is switched off says nothing: the server asks after it, and lets go of its locks within half a minute.
_NOTICED = ("tcp_keepalives_idle = 10", "tcp_keepalives_interval = 5", "tcp_keepalives_count = 3")
_PATIENCE: dict[str, str | int] = {"connect_timeout": 5, "tcp_user_timeout": 10_000}
_NAME = "eaveboard at "


class Duty(enum.IntEnum):
    """A piece of work that one worker does at a time, on behalf of all."""

    LEAD = 1
    START = 2
    WORTH = 3
    ROSTER = 4
    EXPORT = 5
    IMPORT = 6
    LIST = 7


@dataclass(frozen=True)
class Worker:
    """A worker as the server knows it: its number, and the address at which it answers."""

    number: int
    place: str
    leads: bool


class ServerLocks:
    """The locks of one process. place: where a worker answers, which works beside others; None: it is to be alone."""

    def __init__(self, url: sa.URL, number: int, place: str | None) -> None:
        self._number, self._shared = number, place is not None
        named = _PATIENCE | ({"application_name": f"{_NAME}{place}"[:63]} if place else {})
        self._engine = sa.create_engine(url, poolclass=sa.NullPool, isolation_level="AUTOCOMMIT", connect_args=named)
        self._connection: sa.Connection | None = None
        self._mine: set[Duty] = set()
        self._joined = self._released = False
        self._lock = threading.RLock()

    def begin(self) -> bool:
        """Take the database; say whether nobody holds it in a way that does not allow that."""
        with self._lock:
            connection = self._engine.connect()
            try:
                for setting in _NOTICED:
                    connection.exec_driver_sql(f"SET {setting}")
                kind = "_shared" if self._shared else ""
                free = bool(connection.scalar(sa.text(f"SELECT pg_try_advisory_lock{kind}({ADVISORY})")))
                if free and self._joined:
                    free = self._try(connection, WORKER, self._number)
                if free:
                    self._mine = {duty for duty in self._mine if self._try(connection, WORK, duty)}
            except BaseException:
                connection.close()
                raise
            if not free:
                connection.close()
                return False
            self._connection = connection
            return True

    def join(self) -> None:
        """Be one of the workers from now on."""
        with self._asked() as connection:
            self._joined = self._try(connection, WORKER, self._number)

    def keep(self) -> bool:
        """Say whether the locks are held; where the connection broke, take up again what nobody has taken since."""
        with self._lock:
            try:
                if self._connection is not None:
                    self._connection.execute(sa.text("SELECT 1"))
                    return True
            except SQLAlchemyError:
                with suppress(SQLAlchemyError):
                    self._connection.invalidate()  # type: ignore[union-attr]
                self._connection = None
            if self._released:  # whoever still asks gets no connection that nobody would close
                return False
            had = set(self._mine)
            try:
                return self.begin() and had == self._mine
            except SQLAlchemyError:
                return False

    def take(self, duty: Duty) -> bool:
        with self._asked() as connection:
            free = duty not in self._mine and self._try(connection, WORK, duty)
            if free:
                self._mine.add(duty)
            return free

    def drop(self, duty: Duty) -> None:
        with self._lock:
            self._mine.discard(duty)
            with suppress(SQLAlchemyError):  # where the connection is gone, the lock is as well
                if self._connection is not None:
                    self._connection.execute(sa.select(sa.func.pg_advisory_unlock(WORK, int(duty))))

    def holds(self, duty: Duty) -> bool:
        with self._lock:
            return self._connection is not None and duty in self._mine

    def is_taken(self, duty: Duty) -> bool:
        with self._asked() as connection:
            return int(duty) in {number for number, _ in held(connection, WORK)}

    def workers(self) -> set[int]:
        with self._asked() as connection:
            return {number for number, _ in held(connection, WORKER)}

    def release(self) -> None:
        with self._lock:
            self._released = True
            if self._connection is not None:
                with suppress(SQLAlchemyError):
                    self._connection.close()
            self._engine.dispose()
            self._connection = None

    @contextmanager
    def _asked(self) -> Iterator[sa.Connection]:
        """Give the connection, made anew where it is missing."""
        with self._lock:
            if self._connection is None and not self.keep():
                raise SQLAlchemyError("the locks of this worker are not held just now")
            assert self._connection is not None
            yield self._connection

    @staticmethod
    def _try(connection: sa.Connection, kind: int, number: int) -> bool:
        return bool(connection.scalar(sa.select(sa.func.pg_try_advisory_lock(kind, int(number)))))


def held(connection: sa.Connection, kind: int) -> list[tuple[int, int]]:
    """Return the locks of a kind that are held on this database: their number, and the process of the server."""
    wanted = sa.text(
        "SELECT objid::bigint, pid FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 2 AND granted"
        " AND classid::bigint = :kind AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
    )
    return [(int(number), int(pid)) for number, pid in connection.execute(wanted, {"kind": kind})]


def workers_of(connection: sa.Connection) -> list[Worker]:
    """Return the workers at a PostgreSQL database, the one that leads first."""
    leading = {pid for number, pid in held(connection, WORK) if number == Duty.LEAD}
    named = sa.text("SELECT pid, application_name FROM pg_stat_activity")
    places = {int(pid): str(name).removeprefix(_NAME) for pid, name in connection.execute(named)}
    found = [Worker(number, places.get(pid, ""), pid in leading) for number, pid in held(connection, WORKER)]
    return sorted(found, key=lambda one: (not one.leads, one.place, one.number))
