"""The plan of the horizon made anew every night, by itself, and where others ride together for it since."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import select

from api import tables
from api.database import transaction
from api.http.problems import Problem
from api.week.horizon.keeping import NIGHTLY, newest, turned
from api.week.horizon.start import start_horizon
from api.week.run.runs import Runs
from api.workers.lookout import Lookout
from scheduler.errors import BadInput

LOOK_S = 60.0  # between two looks whether a night has passed
NIGHT = datetime.time(2, 0)  # by the clock at the yards: when the day's work is noted and nobody plans
SECONDS = 120.0
AGAIN = datetime.timedelta(minutes=15)  # after a run that left no plan
_log = logging.getLogger("eaveboard")


class HorizonKeeper:
    """Has the horizon planned once after every `NIGHT`, where a business plans weeks at all."""

    def __init__(self, database: sa.Engine, runs: Runs, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._runs, self._clock = database, runs, clock
        self._asked_at: datetime.datetime | None = None
        self.lookout = Lookout("horizon", self.look, every_s=LOOK_S, failed="the weeks ahead could not be planned")

    def look(self) -> tables.PlanRun | None:
        """Begin a run where one is due, and return it."""
        now = self._clock()
        if not self._due(now):
            return None
        self._asked_at = now
        try:
            return start_horizon(self._database, self._runs, seconds=SECONDS, now=now, by=NIGHTLY)
        except Problem:  # somebody has asked for one at this moment
            return None
        except BadInput as fault:
            _log.error("the weeks ahead cannot be planned: %s", fault)
            return None

    def _due(self, now: datetime.datetime) -> bool:
        with transaction(self._database) as session:
            business = session.get(tables.Business, 1)
            plan = newest(session)
            posted = session.exec(select(tables.PostedWeek.id).limit(1)).first()
            paired = turned(session)
        if business is None or (plan is None and posted is None):
            return False
        asked = self._asked_at
        if asked is not None and abs(now - asked) < AGAIN and (plan is None or plan.made_at < asked):
            return False
        local = now.astimezone(ZoneInfo(business.timezone))
        night = datetime.datetime.combine(local.date(), NIGHT, local.tzinfo)
        if local < night:
            night -= datetime.timedelta(days=1)
        if plan is None or plan.made_at < night:
            return True
        return plan.made_by == NIGHTLY and paired is not None and plan.made_at < paired.made_at
