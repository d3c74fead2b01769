"""Closing the gap over a complete list of routes: subset-row cuts, and routes dropped that no better plan can hold.

Once every route that a better plan could use is listed, cuts may weigh routes as they like: no pricing has to
understand
them. Of three jobs at most one route can hold two or more, so that the sum over such routes is at most 1; the linear
program breaks this with halves. The raised bound in turn drops routes whose reduced cost exceeds what is left of the
gap.
(Jepsen, Petersen, Spoorendonk, Pisinger: Operations Research 56(2), 2008, for the cut; the rest is common knowledge.)
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

from scheduler.engine.master import Pool, extend, solver
from scheduler.engine.model import Ints

ROUND_CUTS = 60
LEAST = 0.02  # of a cut's right side
FIRST = 3_000  # columns to begin with
ACTIVE = 5_000  # columns that one pricing by inspection may bring in
STALL = 0.003  # share of the gap that three rounds must win


class Closing:
    """A linear program over listed columns of the pool with subset-row cuts; `kept` is what a better plan may use."""

    def __init__(self, pool: Pool, listed: list[int], check: Callable[[], None]) -> None:
        self.pool, self.check = pool, check
        self.kept = np.array(listed, dtype=np.int64)
        self.triples: list[tuple[int, int, int]] = []
        self.value = -np.inf
        self._index()

    def _index(self) -> None:
        pool, jobs = self.pool, self.pool.rows.jobs
        self.cost = np.array([pool.cost[c] for c in self.kept], dtype=np.float64)
        self.starts, self.index, self.coefficient = pool.matrix(self.kept.tolist())
        members: list[list[int]] = [[] for _ in range(jobs)]
        for n, c in enumerate(self.kept):
            for j in pool.jobs[c]:
                members[j].append(n)
        self.holders = [np.array(m, dtype=np.int64) for m in members]
        self.cut_columns = [self._cut_columns(t) for t in self.triples]

    def _cut_columns(self, triple: tuple[int, int, int]) -> Ints:
        column, count = np.unique(np.concatenate([self.holders[j] for j in triple]), return_counts=True)
        return column[count >= 2]

    def run(self, dual: Any, best_cost: Callable[[], float], margin: float, prove: Callable[[float], None]) -> None:
        """Cut and drop until nothing is won any more, from the rows' prices `dual`; `prove` is given every bound."""
        active = np.argsort(self.cost - self._prizes(self.pool.rows, dual), kind="stable")[:FIRST]
        recent: list[float] = []
        while True:
            self.check()
            value, primal, reduced, active = self._solve(active)
            self.value = value
            prove(value)
            gap = best_cost() - value + margin
            if gap <= margin:
                return
            stay = reduced <= gap
            if stay.mean() < 0.9:
                active = np.nonzero(np.isin(np.nonzero(stay)[0], active))[0]
                primal = primal[stay]
                self.kept = self.kept[stay]
                self._index()
            recent.append(value)
            if len(recent) > 3 and recent[-1] - recent[-4] < STALL * (best_cost() - recent[-4]):
                return
            if not self._cut(primal):
                return

    def _prizes(self, rows: Any, dual: Any) -> Any:
        priced = np.add.reduceat(dual[: len(rows.cap)][self.index] * self.coefficient, self.starts[:-1])
        for row, columns in enumerate(self.cut_columns):
            priced[columns] += dual[len(rows.cap) + row]
        return priced

    def _solve(self, active: Ints) -> tuple[float, Any, Any, Ints]:
        """Return the value, a number a column, reduced costs, and the columns that took part."""
        rows = self.pool.rows
        h = solver(rows)
        extend(h, self.pool, self.kept[active].tolist())
        place = np.full(len(self.kept), -1, dtype=np.int64)
        place[active] = np.arange(len(active)) + rows.jobs
        for columns in self.cut_columns:
            inside = place[columns]
            inside = inside[inside >= 0].astype(np.int32)
            h.addRow(-np.inf, 1.0, len(inside), inside, np.ones(len(inside)))
        while True:
            self.check()
            h.run()
            solution = h.getSolution()
            dual = np.array(solution.row_dual)
            dual[rows.jobs :] = np.minimum(dual[rows.jobs :], 0.0)
            reduced = self.cost - self._prizes(rows, dual)
            waiting = np.nonzero((reduced < -1e-6) & (place < 0))[0]
            if not len(waiting):
                primal = np.zeros(len(self.kept))
                primal[active] = np.array(solution.col_value)[place[active]]
                return float(h.getInfo().objective_function_value), primal, reduced, active
            waiting = np.sort(waiting[np.argsort(reduced[waiting], kind="stable")][:ACTIVE])
            self._append(h, waiting, place)
            place[waiting] = np.arange(len(waiting)) + rows.jobs + len(active)
            active = np.concatenate([active, waiting])

    def _append(self, h: Any, waiting: Ints, place: Ints) -> None:
        """Add columns with their entries in the rows and in the cuts."""
        rows = self.pool.rows
        extra: dict[int, list[int]] = {}
        among = np.zeros(len(place), dtype=bool)
        among[waiting] = True
        for row, columns in enumerate(self.cut_columns):
            for c in columns[among[columns]]:
                extra.setdefault(int(c), []).append(len(rows.cap) + row)
        starts, index, value = [0], [], []
        for c in waiting:
            a, b = self.starts[c], self.starts[c + 1]
            index.append(np.append(self.index[a:b], extra.get(int(c), [])))
            value.append(np.append(self.coefficient[a:b], np.ones(len(extra.get(int(c), [])))))
            starts.append(starts[-1] + len(index[-1]))
        count = len(waiting)
        h.addCols(
            count, self.cost[waiting], np.zeros(count), np.full(count, np.inf), starts[-1],
            np.array(starts[:-1], dtype=np.int32), np.concatenate(index).astype(np.int32), np.concatenate(value),
        )  # fmt: skip

    def _cut(self, primal: Any) -> int:
        """Add the cuts that the solution breaks most; return how many."""
        used = np.nonzero(primal > 1e-6)[0]
        jobs = [self.pool.jobs[c] for c in self.kept[used]]
        ptr = np.concatenate([[0], np.cumsum([len(j) for j in jobs])]).astype(np.int64)
        flat = np.concatenate(jobs) if jobs else np.zeros(0, np.int64)
        found, excess = _broken(ptr, flat, primal[used], self.pool.rows.jobs, LEAST)
        known = set(self.triples)
        added = 0
        often = np.zeros(self.pool.rows.jobs, dtype=np.int64)
        for n in np.argsort(-excess, kind="stable"):
            triple = (int(found[n, 0]), int(found[n, 1]), int(found[n, 2]))
            if triple in known or any(often[j] >= 5 for j in triple):
                continue
            often[list(triple)] += 1
            self.triples.append(triple)
            self.cut_columns.append(self._cut_columns(triple))
            added += 1
            if added >= ROUND_CUTS:
                break
        return added


