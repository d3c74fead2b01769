"""A planner that does not search: it puts one visit with its second crew where that costs least."""

from __future__ import annotations

from collections.abc import Sequence

from api.week.run.planning import Planner, planned
from scheduler import offer
from scheduler.plan import Plan, Route
from scheduler.week import Week


def planner_for(routes: Sequence[Route], visit: str) -> Planner:
    """Return what plans the visit, and one crew's day of `routes` that has nothing to do with it."""

    def planner(week: Week, *, seconds: float, report: object = None) -> Plan:
        made = offer(week, planned(week, ()), visit, best=1)[0].plan
        days, tied = {route.day for route in made.routes}, {visit}
        for follow in week.follows:
            tied |= {follow.first, follow.then}
        others = [r for r in routes if r.day not in days and not tied & {stop.job for stop in r.jobs}]
        met = {route.crew for route in made.routes}
        return planned(week, (*made.routes, *[r for r in others if r.crew not in met][:1]))

    return planner
