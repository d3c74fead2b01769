"""Routes as columns of the master: many at once, in flat arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.model.plans import timed


@dataclass(frozen=True)
class Columns:
    """Routes of crew days: items in visiting order, flat with pointers; cost in cents; helpers; minutes out."""

    crew_day: Ints
    ptr: Ints
    jobs: Ints
    cost: Ints
    helpers: Ints
    out: Ints

    def __len__(self) -> int:
        return len(self.cost)

    def jobs_of(self, c: int) -> Ints:
        """Return the jobs of column c in visiting order."""
        return self.jobs[self.ptr[c] : self.ptr[c + 1]]

    def take(self, which: Any) -> Columns:
        """Return the columns at these places, in their order."""
        size = np.diff(self.ptr)[which]
        ptr = _pointers(size)
        place = np.repeat(self.ptr[:-1][which] - ptr[:-1], size) + np.arange(ptr[-1])
        return Columns(
            self.crew_day[which], ptr, self.jobs[place], self.cost[which], self.helpers[which], self.out[which]
        )

    def sum_over_jobs(self, by_job: Any) -> Any:
        """Return for each column the sum of `by_job` over its jobs."""
        return np.add.reduceat(by_job[self.jobs], self.ptr[:-1]) if len(self) else np.zeros(0, by_job.dtype)

    def serving(self, job: int) -> Any:
        """Say of each column whether the job is on it."""
        return self.sum_over_jobs((np.arange(self.jobs.max(initial=job) + 1) == job).astype(np.int64)) > 0


def columns_of(
    crew_day: Sequence[int] | Ints,
    jobs: Sequence[Sequence[int] | Ints],
    cost: Sequence[int] | Ints,
    helpers: Sequence[int] | Ints,
    out: Sequence[int] | Ints,
) -> Columns:
    """Return columns given one by one."""
    flat = [np.asarray(j, dtype=np.int64) for j in jobs]
    return Columns(
        np.array(crew_day, dtype=np.int64),
        _pointers([len(j) for j in flat]),
        np.concatenate(flat) if flat else np.zeros(0, np.int64),
        np.array(cost, dtype=np.int64),
        np.array(helpers, dtype=np.int64),
        np.array(out, dtype=np.int64),
    )


def columns_of_routes(model: Model, routes: Mapping[int, Sequence[int]]) -> Columns:
    """Return routes, best timed, as columns of the groups of equal crew days."""
    times = timed(model, routes)
    days = np.array(list(times), dtype=np.int64)
    return columns_of(
        model.group[days],
        [routes[k] for k in times],
        [t.cost for t in times.values()],
        [t.helpers for t in times.values()],
        [t.out for t in times.values()],
    )


def joined(parts: Sequence[Columns]) -> Columns:
    """Return all columns in one."""
    if not parts:
        return columns_of([], [], [], [], [])
    crew_day, jobs, cost, helpers, out = (
        np.concatenate([getattr(c, name) for c in parts]) for name in ("crew_day", "jobs", "cost", "helpers", "out")
    )
    return Columns(crew_day, _pointers(np.concatenate([np.diff(c.ptr) for c in parts])), jobs, cost, helpers, out)


def _pointers(sizes: Any) -> Ints:
    return np.concatenate([[0], np.cumsum(np.asarray(sizes, dtype=np.int64))]).astype(np.int64)
