"""Putting one job into a plan whose other jobs keep crew, day, order and, to half an hour, their starts."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from scheduler.engine.held import MOST_STOPS, NEVER, State, allowed, arrays, empty, first_place, put, route_cost
from scheduler.engine.model import Model
from scheduler.price import RETIME_FROM_MIN


def near(model: Model, start_by_job: Mapping[tuple[int, int], int]) -> Model:
    """Return the model in which each (crew day, job) can start only half an hour before or after the minute given."""
    lo, hi = model.opt_lo.copy(), model.opt_hi.copy()
    for (k, j), start in start_by_job.items():
        place = int(model.local[k, j])
        mine = slice(model.opt_ptr[place], model.opt_ptr[place + 1])
        lo[mine] = np.maximum(lo[mine], start - RETIME_FROM_MIN)
        hi[mine] = np.minimum(hi[mine], start + RETIME_FROM_MIN)
        hi[mine][lo[mine] > hi[mine]] = -1  # a start that no one reaches in time
    return replace(model, opt_lo=lo, opt_hi=hi)


class Standing:
    """A plan's routes (crew day -> jobs in order) without some jobs, under the starts that `model` allows."""

    def __init__(self, model: Model, routes: Mapping[int, list[int]], without: Collection[int] = ()) -> None:
        self.model = model
        self.week = arrays(model)
        kept = {k: [j for j in jobs if j not in without] for k, jobs in routes.items()}
        self.routes = {k: jobs for k, jobs in kept.items() if jobs}
        self.state = empty(model)
        if (longest := max((len(jobs) for jobs in self.routes.values()), default=0)) >= MOST_STOPS:
            self.state = State(np.zeros((len(model.crew_days), longest + 1), np.int64), *self.state[1:])
        for k, jobs in self.routes.items():
            for position, j in enumerate(jobs):
                put(self.week, self.state, j, k, position)

    def put(self, j: int, k: int, model: Model | None = None) -> tuple[int, list[int]] | None:
        """Return the cost in cents of the whole plan with job j on crew day k, and the route's stops; None: no place.

        `model`: starts to be kept instead, that of j apart the same.
        """
        if self.model.local[k, j] < 0 or not allowed(self.week, self.state, j, k):
            return None
        jobs = self.routes.get(k, [])
        if (last := self._last_place(j, k, jobs)) is None:
            return None
        week = self.week if model is None else arrays(model)
        hands = max(int(self.model.job_hands[x]) for x in (*jobs, j))
        helpers = max(0, hands - int(self.model.hands[k]))
        rest = int(self.state.total[0]) - int(self.model.skip_cost[j]) - int(self.state.cost[k])
        best: tuple[int, list[int]] | None = None
        for position in range(first_place(self.week, self.state, j, k), last + 1):
            trial = [*jobs[:position], j, *jobs[position:]]
            cost = route_cost(week, k, np.array(trial, dtype=np.int64), len(trial), helpers)
            if cost < NEVER and (best is None or rest + cost < best[0]):
                best = int(rest + cost), trial
        return best

    def _last_place(self, j: int, k: int, jobs: list[int]) -> int | None:
        """Return the last position that keeps j before all that follow it, None where one planned cannot follow it."""
        model, last = self.model, len(jobs)
        for first, then, least, most, same in model.follow.tolist():
            if first != j or (at := int(self.state.at[then])) < 0:
                continue
            days = int(model.day_of[at] - model.day_of[k])
            if not least <= days <= most or ((days == 0 or same) and model.crew_of[at] != model.crew_of[k]):
                return None
            if at == k:
                last = min(last, jobs.index(then))
        return last
