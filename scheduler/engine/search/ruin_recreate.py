"""A first plan at once, and better ones: jobs are taken out together and put back where they cost least.

Compiled. What a plan is here, and that it keeps all rules, is the business of `state`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.compiled import compiled
from scheduler.engine.pricing.columns import Columns, columns_of
from scheduler.engine.search.route_cost import NEVER, arrays, helpers_for, route_cost
from scheduler.engine.search.state import MOST_STOPS, State, allowed, copy_state, empty, first_place, put, take


@compiled
def next_random(seed: Any) -> Any:
    """Return a number from 0 to below 1 and move the generator on (xorshift)."""
    x = seed[0]
    x ^= x << np.uint64(13)
    x ^= x >> np.uint64(7)
    x ^= x << np.uint64(17)
    seed[0] = x
    return (x >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def best_place(
    w: Any, s: Any, j: int, blink: float, seed: Any, cache_version: Any, cache_delta: Any, cache_at: Any
) -> Any:
    """Return (added cost, crew day, position) of the cheapest insertion of j; now and then the best is overlooked."""
    best, best_k, best_at = NEVER, -1, 0
    trial = np.empty(MOST_STOPS, np.int64)
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k, place = w.job_day[c], w.job_cand[c]
        if cache_version[place] != s.version[k]:
            cache_version[place] = s.version[k]
            cache_delta[place] = NEVER
            size = s.size[k]
            if size < MOST_STOPS:
                helpers = max(helpers_for(w, k, s.seq[k], size), w.hands[j] - w.crew_hands[k])
                if helpers == 0 or w.helper_row[k] >= 0:
                    for position in range(first_place(w, s, j, k), size + 1):
                        for t in range(position):
                            trial[t] = s.seq[k, t]
                        trial[position] = j
                        for t in range(position, size):
                            trial[t + 1] = s.seq[k, t]
                        cost = route_cost(w, k, trial, size + 1, helpers)
                        if cost < NEVER and cost - s.cost[k] < cache_delta[place]:
                            cache_delta[place] = cost - s.cost[k]
                            cache_at[place] = position
        if cache_delta[place] < best and allowed(w, s, j, k) and next_random(seed) >= blink:
            best, best_k, best_at = cache_delta[place], k, cache_at[place]
    return best, best_k, best_at


@compiled
def refill(
    w: Any, s: Any, blink: float, noise: float, seed: Any, cache_version: Any, cache_delta: Any, cache_at: Any
) -> None:
    """Insert jobs that are not planned, dearest to skip first (with noise), where that is cheaper than skipping."""
    out = np.empty(len(s.at), np.int64)
    rank = np.empty(len(s.at))
    n = 0
    for j in range(len(s.at)):
        if s.at[j] < 0 and w.job_ptr[j + 1] > w.job_ptr[j]:
            out[n] = j
            rank[n] = -w.skip[j] * (1.0 + noise * next_random(seed)) / (1.0 + w.service[j])
            n += 1
    for position in np.argsort(rank[:n]):
        j = out[position]
        delta, k, at = best_place(w, s, j, blink, seed, cache_version, cache_delta, cache_at)
        if k >= 0 and delta < w.skip[j] and at >= first_place(w, s, j, k):
            put(w, s, j, k, at)


@compiled
def improve(
    w: Any,
    now: Any,
    best: Any,
    trial: Any,
    rounds: int,
    heat: float,
    seed: Any,
    cache_version: Any,
    cache_delta: Any,
    cache_at: Any,
) -> None:
    """Do `rounds` of taking out and putting back; `best` ends as the cheapest plan met. `heat` in cents."""
    days = len(now.size)
    jobs = len(now.at)
    for _ in range(rounds):
        copy_state(now, trial)
        count = int(2 + next_random(seed) * min(10, jobs))
        middle = int(next_random(seed) * jobs)
        kind = next_random(seed)
        if kind < 0.25 and days:  # a whole crew day, or two
            for _ in range(1 + int(next_random(seed) * 2)):
                k = int(next_random(seed) * days)
                while trial.size[k] > 0:
                    take(w, trial, trial.seq[k, 0])
        else:  # jobs near one place, or near it and on the same day
            same_day = kind > 0.6 and trial.at[middle] >= 0
            far = np.empty(jobs)
            for j in range(jobs):
                far[j] = 1e18
                if trial.at[j] >= 0 and not (same_day and w.day_of[trial.at[j]] != w.day_of[trial.at[middle]]):
                    away = w.minutes[w.place[middle], w.place[j]] + 1.0
                    far[j] = away * (0.2 + next_random(seed))
            order = np.argsort(far)
            for n in range(min(count, jobs)):
                if far[order[n]] < 1e18:
                    take(w, trial, order[n])
        refill(w, trial, 0.01 + 0.1 * next_random(seed), 1.0, seed, cache_version, cache_delta, cache_at)
        if trial.total[0] < now.total[0] - heat * np.log(1e-12 + next_random(seed)):
            copy_state(trial, now)
            if now.total[0] < best.total[0]:
                copy_state(now, best)
        else:
            now.total[1] = trial.total[1]


class Ruin:
    """The search with its plans; `best` is the cheapest so far."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model = model
        self.week = arrays(model)
        self.now, self.best, self.trial = empty(model), empty(model), empty(model)
        self.seed = np.random.default_rng([seed, 7]).integers(1, 2**63, size=1, dtype=np.uint64)
        places = len(model.cand_job)
        self.cache = (np.full(places, -1, np.int64), np.zeros(places, np.int64), np.zeros(places, np.int64))

    def start(self) -> None:
        """Make a first plan."""
        refill(self.week, self.now, 0.0, 0.0, self.seed, *self.cache)
        copy_state(self.now, self.best)

    def run(self, rounds: int, heat: float) -> None:
        """Search on for `rounds`."""
        improve(self.week, self.now, self.best, self.trial, rounds, heat, self.seed, *self.cache)

    @property
    def cost(self) -> int:
        """The cost of the best plan, in cents."""
        return int(self.best.total[0])

    def columns(self, state: State | None = None) -> Columns:
        """Return the routes of a state (the best where none is given), by group of equal crew days."""
        s = state if state is not None else self.best
        used = np.nonzero(s.size)[0]
        jobs = [s.seq[k, : s.size[k]] for k in used]
        return columns_of(self.model.group[used], jobs, s.cost[used], s.helpers[used])
