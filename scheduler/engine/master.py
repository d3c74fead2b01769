"""The master over a growing pool of columns: linear programs for prices and bounds, integer programs for plans."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import highspy
import numpy as np

from scheduler.engine.days import Columns
from scheduler.engine.model import Ints
from scheduler.engine.rows import Rows

INFINITY = highspy.kHighsInf


def _key(k: int, jobs: Ints) -> tuple[int, bytes]:
    return k, np.sort(jobs).tobytes()


class _Quiet(highspy.Highs):
    """HiGHS without the banner that it prints as its callbacks are made ready, before any option can be set."""

    def enableCallbacks(self) -> None:
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


class Pool:
    """Columns without doubles, with their entries in the rows; job j's skip column is not among them."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.known: dict[tuple[int, bytes], int] = {}
        self.crew_day: list[int] = []
        self.jobs: list[Ints] = []
        self.cost: list[int] = []
        self.helpers: list[int] = []
        self.index: list[Ints] = []
        self.value: list[Any] = []

    def __len__(self) -> int:
        return len(self.cost)

    def add(self, columns: Columns) -> int:
        """Take in the columns whose jobs are new to their crew day or cheaper than known; return how many came in."""
        starts, index, value = self.rows.entries(columns)
        before = len(self.cost)
        for c in range(len(columns)):
            jobs = columns.jobs[columns.ptr[c] : columns.ptr[c + 1]]
            k = int(columns.crew_day[c])
            key = _key(k, jobs)
            cost = int(columns.cost[c])
            if (old := self.known.get(key)) is not None and self.cost[old] <= cost:
                continue
            self.known[key] = len(self.cost)
            self.crew_day.append(k)
            self.jobs.append(jobs)
            self.cost.append(cost)
            self.helpers.append(int(columns.helpers[c]))
            self.index.append(index[starts[c] : starts[c + 1]])
            self.value.append(value[starts[c] : starts[c + 1]])
        return len(self.cost) - before

    def find(self, k: int, jobs: Sequence[int] | Ints) -> int:
        """Return the column of crew day k (the first of its group) that serves just these jobs; `KeyError` for none."""
        return self.known[_key(k, np.asarray(jobs, dtype=np.int64))]

    def columns(self, chosen: Ints | None = None) -> Columns:
        """Return the chosen columns, or all of the pool, in one."""
        those = range(len(self)) if chosen is None else chosen.tolist()
        each = [self.jobs[c] for c in those]
        ptr = np.concatenate([[0], np.cumsum([len(j) for j in each])]).astype(np.int64)
        jobs = np.concatenate(each) if each else np.zeros(0, np.int64)
        crew_day, cost, helpers = (
            np.array([x[c] for c in those], dtype=np.int64) for x in (self.crew_day, self.cost, self.helpers)
        )
        return Columns(crew_day, ptr, jobs, cost, helpers)

    def part(self, chosen: Ints) -> Pool:
        """Return a pool of the chosen columns alone."""
        part, those = Pool(self.rows), chosen.tolist()
        place = {c: n for n, c in enumerate(those)}
        part.known = {key: place[c] for key, c in self.known.items() if c in place}
        for name in ("crew_day", "jobs", "cost", "helpers", "index", "value"):
            column = getattr(self, name)
            setattr(part, name, [column[c] for c in those])
        return part

    def renew(self) -> None:
        """Compute the entries of all columns again, after rows were added."""
        starts, index, value = self.rows.entries(self.columns())
        self.index = [index[starts[c] : starts[c + 1]] for c in range(len(self))]
        self.value = [value[starts[c] : starts[c + 1]] for c in range(len(self))]

    def matrix(self, chosen: list[int] | range) -> tuple[Ints, Ints, Any]:
        """Return starts, row indices and coefficients of the chosen columns."""
        index = [self.index[c] for c in chosen]
        starts = np.concatenate([[0], np.cumsum([len(i) for i in index])]).astype(np.int64)
        if not index:
            return starts, np.zeros(0, np.int64), np.zeros(0)
        return starts, np.concatenate(index), np.concatenate([self.value[c] for c in chosen])


def quiet_solver() -> highspy.Highs:
    """Return a HiGHS model that prints nothing."""
    return _Quiet()  # type: ignore[no-untyped-call]


def solver(rows: Rows, *, seconds: float | None = None) -> highspy.Highs:
    """Return a HiGHS model with the rows and, as its first columns, one skip column a job."""
    h = quiet_solver()
    h.setOptionValue("threads", 1)
    if seconds is not None:
        h.setOptionValue("time_limit", max(0.01, seconds))
    jobs = rows.jobs
    lower = np.concatenate([np.ones(jobs), np.full(len(rows.cap) - jobs, -INFINITY)])
    empty_i, empty_f = np.zeros(0, np.int32), np.zeros(0)
    h.addRows(len(rows.cap), lower, rows.cap, 0, np.zeros(len(rows.cap), np.int32), empty_i, empty_f)
    skip = rows.model.skip_cost.astype(np.float64)
    h.addCols(
        jobs, skip, np.zeros(jobs), np.ones(jobs), jobs,
        np.arange(jobs, dtype=np.int32), np.arange(jobs, dtype=np.int32), np.ones(jobs),
    )  # fmt: skip
    return h


def extend(h: highspy.Highs, pool: Pool, chosen: list[int] | range) -> None:
    """Append the chosen columns of the pool to a HiGHS model."""
    count = len(chosen)
    if not count:
        return
    starts, index, value = pool.matrix(chosen)
    cost = np.array([pool.cost[c] for c in chosen], dtype=np.float64)
    h.addCols(
        count, cost, np.zeros(count), np.full(count, INFINITY), len(index),
        starts[:-1].astype(np.int32), index.astype(np.int32), value,
    )  # fmt: skip
