"""The newest plan of the horizon as it stands by today's rows: what a time is put into when it is promised."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec.structs import replace

from api.week.run.planning import planned
from scheduler import Off, Put, by_hand
from scheduler.audit import audit
from scheduler.judged import Breach
from scheduler.plan import Plan, Route, Stop, Stop2, loading_for_some
from scheduler.week import Week

_MOST_TAKEN_OFF = 400  # stops; a plan of which more does not fit is of no use


def standing(week: Week, plan: Plan, later_days: int) -> Plan:
    """Return `plan` as far as `week`, the horizon of today's rows, has it: what does not fit any more is taken off.

    later_days: how many days after the plan's own first day the week begins. What has been promised since the plan was
    made is put in where it was promised. The plan that is returned keeps every rule.
    """
    known = {job.id: job for job in week.jobs}
    days = {(crew.id, shift.day) for crew in week.crews for shift in crew.shifts}
    routes, fewer = [], list[Route]()
    kept = {s.job for route in plan.routes if (route.crew, route.day - later_days) in days for s in route.jobs}
    asks = {name for name, one in known.items() if one.assist is not None and name in kept}
    for route in plan.routes:
        day = route.day - later_days
        stops: list[Stop] = []
        for s in route.stops:
            if s.job in known:
                stops.append(Stop(s.job, s.start, s.end))
            elif s.assist in asks:
                stops.append(Stop2(assist=s.assist, start=s.start, end=s.end))
            elif s.reload and week.reload is not None and s.end - s.start == week.reload.minutes:
                stops.append(Stop2(reload=True, start=s.start, end=s.end))
        if (left := loading_for_some(stops)) and (route.crew, day) in days:
            routes.append(Route(route.crew, day, route.depart, route.back, route.helpers, route.rest, left))
            if len(left) < len(route.stops):
                fewer.append(routes[-1])
    made = planned(week, routes)
    for _ in range(_MOST_TAKEN_OFF):
        breaches = audit(week, made).broken_rules
        if not breaches:
            break
        job = _at_fault(breaches[0], made, {name: one.booked is not None for name, one in known.items()})
        made = planned(week, ()) if job is None else by_hand(week, made, Off(job)).plan
    else:
        made = planned(week, ())
    for route in fewer:
        made = _timed_anew(week, made, route)
    return _kept_promises(week, made)


def _timed_anew(week: Week, plan: Plan, route: Route) -> Plan:
    """Return the plan with a route that has lost stops in their time: no crew waits for what it no longer does."""
    now = next((r for r in plan.routes if (r.crew, r.day) == (route.crew, route.day)), None)
    if now is None or not now.jobs:
        return plan
    tried = by_hand(week, plan, Put(now.jobs[0].job, now.crew, now.day, position=0))
    return tried.plan if tried.allowed and not tried.promises and tried.change.total < 0 else plan


def _at_fault(breach: Breach, plan: Plan, told: Mapping[str, bool]) -> str | None:
    """Return which visit to take off for a broken rule: one that nobody was told of, if there is a choice."""
    on_sheet = [stop.job for route in plan.routes for stop in route.jobs]
    if breach.job in on_sheet:
        return breach.job
    here = [
        stop.job
        for route in plan.routes
        if breach.day in (None, route.day) and breach.crew in (None, route.crew)
        for stop in route.jobs
    ]
    return min(reversed(here), key=lambda job: told.get(job, False), default=None)


def _kept_promises(week: Week, plan: Plan) -> Plan:
    """Return the plan with every booked visit that it leaves out put where it was promised, if that breaks nothing."""
    on_sheet = {stop.job for route in plan.routes for stop in route.jobs}
    for job in week.jobs:
        booked = job.booked
        if booked is None or job.id in on_sheet:
            continue
        tried = by_hand(week, plan, Put(job.id, booked.crew, booked.day, booked.start))
        if tried.allowed and not tried.promises:
            plan = tried.plan
    return replace(plan, bound=None)
