"""What workers tell each other, by LISTEN and NOTIFY of PostgreSQL.

The database itself tells of rows that have come (triggers, so whoever wrote them), as soon as they can be read by all;
`tell` adds what stands in no table. A message is never the only word of anything that must not be lost: it wakes those
who look anyway. Where one process works alone there is nobody to hear.
"""

from __future__ import annotations

import logging
import threading
import weakref
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from api.workers.bell import Bell

CHANNEL = "eaveboard"
CHANGED, RUN = "changed", "run"  # what the triggers tell: something new is on record; a run, by its number
HEAR_S, AGAIN_S = 1.0, 1.0  # between two looks whether it is to end; after a connection that broke
LONGEST = 7000  # bytes of one message; the server takes 7999
_by_database: weakref.WeakKeyDictionary[sa.Engine, Signals] = weakref.WeakKeyDictionary()
_log = logging.getLogger("eaveboard")


class Signals:
    """Hears what is told on a database, and tells. number: of this worker, whose own messages it does not hear.

    `changes` grows with everything that came on record, `bell` rings then.
    """

    def __init__(self, database: sa.Engine, number: int) -> None:
        self._database, self._number = database, number
        self._server = database.dialect.name == "postgresql"
        self._do: dict[str, Callable[[str], None]] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="signals", daemon=True)
        self.changes, self.bell = 0, Bell()
        _by_database[database] = self

    def on(self, what: str, do: Callable[[str], None]) -> None:
        """Have `do` called with the words of each message of a kind, and with none where some may have been missed."""
        self._do[what] = do

    def tell(self, what: str, words: str) -> None:
        """Tell the other workers; where the database is away, or the words are too long, they hear nothing."""
        if not self._server or len(words.encode()) > LONGEST:
            return
        try:
            with self._database.begin() as connection:
                connection.execute(sa.select(sa.func.pg_notify(CHANNEL, f"{what} {self._number} {words}")))
        except SQLAlchemyError as fault:
            _log.warning("the other workers could not be told: %s", fault)

    def start(self) -> None:
        if self._server:
            self._thread.start()

    def close(self) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(2 * HEAR_S)

    def _run(self) -> None:
        engine = sa.create_engine(self._database.url, poolclass=sa.NullPool, isolation_level="AUTOCOMMIT")
        while not self._stop.is_set():
            try:
                with engine.connect() as connection:
                    driver: Any = connection.connection.driver_connection
                    connection.exec_driver_sql(f"LISTEN {CHANNEL}")
                    self._missed()
                    while not self._stop.is_set():
                        for one in driver.notifies(timeout=HEAR_S, stop_after=1):
                            self._heard(one.payload)
            except (SQLAlchemyError, engine.dialect.loaded_dbapi.Error) as fault:
                _log.warning("what other workers tell cannot be heard just now: %s", fault)
                self._stop.wait(AGAIN_S)

    def _heard(self, payload: str) -> None:
        what, _, words = payload.partition(" ")
        if what == CHANGED:
            self.changes += 1
            self.bell.ring()
            return
        if what != RUN:
            number, _, words = words.partition(" ")
            if number == str(self._number):
                return
        self._call(what, words)

    def _missed(self) -> None:
        self.changes += 1
        self.bell.ring()
        for what in self._do:
            self._call(what, "")

    def _call(self, what: str, words: str) -> None:
        try:
            if what in self._do:
                self._do[what](words)
        except SQLAlchemyError as fault:  # whoever looks by themselves finds the same later
            _log.warning("what another worker told could not be looked up: %s", fault)


def changes_heard(database: sa.Engine) -> int:
    """Return what grows whenever something comes on record, as far as it is heard of here; 0 where nobody listens."""
    signals = _by_database.get(database)
    return 0 if signals is None else signals.changes
