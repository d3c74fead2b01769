"""The same week with fewer starts: visits near where they are, a job in one half day, or at one minute alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from scheduler.engine.model.arrays import Ints, Model
from scheduler.price import RETIME_FROM_MIN

NOON = 12 * 60
NEVER_BEGUN = -1  # a last start that no one reaches in time: the option is shut


class Half(NamedTuple):
    """A day, and whether the visit starts from noon on."""

    day: int
    afternoon: bool

    def holds(self, day: int, start: int) -> bool:
        """Say whether a visit on `day` at `start` lies in it."""
        return day == self.day and (start >= NOON) == self.afternoon


def starts(model: Model, job: int, k: int) -> Iterator[tuple[int, int]]:
    """Yield the intervals in which the job can start on crew day k."""
    mine = model.options_of(k, job)
    for lo, hi in zip(model.opt_lo[mine].tolist(), model.opt_hi[mine].tolist(), strict=True):
        if lo <= hi:
            yield lo, hi


def halves(model: Model, job: int) -> list[Half]:
    """Return the half days on which some crew day has a start for the job, in the order of time."""
    found = set()
    for k in range(len(model.crew_days)):
        for lo, hi in starts(model, job, k):
            found |= {Half(int(model.day_of[k]), afternoon) for afternoon in (lo >= NOON, hi >= NOON)}
    return sorted(found)


def within(model: Model, job: int, half: Half) -> Model:
    """Return the model in which the job can start in `half` alone."""
    lo, hi = model.opt_lo.copy(), model.opt_hi.copy()
    for k in range(len(model.crew_days)):
        mine = model.options_of(k, job)
        if model.day_of[k] != half.day:
            hi[mine] = NEVER_BEGUN
        elif half.afternoon:
            lo[mine] = np.maximum(lo[mine], NOON)
        else:
            hi[mine] = np.minimum(hi[mine], NOON - 1)
        _shut_empty(lo, hi, mine)
    return replace(model, opt_lo=lo, opt_hi=hi)


def near(model: Model, start_by_visit: Mapping[tuple[int, int], int]) -> Model:
    """Return the model in which each (crew day, job) keeps the start given but for what needs not be told anyone."""
    lo, hi = model.opt_lo.copy(), model.opt_hi.copy()
    for (k, j), start in start_by_visit.items():
        mine = model.options_of(k, j)
        lo[mine] = np.maximum(lo[mine], start - RETIME_FROM_MIN)
        hi[mine] = np.minimum(hi[mine], start + RETIME_FROM_MIN)
        _shut_empty(lo, hi, mine)
    return replace(model, opt_lo=lo, opt_hi=hi)


def only_at(model: Model, j: int, days: Iterable[int], start: int) -> Model:
    """Return the model in which job j has no start but `start` on these crew days, each of which can hold it."""
    lo, hi, cost = model.opt_lo.copy(), model.opt_hi.copy(), model.opt_cost.copy()
    for k in days:
        mine = model.options_of(k, j)
        held = (lo[mine] <= start) & (start <= hi[mine])
        cost[mine] = cost[mine][held].min()
        lo[mine] = hi[mine] = start
    return replace(model, opt_lo=lo, opt_hi=hi, opt_cost=cost)


def _shut_empty(lo: Ints, hi: Ints, mine: slice) -> None:
    hi[mine][lo[mine] > hi[mine]] = NEVER_BEGUN
