"""The columns that the master knows, each set of jobs of a crew day once, with their entries in the rows."""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import Any

import numpy as np

from scheduler.engine.master.rows import Rows
from scheduler.engine.model.arrays import Ints
from scheduler.engine.pricing.columns import Columns, columns_of

Key = tuple[int, bytes, int]
Flat = tuple[Any, ...]  # starts, row indices and coefficients of columns one after the other, and the columns' costs


class Pool:
    """Columns without doubles, with their entries in the rows; the skip columns of jobs are not among them.

    Of a crew day whose minutes out have a price of their own, columns of other minutes are no doubles.
    """

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.known: dict[Key, int] = {}
        self.crew_day: list[int] = []
        self.jobs: list[Ints] = []
        self.cost: list[int] = []
        self.helpers: list[int] = []
        self.out: list[int] = []
        self.index: list[Ints] = []
        self.value: list[Any] = []
        self.flat = _none()
        self.members: dict[int, list[int]] = {}  # the crew days of each group of equal ones
        for k, group in enumerate(rows.model.group.tolist()):
            self.members.setdefault(group, []).append(k)

    def __len__(self) -> int:
        return len(self.cost)

    def add(self, columns: Columns) -> int:
        """Take in the columns whose jobs are new to their crew day or cheaper than known; return how many came in."""
        starts, index, value = self.rows.entries(columns)
        before = len(self.cost)
        for c in range(len(columns)):
            jobs = columns.jobs_of(c)
            k = int(columns.crew_day[c])
            key = self._key(k, jobs, int(columns.out[c]))
            cost = int(columns.cost[c])
            if (old := self.known.get(key)) is not None and self.cost[old] <= cost:
                continue
            self.known[key] = len(self.cost)
            self.crew_day.append(k)
            self.jobs.append(jobs)
            self.cost.append(cost)
            self.helpers.append(int(columns.helpers[c]))
            self.out.append(int(columns.out[c]))
            self.index.append(index[starts[c] : starts[c + 1]])
            self.value.append(value[starts[c] : starts[c + 1]])
        return len(self.cost) - before

    def find(self, k: int, jobs: Sequence[int] | Ints, out: int = 0) -> int:
        """Return the column of crew day k (the first of its group) that serves just these jobs; `KeyError` for none.

        out: its minutes out, asked for only where they have a price of their own.
        """
        return self.known[self._key(k, np.asarray(jobs, dtype=np.int64), out)]

    def _key(self, k: int, jobs: Ints, out: int) -> Key:
        return k, np.sort(jobs).tobytes(), out if self.rows.model.weekly_row[k] >= 0 else 0

    def columns(self, chosen: Ints | None = None) -> Columns:
        """Return the chosen columns, or all of the pool, in one."""
        those = range(len(self)) if chosen is None else chosen.tolist()
        lists = (self.crew_day, self.cost, self.helpers, self.out)
        crew_day, cost, helpers, out = ([x[c] for c in those] for x in lists)
        return columns_of(crew_day, [self.jobs[c] for c in those], cost, helpers, out)

    def routes_of(self, columns: Sequence[int], beside: Container[int] = ()) -> dict[int, list[int]]:
        """Return the columns as routes by crew day, those of a group of equal crew days dealt out to its members.

        beside: crew days that are out on other routes.
        """
        free = {group: iter([k for k in members if k not in beside]) for group, members in self.members.items()}
        return {next(free[self.crew_day[c]]): [int(j) for j in self.jobs[c]] for c in columns}

    def reduced(self, dual: Any) -> Any:
        """Return the reduced cost of every column."""
        if not len(self):
            return np.zeros(0)
        starts, index, value, cost = self._all()
        return cost - np.add.reduceat(dual[index] * value, starts[:-1])

    def _all(self) -> Flat:
        """Return what `matrix` does of all columns, with their costs: those that are new are put behind the others."""
        known = len(self.flat[3])
        if known < len(self):
            starts, index, value = self.matrix(range(known, len(self)))
            more = self.flat[0][-1] + starts[1:], index, value, np.array(self.cost[known:], dtype=np.int64)
            self.flat = tuple(map(np.append, self.flat, more))
        return self.flat

    def part(self, chosen: Ints) -> Pool:
        """Return a pool of the chosen columns alone."""
        part, those = Pool(self.rows), chosen.tolist()
        place = {c: n for n, c in enumerate(those)}
        part.known = {key: place[c] for key, c in self.known.items() if c in place}
        for name in ("crew_day", "jobs", "cost", "helpers", "out", "index", "value"):
            column = getattr(self, name)
            setattr(part, name, [column[c] for c in those])
        return part

    def renew(self) -> None:
        """Compute the entries of all columns again, after rows were added."""
        starts, index, value = self.rows.entries(self.columns())
        self.index = [index[starts[c] : starts[c + 1]] for c in range(len(self))]
        self.value = [value[starts[c] : starts[c + 1]] for c in range(len(self))]
        self.flat = _none()

    def matrix(self, chosen: list[int] | range) -> tuple[Ints, Ints, Any]:
        """Return starts, row indices and coefficients of the chosen columns."""
        index = [self.index[c] for c in chosen]
        starts = np.concatenate([[0], np.cumsum([len(i) for i in index])]).astype(np.int64)
        if not index:
            return starts, np.zeros(0, np.int64), np.zeros(0)
        return starts, np.concatenate(index), np.concatenate([self.value[c] for c in chosen])


def _none() -> Flat:
    return np.zeros(1, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.int64)
