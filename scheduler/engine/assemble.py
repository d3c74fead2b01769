"""From routes as job lists to a plan document with times, costs and reasons."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from scheduler.engine.model import Model
from scheduler.engine.timing import Timed, time_route
from scheduler.plan import Because, Plan, Route, Skipped, Stop
from scheduler.price import is_kept, outings, price_outings, visits

ENGINE = "eaveboard 0.1"
NOT_ASKED = (Because("not_planned", "Not planned so far; the search is still under way."),)


def timed(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, Timed]:
    """Return each route's best timing by crew day; raises `ValueError` where a route has none."""
    found = {}
    for k, jobs in routes.items():
        if (times := time_route(model, k, list(jobs))) is None:
            raise ValueError(f"crew day {k} cannot serve {list(jobs)}")
        found[k] = times
    return found


def plan_of(
    model: Model, routes: Mapping[int, Sequence[int]], *, seconds: float, bound: int | None,
    because: Mapping[int, tuple[Because, ...]] | None = None,
) -> Plan:  # fmt: skip
    """Return the plan that sends out `routes` (crew day -> jobs in order), crews in the week's order, day by day."""
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
    broken = tuple(
        job.id
        for job in week.jobs
        if job.booked and job.booked.hold != "soft" and not is_kept(job.booked, done.get(job.id))
    )
    cost = price_outings(week, out)
    return Plan("plan/1", week.id, ENGINE, round(seconds, 3), tuple(made), skipped, broken, cost, bound)


def whole_bound(bound: float) -> int | None:
    """Return the bound in whole cents: every plan costs whole cents, so one just under a whole number rises to it.

    A hundredth of a cent is given away for the arithmetic.
    """
    return None if not math.isfinite(bound) else max(0, math.ceil(bound - 0.01))
