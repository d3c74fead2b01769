"""Fitting every night while the service runs."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable

import sqlalchemy as sa

from api import tables
from api.database import transaction
from api.learning.fitting import BY, fit_now, newest
from api.workers.lookout import Lookout

LOOK_S = 600.0
AT_HOUR = 2  # of the business's own clock: crews have noted their day, and nobody plans


def is_due(now: datetime.datetime, last: datetime.datetime | None, zone: str) -> bool:
    """Say whether the fit of this night is still to come: it is past two, and nothing was fitted since."""
    local = now.astimezone(zoneinfo.ZoneInfo(zone))
    night = local.replace(hour=AT_HOUR, minute=0, second=0, microsecond=0)
    if local < night:
        night -= datetime.timedelta(days=1)
    return last is None or last < night


class LearningKeeper:
    """Fits once a night; a service that was off at night does so when it is on again."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self._looked: datetime.datetime | None = None
        # Not at once: a start is for the pages.
        self.lookout = Lookout("learning", self.look, every_s=LOOK_S, failed="task times could not be fitted")

    def look(self) -> bool:
        """Fit if this night's fit is due; say whether it was."""
        now = self._clock()
        with transaction(self._database) as session:
            business = session.get(tables.Business, 1)
            last = newest(session)
            times = [at for at in (self._looked, last.made_at if last else None) if at is not None]
            if business is None or not is_due(now, max(times, default=None), business.timezone):
                return False
            fit_now(session, now, BY)
        self._looked = now
        return True
