"""The visits of yearly services made while the service runs."""

from __future__ import annotations

import datetime
import logging
import threading
from collections.abc import Callable

import sqlalchemy as sa

from api import tables
from api.database import transaction
from api.yearly.making import make_due

LOOK_S = 600.0  # so that a service that was off at night, or a rule made by day, is not a day late
_log = logging.getLogger("eaveboard")


class YearlyKeeper:
    """Looks every few minutes, in a thread of its own, which visits are to be made."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="yearly", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(2)

    def look(self) -> list[str]:
        """Make what is due, and return the numbers of the visits made."""
        with transaction(self._database) as session:
            if session.get(tables.Business, 1) is None:
                return []
            return [visit.id for visit in make_due(session, self._clock())]

    def _run(self) -> None:
        while not self._stop.wait(LOOK_S):  # not at once: a start is for the pages
            try:
                self.look()
            except sa.exc.SQLAlchemyError:
                _log.exception("yearly services could not be looked through; trying again in a while")
