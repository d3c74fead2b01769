"""What is short at a place, counted whole: parts, ladders, helpers, the van's load, minutes of the crew's day."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import permutations
from typing import Any

import numpy as np

from scheduler.engine.local_search.route_cost import NEVER, route_cost
from scheduler.engine.local_search.state import parted
from scheduler.engine.model.arrays import FAR, Model
from scheduler.engine.model.timing import time_route
from scheduler.engine.reasons.opened import (
    EARLIER_MIN,
    HOURS,
    KIT,
    LATER_MIN,
    REST,
    SKILL,
    VAN,
    WINDOW,
    YARD,
    OpenedPlan,
    Opening,
    helper_cents,
)
from scheduler.engine.reasons.remedies import (
    AtYard,
    BetterVan,
    Free,
    KitBy,
    LongerDay,
    NoRest,
    OpenHours,
    Parts,
    People,
    Skills,
    Tools,
    Undo,
)
from scheduler.engine.reasons.room import FOLLOW, HELPER, LADDER, LOAD, STOCK, in_order
from scheduler.week import Crew, Shift

_MOST_PERMUTED = 4  # stops of which every order is tried for the fewest minutes
Routes = Mapping[int, Sequence[int]]


def undo_of(
    opened: OpenedPlan, j: int, worth: int, place: Opening, order: list[int]
) -> tuple[Opening, tuple[Undo, ...]]:
    """Return all that stands in the way of job j at `place`, and the place with what it costs once that is undone.

    The rest of the plan stays as it is, less the jobs that the place displaces.
    """
    k, bits, crew = place.k, place.hindered, opened.crew_of[place.k]
    day, job = opened.model.crew_days[place.k].day, opened.week.jobs[j]
    routes = {x: [i for i in jobs if i not in place.out] for x, jobs in opened.routes.items()}
    routes[k] = order
    found: list[Undo] = []
    if bits & KIT:
        found.append(KitBy(day))
    if bits & SKILL:
        found.append(Skills(crew.id, tuple(s for s in dict.fromkeys(job.skills) if s not in crew.skills_on(day))))
    if bits & (VAN | LOAD):
        found.append(_van(opened, crew, order))
    if bits & YARD:
        found.append(AtYard(crew.yard))
    if bits & HELPER:
        found += helpers_short(opened, routes, k)
    if bits & LADDER:
        found += tools_short(opened, routes, k)
    if bits & STOCK:
        found += parts_short(opened, routes, k, j)
    if bits & FOLLOW:
        found.append(Free(_kept_by(opened, routes, k, j, order)))
    if bits & REST:
        found.append(NoRest(crew.id, day))
    model = opened.model
    if bits & HOURS:
        hours, order, model = _hours(opened, j, place, order)
        found.append(hours)
    if bits & (HOURS | WINDOW):
        times = time_route(model, k, order)
        if times is None:
            raise ValueError(f"{job.id} does not fit where it was said to")
        if bits & WINDOW:
            start = times.starts[order.index(j)]
            found.append(OpenHours(day, start, start + max(1, job.minutes)))
        freed = sum(int(opened.arrays.skip[x]) for x in place.out)
        place = place._replace(extra=times.cost - int(opened.state.cost[k]) + freed - worth)
    return place, tuple(found)


def parts_short(opened: OpenedPlan, routes: Routes, k: int, j: int) -> Iterator[Parts]:
    """Yield what the shelf is short of, arrivals counted, so that these routes can go; of parts that job j needs."""
    model = opened.model
    yard, day = int(model.yard_of[k]), int(model.day_of[k])
    for q in np.nonzero(model.uses[j])[0].tolist():
        worst = 0
        for d in range(day, model.week.days):
            taken = sum(
                int(model.uses[i, q])
                for x, jobs in routes.items()
                if model.yard_of[x] == yard and model.day_of[x] <= d
                for i in jobs
            )
            worst = max(worst, taken - int(model.stock_cap[yard, q, d]))
        if worst > 0:
            yield Parts(model.stock_items[q], opened.crew_of[k].yard, day, worst)


def tools_short(opened: OpenedPlan, routes: Routes, k: int) -> Iterator[Tools]:
    """Yield the ladders and tools of which the yard has too few that day for these routes."""
    model = opened.model
    same = [
        x for x in routes if routes[x] and model.yard_of[x] == model.yard_of[k] and model.day_of[x] == model.day_of[k]
    ]
    for i, item in enumerate(model.items):
        taken = sum(max(0, max(int(model.need[j, i]) for j in routes[x]) - int(model.onboard[x, i])) for x in same)
        short = taken - int(model.pool_cap[model.pool_row[k, i]])
        if short > 0:
            yield Tools(item, opened.crew_of[k].yard, int(model.day_of[k]), short)


def helpers_short(opened: OpenedPlan, routes: Routes, k: int) -> Iterator[People]:
    """Yield how many helpers more these routes need at the yard that day."""
    model = opened.model
    same = [
        x for x in routes if routes[x] and model.yard_of[x] == model.yard_of[k] and model.day_of[x] == model.day_of[k]
    ]
    short = sum(model.helpers_for(x, routes[x]) for x in same) - int(model.helper_cap[model.helper_row[k]])
    if short > 0:
        yard = opened.crew_of[k].yard
        yield People(yard, int(model.day_of[k]), short, helper_cents(opened.week, yard))


def _kept_by(opened: OpenedPlan, routes: Routes, k: int, j: int, order: list[int]) -> tuple[tuple[str, str], ...]:
    """Return the follows of job j that these routes do not keep."""
    model, found = opened.model, list[tuple[str, str]]()
    at = {i: x for x, jobs in routes.items() for i in jobs}
    for f, (first, then, *_) in enumerate(model.follow.tolist()):
        if j not in (first, then):
            continue
        if first not in at or then not in at:
            broken = then == j  # one that follows job j and waits is no matter
        elif parted(model.follow, model.day_of, model.crew_of, f, at[first], at[then]):
            broken = True
        else:
            broken = at[first] == at[then] == k and order.index(first) > order.index(then)
        if broken:
            found.append((opened.week.jobs[first].id, opened.week.jobs[then].id))
    return tuple(found)


def _van(opened: OpenedPlan, crew: Crew, order: list[int]) -> BetterVan:
    jobs, van = [opened.week.jobs[i] for i in order], crew.vehicle
    return BetterVan(
        crew.id,
        max(van.payload_kg, sum(job.weight_kg for job in jobs)),
        max(van.rack_mm, *(job.box_mm if job.boxes else 0 for job in jobs)),
        max(van.boxes, sum(job.boxes for job in jobs)),
    )


def _hours(opened: OpenedPlan, j: int, place: Opening, order: list[int]) -> tuple[LongerDay, list[int], Model]:
    """Return the fewest minutes by which the crew's day has to be longer, the order of stops, and the model of that."""
    k = place.k
    crew = opened.crew_of[k]
    shift = next(s for s in crew.shifts if s.day == opened.model.crew_days[k].day)
    orders = [order]
    if len(order) <= _MOST_PERMUTED:
        free = j if place.hindered & FOLLOW else -1
        every = (list(p) for p in permutations(sorted(order)))
        orders = [p for p in every if in_order(opened.arrays.follow, np.array(p, np.int64), len(p), free)]
    best: tuple[int, int, int, list[int]] | None = None
    for trial in orders:

        def fits(earlier: int, later: int, trial: list[int] = trial) -> bool:
            return _cost(opened, k, shift, earlier, later, trial) < NEVER

        most = min(EARLIER_MIN, shift.start)
        if fits(0, LATER_MIN):
            need = 0, _least(lambda x: fits(0, x), LATER_MIN)
        elif fits(most, 0):
            need = _least(lambda x: fits(x, 0), most), 0
        elif fits(most, LATER_MIN):
            earlier = _least(lambda x: fits(x, LATER_MIN), most)
            need = earlier, _least(lambda x, e=earlier: fits(e, x), LATER_MIN)  # type: ignore[misc]
        else:
            continue
        if best is None or (sum(need), *need, trial) < best:
            best = (sum(need), *need, trial)
    if best is None:
        raise ValueError("the day is too short even so")
    _, earlier, later, order = best
    return LongerDay(crew.id, shift.day, earlier, later), order, _of_day(opened, k, shift, earlier, later)


