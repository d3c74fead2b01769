"""Putting one job into a plan whose other jobs keep crew, day, order and, to half an hour, their starts."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from scheduler.engine.local_search.route_cost import NEVER, arrays, route_cost
from scheduler.engine.local_search.state import allowed, first_place, parted, state_of
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import Routes
from scheduler.engine.model.starts import near
from scheduler.errors import BadInput
from scheduler.plan import Plan


def staying(model: Model, plan: Plan, without: Collection[str] = ()) -> tuple[Model, Routes]:
    """Return the model in which the visits of `plan` stay where they are, and its routes less the jobs `without`.

    Raises `BadInput` where a visit cannot stay.
    """
    routes = Routes()
    start_by_visit: dict[tuple[int, int], int] = {}
    for route in plan.routes:
        for stop in route.stops:
            if stop.job in without:
                continue
            j, k = model.number.get(stop.job, -1), model.crew_day.get((route.crew, route.day), -1)
            if j < 0 or k < 0 or model.local[k, j] < 0:
                raise BadInput("plan", f"has {stop.job} where it can be no more; say that it is done or under way")
            routes.setdefault(k, []).append(j)
            start_by_visit[k, j] = stop.start
    return near(model, start_by_visit), routes


class Standing:
    """A plan's routes (crew day -> jobs in order) without some jobs, under the starts that `model` allows."""

    def __init__(self, model: Model, routes: Mapping[int, list[int]], without: Collection[int] = ()) -> None:
        self.model = model
        self.week = arrays(model)
        kept = {k: [j for j in jobs if j not in without] for k, jobs in routes.items()}
        self.routes = {k: jobs for k, jobs in kept.items() if jobs}
        self.state = state_of(model, self.week, self.routes)

    def put(self, j: int, k: int, model: Model | None = None) -> tuple[int, list[int]] | None:
        """Return the cost in cents of the whole plan with job j on crew day k, and the route's stops; None: no place.

        `model`: starts to be kept instead, that of j apart the same.
        """
        if self.model.local[k, j] < 0 or not allowed(self.week, self.state, j, k):
            return None
        jobs = self.routes.get(k, [])
        if (last := self.last_place(j, k, jobs)) is None:
            return None
        week = self.week if model is None else arrays(model)
        helpers = self.model.helpers_for(k, [*jobs, j])
        rest = int(self.state.total[0]) - int(self.model.skip_cost[j]) - int(self.state.cost[k])
        best: tuple[int, list[int]] | None = None
        for position in range(first_place(self.week, self.state, j, k), last + 1):
            trial = [*jobs[:position], j, *jobs[position:]]
            cost = route_cost(week, k, np.array(trial, dtype=np.int64), len(trial), helpers)
            if cost < NEVER and (best is None or rest + cost < best[0]):
                best = int(rest + cost), trial
        return best

    def last_place(self, j: int, k: int, jobs: list[int]) -> int | None:
        """Return the last position that keeps j before all that follow it, None where one planned cannot follow it."""
        model, last = self.model, len(jobs)
        for f, (first, then, *_) in enumerate(model.follow.tolist()):
            if first != j or (at := int(self.state.at[then])) < 0:
                continue
            if parted(model.follow, model.day_of, model.crew_of, f, k, at):
                return None
            if at == k:
                last = min(last, jobs.index(then))
        return last
