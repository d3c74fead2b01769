"""A rain date that went by without its visit: whoever waited for us is written to by itself, for the office to tell."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import sqlalchemy as sa
from sqlmodel import Session

from api import tables
from api.clock import local_day
from api.database import transaction
from api.messages.rain_dates import draft_gone_by
from api.week.rain_dates import gone_by
from api.workers.lookout import Lookout

LOOK_S = 600.0  # the office finds the message in the morning, and soon where the service was off at night
BY = "rain dates"  # whoever reads the history


def write_to_them(session: Session, *, now: datetime.datetime, by: str = BY) -> list[str]:
    """Draft what customers are told whose rain date went by and who knew of it; return their visits.

    Each of them is written to once, whatever becomes of the message.
    """
    rows = gone_by(session, local_day(session, now))
    return [row.visit_id for row in rows if draft_gone_by(session, row, now=now, by=by)]


class GoneByKeeper:
    """Looks every few minutes which rain dates went by."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        # Not at once: a start is for the pages.
        self.lookout = Lookout(
            "rain dates", self.look, every_s=LOOK_S, failed="customers whose rain date went by were not written to"
        )

    def look(self) -> list[str]:
        """Write to whom it concerns, and return their visits."""
        with transaction(self._database) as session:
            if session.get(tables.Business, 1) is None:
                return []
            return write_to_them(session, now=self._clock())
