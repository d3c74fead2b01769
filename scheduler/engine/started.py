"""A plan to search from: its routes as columns, as far as this week still allows them."""

from __future__ import annotations

import numpy as np

from scheduler.engine.days import Columns
from scheduler.engine.model import Model
from scheduler.engine.timing import time_route
from scheduler.plan import Plan


def columns_of(model: Model, plan: Plan) -> tuple[Columns, int]:
    """Return the plan's routes by group of equal crew days, and the cost of sending out just these.

    Jobs that the week or the crew day does not have are left out; so is a route that cannot be timed without them.
    """
    number = {job.id: n for n, job in enumerate(model.week.jobs)}
    crew_day = {(model.week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
    days, routes, costs, helpers = list[int](), list[list[int]](), list[int](), list[int]()
    planned = set[int]()
    for route in plan.routes:
        k = crew_day.get((route.crew, route.day))
        stops = [number[stop.job] for stop in route.stops if stop.job in number]
        jobs = [] if k is None else [j for j in stops if model.local[k, j] >= 0 and j not in planned]
        times = time_route(model, k, jobs) if k is not None and jobs and k not in days else None
        if k is None or times is None:
            continue
        days.append(k)
        routes.append(jobs)
        costs.append(times.cost)
        helpers.append(times.helpers)
        planned.update(jobs)
    left = sum(int(model.skip_cost[j]) for j in range(len(model.service)) if j not in planned)
    flat = np.array([j for jobs in routes for j in jobs], dtype=np.int64)
    ptr = np.cumsum([0, *(len(jobs) for jobs in routes)]).astype(np.int64)
    as_int = [np.array(x, dtype=np.int64) for x in (model.group[days] if days else [], costs, helpers)]
    return Columns(as_int[0], ptr, flat, as_int[1], as_int[2]), sum(costs) + left
