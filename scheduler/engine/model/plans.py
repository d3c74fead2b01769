"""Between plan documents and routes as the engine has them: crew day -> jobs in order."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import Timed, time_route
from scheduler.plan import Because, Plan, Route, Skipped, Stop
from scheduler.price import outings, price_outings, visits
from scheduler.promises import broken_promises

ENGINE = "eaveboard 0.1"
NOT_ASKED = (Because("not_planned", "Not planned so far; the search is still under way."),)

Routes = dict[int, list[int]]


def timed(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, Timed]:
    """Return each route's best timing by crew day; raises `ValueError` where a route has none."""
    found = {}
    for k, jobs in routes.items():
        if (times := time_route(model, k, list(jobs))) is None:
            raise ValueError(f"crew day {k} cannot serve {list(jobs)}")
        found[k] = times
    return found


def plan_of(
    model: Model,
    routes: Mapping[int, Sequence[int]],
    *,
    seconds: float,
    bound: int | None,
    because: Mapping[int, tuple[Because, ...]] | None = None,
) -> Plan:
    """Return the plan that sends out `routes`, crews in the week's order, day by day.

    because: why each job left out is not planned, by number; None: that the search is still under way.
    """
    week = model.week
    made = []
    for k, times in sorted(timed(model, routes).items(), key=lambda r: (model.day_of[r[0]], model.crew_of[r[0]])):
        stops = tuple(
            Stop(week.jobs[j].id, start, start + week.jobs[j].minutes)
            for j, start in zip(routes[k], times.starts, strict=True)
        )
        crew = week.crews[int(model.crew_of[k])].id
        made.append(Route(crew, int(model.day_of[k]), times.depart, times.back, times.helpers, times.rest, stops))
    out = outings(week, made)
    done = visits(out)
    skipped = tuple(
        Skipped(job.id, (because or {}).get(n, NOT_ASKED)) for n, job in enumerate(week.jobs) if job.id not in done
    )
    cost = price_outings(week, out)
    return Plan(
        "plan/1", week.id, ENGINE, round(seconds, 3), tuple(made), skipped, broken_promises(week, done), cost, bound
    )


def routes_to_start_from(model: Model, plan: Plan) -> tuple[Routes, int]:
    """Return the plan's routes as far as this week still allows them, and the cost in cents of sending out just these.

    Jobs that the week or the crew day does not have are left out; so is a route that cannot be timed without them.
    """
    routes = Routes()
    planned, cost = set[int](), 0
    for route in plan.routes:
        k = model.crew_day.get((route.crew, route.day))
        if k is None or k in routes:
            continue
        stops = [model.number[stop.job] for stop in route.stops if stop.job in model.number]
        jobs = [j for j in stops if model.local[k, j] >= 0 and j not in planned]
        if not jobs or (times := time_route(model, k, jobs)) is None:
            continue
        routes[k] = jobs
        planned.update(jobs)
        cost += times.cost
    return routes, cost + sum(int(model.skip_cost[j]) for j in range(len(model.service)) if j not in planned)


def whole_bound(bound: float) -> int | None:
    """Return the bound in whole cents: every plan costs whole cents, so one just under a whole number rises to it.

    A hundredth of a cent is given away for the arithmetic.
    """
    return None if not math.isfinite(bound) else max(0, math.ceil(bound - 0.01))
