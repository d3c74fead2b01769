"""Why a firm or day booking is not kept: what forbids it, or what keeping it would cost."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import time_route
from scheduler.engine.reasons.opened import WINDOW, Opened
from scheduler.engine.reasons.sentences import Told, amount, plain
from scheduler.engine.reasons.ways import Plans, Way, look, ways
from scheduler.price import Visit
from scheduler.promises import broken_promises, promised
from scheduler.week import Booking, clock_time, crew_name, day_name

Routes = Mapping[int, Sequence[int]]


def broken_by(model: Model, routes: Routes) -> list[int]:
    """Return the jobs whose firm or day booking the plan does not keep, in the week's order."""
    week, done = model.week, dict[str, Visit]()
    at_stake = {model.number[job.id] for job in promised(week)}
    for k, jobs in routes.items():
        if at_stake.isdisjoint(jobs) or (times := time_route(model, k, list(jobs))) is None:
            continue
        crew, day = week.crews[int(model.crew_of[k])].id, int(model.day_of[k])
        for j, start in zip(jobs, times.starts, strict=True):
            done[week.jobs[j].id] = Visit(crew, day, start, start + week.jobs[j].minutes)
    return [model.number[name] for name in broken_promises(week, done)]


def why_broken(model: Model, plans: Plans, j: int) -> str:
    """Return in one sentence why the firm or day booking of job j is not kept.

    It is looked for on the promised day (firm: with the crew, at the time), the rest of the plan as it is.
    """
    week, job = model.week, model.week.jobs[j]
    booked = job.booked
    if booked is None:
        raise ValueError(f"{job.id} has no booking")
    day = day_name(week, booked.day)
    if booked.hold == "firm":
        who = crew_name(week, booked.crew)
        name = f"The firm booking of {job.id} ({who} on {day}, {clock_time(booked.start)})"
    else:
        name = f"The booking of {job.id} for {day}"
    return f"{name} is not kept: {'; '.join(_why(model, plans, j, booked, day))}."


def _why(model: Model, plans: Plans, j: int, booked: Booking, day: str) -> Iterator[str]:
    week = model.week
    crews = [crew for crew in week.crews if any(s.day == booked.day for s in crew.shifts)]
    if booked.hold == "firm" and all(crew.id != booked.crew for crew in crews):
        yield f"{crew_name(week, booked.crew)} does not work on {day}"
        return
    if not crews:
        yield "no crew works that day"
        return
    routes = {at: kept for at, jobs in plans.routes.items() if (kept := [x for x in jobs if x != j])}
    firm = booked.hold == "firm"

    @cache
    def loose(rules: int) -> Opened:
        costs = loose(0).cost_by_route() if rules else None
        if rules & WINDOW:
            opened = Opened(week, routes, [j], rules, [j], costs)
        else:
            opened = (plans.loose(rules) if rules else plans.base).without(j, costs)
        return opened.only_at(j, days(opened), booked.start) if firm else opened

    def days(opened: Opened) -> Collection[int]:
        found = [k for k in range(len(opened.crew_of)) if opened.model.crew_days[k].day == booked.day]
        if not firm:
            return found
        mine = [k for k in found if opened.crew_of[k].id == booked.crew]
        return opened.holding(j, mine, booked.start)

    worth = _worth(plans, loose(0), j)
    found = ways(loose, j, worth, look(loose(0), j, worth, days), days)
    if not found:
        yield f"it fits into no crew's day on {day}, four hours longer and at any hour"
        return
    way = found[0]
    told = Told(j, way, booked.start if firm else None)
    facts = [plain(fact) for _, fact in told.facts()]
    yield from facts
    if facts:
        yield told.could_be_kept()
    yield from _price(told, way)


def _worth(plans: Plans, without: Opened, j: int) -> int:
    """Return what the plan as it is costs more than without job j, its own place's cost and price counted."""
    skip = int(without.arrays.skip[j])
    at = next((at for at, jobs in plans.routes.items() if j in jobs), None)
    if at is None:
        return skip
    kept = without.cost_by_route().get(at, 0)
    return plans.base.cost_by_route()[at] - kept


def _price(told: Told, way: Way) -> Iterator[str]:
    extra, others = way.place.extra, told.out()
    more = f"keeping it costs {amount(extra)} more"
    if extra >= 0 and others:
        yield f"no room: it would push out {others}, and {more}"
    elif extra >= 0:
        yield f"{more} than changing it ({told.where})"
    elif not way.place.hindered:
        yield f"it could be kept and {amount(-extra)} saved; the search was stopped before: plan again with more time"
