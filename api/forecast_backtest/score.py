"""What the weather that came took from a plan."""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import dataclass

from api.forecast_backtest.invent import Ask
from api.forecast_backtest.observations import TIMEZONE, Station
from scheduler.plan import Plan
from scheduler.weather.forecast import HOUR
from scheduler.weather.limits import LimitTable, limits_for
from scheduler.weather.local_day import local_day
from scheduler.weather.lost import hour_blocks


@dataclass(frozen=True)
class Score:
    """Of one plan: visits planned, lost and of unknown fate, jobs left waiting; cents planned and lost."""

    planned: int
    lost: int
    unknown: int
    waiting: int
    road_cents: int
    waiting_cents: int
    risk_cents: int
    lost_cents: int

    @property
    def planned_cents(self) -> int:
        """Cost of the plan as such: the road and what is left waiting, without the price of risk."""
        return self.road_cents + self.waiting_cents


def visit_hours(station: Station, day: datetime.date, start: int, end: int) -> range:
    """Return the indices of the hours that minutes `start` to `end` of a local day touch."""
    midnight = local_day(day, zoneinfo.ZoneInfo(TIMEZONE)).midnight
    first = (midnight + datetime.timedelta(minutes=start) - station.start) // HOUR
    last = (midnight + datetime.timedelta(minutes=end - 1) - station.start) // HOUR
    return range(first, last + 1)


def is_lost(ask: Ask, station: Station, hours: range, limits: LimitTable) -> bool | None:
    """Say whether an hour that came breaks a limit of the job; None where none does but some were not recorded."""
    own = limits_for(limits, ask.work)
    came = [station.hour(n) for n in hours]
    if any(hour is not None and hour_blocks(hour, 0, own) for hour in came):
        return True
    return None if any(hour is None for hour in came) else False


def score(plan: Plan, found: list[Ask], stations: list[Station], monday: datetime.date, limits: LimitTable) -> Score:
    """Return the score of `plan` for the week that began on `monday`."""
    by_id = {ask.id: ask for ask in found}
    planned = lost = unknown = lost_cents = 0
    for route in plan.routes:
        for stop in route.stops:
            ask = by_id[stop.job]
            station = stations[ask.station]
            hours = visit_hours(station, monday + datetime.timedelta(days=route.day), stop.start, stop.end)
            fate = is_lost(ask, station, hours, limits)
            planned += 1
            lost += fate is True
            unknown += fate is None
            lost_cents += ask.visit_cents if fate else 0
    cost = plan.cost
    road = cost.total - cost.risk - cost.skipped
    return Score(planned, lost, unknown, len(plan.skipped), road, cost.skipped, cost.risk, lost_cents)
