"""One visit of a plan of the second format moved by hand, with its second crew, loads, rests and weekly minutes.

Where the rules leave the visit a place there, it gets the cheapest, with the cheapest start of its second crew. Where
they do not, as few as can be are thought away until there is one: the auditor then says which it breaks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from msgspec import structs

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.plans import NOT_ASKED
from scheduler.engine.model.starts import NEVER_BEGUN
from scheduler.engine.placing.slots import Slots
from scheduler.engine.waiting.loosened import (
    FOLLOWS,
    HELPERS,
    KIT,
    PARTS,
    SECOND_CREW,
    SKILLS,
    TOOLS,
    VAN,
    WINDOWS,
    YARD,
    loosened,
)
from scheduler.plan import Plan, Route, Route2, Skipped, Stop2, loading_for_some
from scheduler.reports.promises import stated_plan
from scheduler.week import Crew, Job, Shift, Week, Window

NEVER_CENTS = 10**9  # of an hour outside a work window: more than a plan costs, so that such hours are the last resort
_LATE_MIN = 1440  # how much longer a day may be for a move that the rules do not allow
_NO_SHIFT = (480, 960)  # hours of a crew that does not work that day: the auditor refuses the route anyway
_SHARED = frozenset({KIT, SKILLS, YARD, VAN, HELPERS, TOOLS, PARTS, FOLLOWS})


class To(NamedTuple):
    """Where a visit is to go; `start`, `position`: None for the cheapest. Positions count stops, reloads left out."""

    crew: str
    day: int
    start: int | None
    position: int | None


def taken_out(week: Week, plan: Plan, job: str, starts: Mapping[str, int]) -> tuple[Route, ...]:
    """Return the routes of the plan without the job and its assist; `starts`: of visits that keep theirs."""
    model = build(week)
    made = Slots(model, plan, model.number[job], _keeping(model, plan, starts)).plan_without()
    return made.routes if made is not None else tuple(_dropped(plan, job))


def put(week: Week, plan: Plan, job: str, to: To, starts: Mapping[str, int]) -> tuple[Route, ...]:
    """Return the routes of the plan with the job there, where it breaks least and costs least.

    Every other visit keeps its crew, day and place in the order, and where two crews meet their minute; routes that the
    move does not touch stay as they are. starts: of visits that keep theirs.
    """
    for loose in _looser(week, plan, job, to):
        model = build(loose)
        k = model.crew_day.get((to.crew, to.day))
        if k is None or any((r.crew, r.day) not in model.crew_day for r in plan.routes):
            continue
        kept = _keeping(model, plan, starts)
        if to.start is not None and not _hold(kept, k, model.number[job], to.start):
            continue
        j = model.number[job]
        alone = week.jobs[j].assist is not None and loose.jobs[j].assist is None
        now = _without(week, plan, job, starts) if alone else plan  # its second crew has no stop in such a week
        slots = Slots(model, now, j, kept)
        if found := slots.cheapest(1, {k: to.position}):
            return slots.plan_with(found[0]).routes
    return tuple(_as_asked(week, plan, job, to))


def _without(week: Week, plan: Plan, job: str, starts: Mapping[str, int]) -> Plan:
    skipped = (*plan.skipped, *(Skipped(job, NOT_ASKED) for r in plan.routes for s in r.jobs if s.job == job))
    return stated_plan(week, plan.engine, taken_out(week, plan, job, starts), skipped)


def _keeping(model: Model, plan: Plan, starts: Mapping[str, int]) -> Model:
    """Return the model in which the jobs of `starts` begin then, where they stand in the plan."""
    kept = replace(model, opt_lo=model.opt_lo.copy(), opt_hi=model.opt_hi.copy())
    for route in plan.routes:
        for stop in route.jobs:
            if stop.job in starts and (route.crew, route.day) in model.crew_day:
                _hold(kept, model.crew_day[route.crew, route.day], model.number[stop.job], starts[stop.job])
    return kept


def _hold(model: Model, k: int, j: int, start: int) -> bool:
    """Leave to job j on crew day k that start alone, and say whether it has it."""
    mine = model.options_of(k, j)
    lo, hi = model.opt_lo[mine], model.opt_hi[mine]
    held = (lo <= start) & (start <= hi)
    lo[:] = start
    hi[:] = np.where(held, start, NEVER_BEGUN)
    return bool(held.any())


def _looser(week: Week, plan: Plan, job: str, to: To) -> Iterator[Week]:
    """Yield the week, then with more and more of its rules thought away for this move."""
    one = frozenset({job})
    yield week
    shared = _working(loosened(week, _SHARED, one), to)
    yield shared
    yield loosened(shared, {WINDOWS}, one)
    here = frozenset({job}) | {
        s.job for r in plan.routes if (r.crew, r.day) == (to.crew, to.day) for s in r.stops if s.job
    }
    last = 1440 + _LATE_MIN

    def anywhen(j: Job) -> Job:
        return structs.replace(j, windows=(*j.windows, Window(to.day, 0, last, NEVER_CENTS))) if j.id in here else j

    def longer(c: Crew) -> Crew:
        shifts = (
            structs.replace(s, start=0, overtime=s.overtime + _LATE_MIN) if s.day == to.day else s for s in c.shifts
        )
        return structs.replace(c, shifts=tuple(shifts)) if c.id == to.crew else c

    open_week = structs.replace(shared, jobs=tuple(map(anywhen, shared.jobs)))
    yield open_week
    yield (late := structs.replace(open_week, crews=tuple(map(longer, open_week.crews))))
    yield loosened(late, {SECOND_CREW}, one)


def _working(week: Week, to: To) -> Week:
    """Return the week with the crew at work that day."""
    more = Shift(to.day, *_NO_SHIFT, 0)
    return structs.replace(
        week,
        crews=tuple(
            structs.replace(c, shifts=(*c.shifts, more))
            if c.id == to.crew and all(s.day != to.day for s in c.shifts)
            else c
            for c in week.crews
        ),
    )


def _dropped(plan: Plan, job: str) -> Iterator[Route]:
    """Yield the routes with the stops of the job cut out and all other times as they are."""
    for route in plan.routes:
        kept = [stop for stop in route.stops if job not in (stop.job, stop.assist)]
        if len(kept) == len(route.stops):
            yield route
            continue
        if stops := loading_for_some(kept):
            yield structs.replace(route, stops=stops)


def _as_asked(week: Week, plan: Plan, job: str, to: To) -> Iterator[Route]:
    """Yield the routes with the job just where it is asked for, whatever stands there, and no second crew."""
    one = next(j for j in week.jobs if j.id == job)
    crew = next(c for c in week.crews if c.id == to.crew)
    rest = list(_dropped(plan, job))
    here = next((r for r in rest if (r.crew, r.day) == (to.crew, to.day)), None)
    shift = next((s for s in crew.shifts if s.day == to.day), Shift(to.day, *_NO_SHIFT, 0))
    stops = [] if here is None else list(here.stops)
    place = {p.id: n for n, p in enumerate(week.places)}
    home = next(place[y.place] for y in week.yards if y.id == crew.yard)
    there, minutes = place[one.place], week.travel.minutes
    if to.position is not None:
        others = [n for n, stop in enumerate(stops) if not stop.reload]
        at = others[to.position] if to.position < len(others) else len(stops)
    elif to.start is not None:
        at = sum(1 for stop in stops if stop.start < to.start)
    else:
        at = len(stops)
    earliest = stops[at - 1].end if at else shift.start + minutes[home][there]
    start = to.start if to.start is not None else earliest
    mine = Stop2(job=job, start=start, end=start + one.minutes)
    made: tuple[Any, ...] = (*stops[:at], mine, *stops[at:])
    depart = min(start - minutes[home][there], here.depart if here is not None else start - minutes[home][there])
    back = max(start + one.minutes + minutes[there][home], here.back if here is not None else 0)
    helpers = max(0, one.hands - crew.hands, here.helpers if here is not None else 0)
    yield from (r for r in rest if r is not here)
    yield Route2(to.crew, to.day, max(0, depart), back, helpers, here.rest if here is not None else None, made)