def _least(enough: Callable[[int], bool], most: int) -> int:
    """Return the least number that is enough, at most `most`, which is; more than enough is enough."""
    low, high = 0, most
    while low < high:
        middle = (low + high) // 2
        if enough(middle):
            high = middle
        else:
            low = middle + 1
    return low


def _cost(opened: OpenedPlan, k: int, shift: Shift, earlier: int, later: int, order: list[int]) -> int:
    w: Any = opened.arrays
    start, latest, rest = (x.copy() for x in (w.start, w.latest, w.rest))
    start[k], latest[k] = shift.start - earlier, shift.end + shift.overtime + later
    rest[k] = _rest(opened, int(latest[k] - start[k]))
    helpers = opened.model.helpers_for(k, order)
    day = w._replace(start=start, latest=latest, rest=rest)
    return int(route_cost(day, k, np.array(order, np.int64), len(order), helpers))


def _of_day(opened: OpenedPlan, k: int, shift: Shift, earlier: int, later: int) -> Model:
    model = opened.model
    start, latest, rest = (x.copy() for x in (model.start, model.latest, model.rest))
    start[k], latest[k] = shift.start - earlier, shift.end + shift.overtime + later
    rest[k] = _rest(opened, int(latest[k] - start[k]))
    return dataclasses.replace(model, start=start, latest=latest, rest=rest)


def _rest(opened: OpenedPlan, minutes: int) -> tuple[int, int, int, int]:
    rule = None if opened.loose & REST else opened.week.rest
    if rule is None or minutes <= rule.after:
        return FAR, FAR, FAR, FAR
    return rule.after, rule.length, rule.earliest, rule.latest
