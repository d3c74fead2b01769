"""Sealing while the service runs: rows are in the chain within a second or two of being written."""

from __future__ import annotations

import datetime
import logging
import threading
from collections.abc import Callable

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from api import tables
from api.chain.links import Broken, broken, seal
from api.database import transaction

LOOK_S = 1.0  # between two looks whether something was written
NEWEST = 2000  # links looked at when the service starts
_log = logging.getLogger("eaveboard")


class ChainKeeper:
    """Checks the newest links of a database at its start, and seals what is written while it runs.

    `found` is what was wrong at the start.
    """

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._work, name="chain", daemon=True)
        self.found: list[Broken] = []

    def start(self) -> None:
        with transaction(self._database) as session:
            self.found = list(broken(session, newest=NEWEST))
        for one in self.found:
            _log.error("the chain is broken: %s; see eaveboard doctor", one.words)
        self._thread.start()

    def close(self) -> None:
        """Seal what is left, and end."""
        self._end.set()
        self._thread.join()

    def _work(self) -> None:
        seen, whole = None, True
        while True:
            last = self._end.wait(0 if whole else LOOK_S)
            try:
                with transaction(self._database) as session:
                    now = session.execute(sa.select(sa.func.max(tables.History.id))).scalar()
                if now != seen or whole or last:  # every change leaves a line in the history
                    while True:
                        with transaction(self._database) as session:
                            if not seal(session, self._clock(), whole=whole):
                                break
                    seen, whole = now, False
            except SQLAlchemyError as fault:  # the next look finds what this one has left
                _log.warning("rows cannot be sealed just now: %s", fault)
            if last:
                return