@numba.njit(cache=True, nogil=True)
def _broken(ptr: Any, flat: Any, value: Any, jobs: int, least: float) -> tuple[Any, Any]:
    """Return triples of jobs of which routes worth more than 1 + least hold two or more, and by how much."""
    both = np.zeros((jobs, jobs))
    seen = np.zeros(jobs, np.bool_)
    for r in range(len(value)):
        for a in range(ptr[r], ptr[r + 1]):
            seen[flat[a]] = True
            for b in range(ptr[r], ptr[r + 1]):
                if a != b:
                    both[flat[a], flat[b]] += value[r]
    some = np.nonzero(seen)[0]
    room = 4096
    found = np.empty((room, 3), np.int64)
    excess = np.empty(room)
    n = 0
    for x in range(len(some)):
        i = some[x]
        for y in range(x + 1, len(some)):
            j = some[y]
            for z in range(y + 1, len(some)):
                k = some[z]
                total = both[i, j] + both[j, k] + both[i, k]
                if total <= 1.0 + least:
                    continue
                for r in range(len(value)):  # a route with all three was counted three times
                    held = 0
                    for p in range(ptr[r], ptr[r + 1]):
                        if flat[p] == i or flat[p] == j or flat[p] == k:
                            held += 1
                    if held == 3:
                        total -= 2 * value[r]
                if total > 1.0 + least and n < room:
                    found[n, 0], found[n, 1], found[n, 2] = i, j, k
                    excess[n] = total - 1.0
                    n += 1
    return found[:n], excess[:n]
