"""Putting one job into a plan whose other jobs keep crew, day, order and, to half an hour, their starts."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from scheduler.engine.model import Model
from scheduler.engine.room import hindered, in_order, state_of
from scheduler.engine.ruin import NEVER, arrays, route_cost
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
        self.state = state_of(model, self.week, self.routes)

    def put(self, j: int, k: int, model: Model | None = None) -> tuple[int, list[int]] | None:
        """Return the cost in cents of the whole plan with job j on crew day k, and the route's stops; None: no place.

        `model`: starts to be kept instead, that of j apart the same.
        """
        if self.model.local[k, j] < 0:
            return None
        week = self.week if model is None else arrays(model)
        jobs = self.routes.get(k, [])
        hands = max(int(self.model.job_hands[x]) for x in (*jobs, j))
        rest = int(self.state.total[0]) - int(self.model.skip_cost[j]) - int(self.state.cost[k])
        best: tuple[int, list[int]] | None = None
        for position in range(len(jobs) + 1):
            trial = [*jobs[:position], j, *jobs[position:]]
            seq = np.array(trial, dtype=np.int64)
            if hindered(week, self.state, k, seq, len(seq), j) or not in_order(week, seq, len(seq), -1):
                continue
            cost = route_cost(week, k, seq, len(seq), max(0, hands - int(self.model.hands[k])))
            if cost < NEVER and (best is None or rest + cost < best[0]):
                best = int(rest + cost), trial
        return best
