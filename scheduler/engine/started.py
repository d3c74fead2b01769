"""A plan to search from: its routes, as far as this week still allows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scheduler.engine.assemble import timed
from scheduler.engine.days import Columns
from scheduler.engine.model import Model
from scheduler.engine.timing import time_route
from scheduler.plan import Plan


def routes_of(model: Model, plan: Plan) -> tuple[dict[int, list[int]], int]:
    """Return the plan's routes (crew day -> jobs in order) and the cost in cents of sending out just these.

    Jobs that the week or the crew day does not have are left out; so is a route that cannot be timed without them.
    """
    number = {job.id: n for n, job in enumerate(model.week.jobs)}
    crew_day = {(model.week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
    routes = dict[int, list[int]]()
    planned, cost = set[int](), 0
    for route in plan.routes:
        k = crew_day.get((route.crew, route.day))
        if k is None or k in routes:
            continue
        stops = [number[stop.job] for stop in route.stops if stop.job in number]
        jobs = [j for j in stops if model.local[k, j] >= 0 and j not in planned]
        if not jobs or (times := time_route(model, k, jobs)) is None:
            continue
        routes[k] = jobs
        planned.update(jobs)
        cost += times.cost
    return routes, cost + sum(int(model.skip_cost[j]) for j in range(len(model.service)) if j not in planned)


def columns_of(model: Model, routes: Mapping[int, Sequence[int]]) -> Columns:
    """Return routes as columns of the groups of equal crew days."""
    times = timed(model, routes)
    flat = np.array([j for k in times for j in routes[k]], dtype=np.int64)
    ptr = np.cumsum([0, *(len(routes[k]) for k in times)]).astype(np.int64)
    days = np.array(list(times), dtype=np.int64)
    costs = np.array([t.cost for t in times.values()], dtype=np.int64)
    return Columns(model.group[days], ptr, flat, costs, np.array([t.helpers for t in times.values()], dtype=np.int64))
