"""The visits of yearly services made while the service runs."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import sqlalchemy as sa

from api import tables
from api.database import transaction
from api.workers.lookout import Lookout
from api.yearly.making import make_due

LOOK_S = 600.0  # so that a service that was off at night, or a rule made by day, is not a day late


class YearlyKeeper:
    """Looks every few minutes, which visits are to be made."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        # Not at once: a start is for the pages.
        self.lookout = Lookout("yearly", self.look, every_s=LOOK_S, failed="yearly services could not be made")

    def look(self) -> list[str]:
        """Make what is due, and return the numbers of the visits made."""
        with transaction(self._database) as session:
            if session.get(tables.Business, 1) is None:
                return []
            return [visit.id for visit in make_due(session, self._clock())]
