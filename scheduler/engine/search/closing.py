"""Closing the gap over a complete list of routes: cuts over routes, and routes dropped that no better plan can hold.

Once every route that a better plan could use is listed, cuts may weigh routes as they like: no pricing has to
understand them. Of three rows that each take one route at most (a job, a crew's day, the one helper of a day) at most
one route can stand in two or more, so that the sum over such routes is at most 1; the linear program breaks this with
halves. The raised bound in turn drops routes whose reduced cost exceeds what is left of the gap.
(Jepsen, Petersen, Spoorendonk, Pisinger: Operations Research 56(2), 2008, for the cut over rows of customers, here
over every row of its kind; the rest is common knowledge.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import highspy
import numpy as np

from scheduler.engine.master.decided import Decided
from scheduler.engine.master.integer import Limit
from scheduler.engine.master.pool import Pool
from scheduler.engine.master.solver import append, solver
from scheduler.engine.master.subset_row_cuts import broken_triples
from scheduler.engine.model.arrays import Ints

ROUND_CUTS = 60
ROW_CUTS = 5  # of one round over one row
LEAST = 0.02  # of a cut's right side
FIRST = 3_000  # columns to begin with
ACTIVE = 5_000  # columns that one pricing by inspection may bring in
STALL = 0.003  # share of the gap that three rounds must win
SHRUNK = 0.6  # share of the columns left at which the linear program is built anew
WIDER = 4  # times as many columns to choose among at the next step
NONE = (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible)


class Closing:
    """A linear program over listed columns of the pool with cuts.

    `kept`: the columns that a better plan may use; `value`: the bound, infinite where there is no plan at all;
    `reduced` and `cuts`: reduced costs of the kept columns and cuts over their positions.
    """

    def __init__(
        self,
        pool: Pool,
        listed: list[int],
        check: Callable[[], None],
        must: int | None = None,
        decided: Decided | None = None,
    ) -> None:
        """`must`: a job that may not be skipped. `decided`: how many crew days go out of fleets."""
        self.pool, self.check, self.must = pool, check, must
        self.kept = np.array(listed, dtype=np.int64)
        self.triples: set[tuple[int, int, int]] = set()
        self.cuts: list[Limit] = _of_fleets(pool, self.kept, decided) if decided else []
        self.value = -np.inf
        self.reduced: Any = np.zeros(len(self.kept))
        self._index()

    def _index(self) -> None:
        """Note the kept columns' costs and entries, and by row that takes one route at most which columns are in it."""
        self.cost = np.array([self.pool.cost[c] for c in self.kept], dtype=np.float64)
        self.starts, self.index, self.coefficient = self.pool.matrix(self.kept.tolist())
        single = self.pool.rows.take_one[self.index] & (self.coefficient >= 1)
        self.single = self.index[single]
        column = np.repeat(np.arange(len(self.kept)), np.diff(self.starts))[single]
        self.single_ptr = np.searchsorted(column, np.arange(len(self.kept) + 1))
        order = np.argsort(self.single, kind="stable")
        self.by_row = column[order]
        self.row_ptr = np.searchsorted(self.single[order], np.arange(len(self.pool.rows.cap) + 1))

    def run(self, dual: Any, best_cost: Callable[[], float], margin: float, prove: Callable[[float], None]) -> None:
        """Cut and drop until nothing is won any more, from the rows' prices `dual`; `prove` is given every bound."""
        reduced = self.cost - self._prizes(dual)
        first = np.argsort(reduced, kind="stable")[:FIRST]
        if self.must is not None:
            first = np.union1d(first, self._holders(self.must))
        self._build(first)
        won: list[float] = []
        while True:
            primal = self._solve()
            prove(self.value)
            gap = best_cost() - self.value + margin
            if gap <= margin:
                return
            stay = self.reduced <= gap
            if stay.mean() < SHRUNK:
                active = np.nonzero(stay & (self.place >= 0))[0]
                self._drop(stay)
                primal = primal[stay]
                self._build(np.searchsorted(np.nonzero(stay)[0], active))
            won.append(self.value)
            stalled = len(won) > 3 and won[-1] - won[-4] < STALL * (best_cost() - won[-4])
            if stalled or not self._cut(primal):
                self._drop(self.reduced <= gap)
                return

    def steps(self, best_cost: Callable[[], float], margin: float, first: int) -> Iterator[Ints]:
        """Yield positions of columns to choose among, ever more; the last are all that a better plan can be made of.

        `first`: how many to begin with, those of least reduced cost. Where there is no plan at all there is no step.
        """
        order = np.argsort(self.reduced, kind="stable")
        while np.isfinite(self.value):
            last = np.nonzero(self.reduced <= best_cost() - self.value + margin)[0]
            if 2 * first > len(last):
                yield last
                return
            yield np.sort(order[:first])
            first *= WIDER

    def limits(self, places: Ints) -> list[Limit]:
        """Return the cuts over the kept columns at `places` alone, by position among those."""
        position = np.full(len(self.kept), -1, dtype=np.int64)
        position[places] = np.arange(len(places))
        return [cut.over(position) for cut in self.cuts]

    def _holders(self, row: int) -> Ints:
        """Return the positions of the columns that stand in a row that takes one route at most."""
        held: Ints = self.by_row[self.row_ptr[row] : self.row_ptr[row + 1]]
        return held

    def _drop(self, stay: Any) -> None:
        position = np.where(stay, np.cumsum(stay) - 1, -1)
        self.cuts = [cut.over(position) for cut in self.cuts]
        self.kept, self.reduced = self.kept[stay], self.reduced[stay]
        self._index()

    def _prizes(self, dual: Any) -> Any:
        priced = np.zeros(len(self.kept))
        if len(self.kept):
            priced = np.add.reduceat(dual[self.index] * self.coefficient, self.starts[:-1])
        for row, cut in enumerate(self.cuts):
            if len(dual) > len(self.pool.rows.cap) + row:
                priced[cut.columns] += dual[len(self.pool.rows.cap) + row] * cut.weight
        return priced

    def _build(self, active: Ints) -> None:
        """Make the linear program of the columns at `active` and the cuts."""
        rows = self.pool.rows
        self.h = solver(rows)
        if self.must is not None:
            self.h.changeColBounds(self.must, 0.0, 0.0)
        self.place = np.full(len(self.kept), -1, dtype=np.int64)
        self.active = active
        append(self.h, self.pool, self.kept[active].tolist())
        self.place[active] = np.arange(len(active)) + rows.first
        for cut in self.cuts:
            self._row(cut)

    def _row(self, cut: Limit) -> None:
        inside = self.place[cut.columns]
        here = inside >= 0
        self.h.addRow(-np.inf, cut.most, int(here.sum()), inside[here].astype(np.int32), cut.weight[here])

    def _solve(self) -> Any:
        """Solve, with the columns that it asks for; sets `value` and `reduced`, returns a number a column."""
        rows = self.pool.rows
        while True:
            self.check()
            self.h.run()
            status = self.h.getModelStatus()
            if status in NONE:
                waiting = np.nonzero(self.place < 0)[0]
                if not len(waiting):
                    self.value = np.inf
                    return np.zeros(len(self.kept))
                self._append(waiting)
                continue
            if status != highspy.HighsModelStatus.kOptimal:
                raise RuntimeError(f"the linear program over {len(self.active)} routes has no solution: {status.name}")
            solution = self.h.getSolution()
            dual = np.array(solution.row_dual)
            dual[rows.jobs :] = np.minimum(dual[rows.jobs :], 0.0)  # of cuts too
            self.reduced = self.cost - self._prizes(dual)
            waiting = np.nonzero((self.reduced < -1e-6) & (self.place < 0))[0]
            if not len(waiting):
                primal = np.zeros(len(self.kept))
                primal[self.active] = np.array(solution.col_value)[self.place[self.active]]
                self.value = float(self.h.getInfo().objective_function_value)
                return primal
            self._append(np.sort(waiting[np.argsort(self.reduced[waiting], kind="stable")][:ACTIVE]))

    def _append(self, waiting: Ints) -> None:
        """Add columns with their entries in the rows and in the cuts."""
        rows = self.pool.rows
        extra: dict[int, list[tuple[int, float]]] = {}
        among = np.zeros(len(self.place), dtype=bool)
        among[waiting] = True
        for row, cut in enumerate(self.cuts):
            here = among[cut.columns]
            for c, weight in zip(cut.columns[here].tolist(), cut.weight[here].tolist(), strict=True):
                extra.setdefault(c, []).append((len(rows.cap) + row, weight))
        starts, index, value = [0], [], []
        for c in waiting.tolist():
            a, b = self.starts[c], self.starts[c + 1]
            more = extra.get(c, [])
            index.append(np.append(self.index[a:b], [row for row, _ in more]))
            value.append(np.append(self.coefficient[a:b], [weight for _, weight in more]))
            starts.append(starts[-1] + len(index[-1]))
        count = len(waiting)
        self.h.addCols(
            count,
            self.cost[waiting],
            np.zeros(count),
            np.full(count, np.inf),
            starts[-1],
            np.array(starts[:-1], dtype=np.int32),
            np.concatenate(index).astype(np.int32),
            np.concatenate(value),
        )
        self.place[waiting] = np.arange(count) + rows.first + len(self.active)
        self.active = np.concatenate([self.active, waiting])

    def _cut(self, primal: Any) -> int:
        """Add the cuts that the solution breaks most; return how many."""
        before = len(self.cuts)
        used = np.nonzero(primal > 1e-6)[0]
        length = np.diff(self.single_ptr)[used]
        ptr = np.concatenate([[0], np.cumsum(length)]).astype(np.int64)
        flat = np.concatenate([self.single[self.single_ptr[c] : self.single_ptr[c + 1]] for c in used] or [self.single])
        rows = len(self.pool.rows.cap)
        found, excess = broken_triples(ptr, flat, primal[used], rows, LEAST)
        often = np.zeros(rows, dtype=np.int64)
        for n in np.argsort(-excess, kind="stable"):
            triple = (int(found[n, 0]), int(found[n, 1]), int(found[n, 2]))
            if triple in self.triples or any(often[r] >= ROW_CUTS for r in triple):
                continue
            often[list(triple)] += 1
            self.triples.add(triple)
            column, count = np.unique(np.concatenate([self._holders(r) for r in triple]), return_counts=True)
            self.cuts.append(Limit(column[count >= 2], np.ones(int((count >= 2).sum())), 1.0))
            if len(self.cuts) - before >= ROUND_CUTS:
                break
        self._cover(primal)
        for cut in self.cuts[before:]:
            self._row(cut)
        return len(self.cuts) - before

    def _cover(self, primal: Any) -> None:
        """Note the cover cuts of the shelf that the solution breaks."""
        model = self.pool.rows.model
        columns = self.pool.columns(self.kept)
        yard, day = model.yard_of[columns.crew_day], model.day_of[columns.crew_day]
        for cut in self.pool.rows.violated(columns, primal):
            weight = columns.sum_over_jobs(cut.weight[model.row_of])
            held = np.nonzero(weight * ((yard == cut.yard) & (day <= cut.day)))[0]
            self.cuts.append(Limit(held, weight[held].astype(np.float64), float(cut.most)))


def _of_fleets(pool: Pool, columns: Ints, decided: Decided) -> list[Limit]:
    """Return what is decided of fleets as limits over these columns of the pool, by position among them."""
    rows, found = pool.rows, list[Limit]()
    crew_day = np.array([pool.crew_day[c] for c in columns], dtype=np.int64)
    for fleet, size, least, most in zip(rows.fleets, rows.fleet_sizes, decided.least, decided.most, strict=True):
        if least > 0 or most < size:
            here = np.nonzero(np.isin(crew_day, fleet))[0]
            found.append(Limit(here, np.ones(len(here)), float(size - least)))
            found.append(Limit(here, -np.ones(len(here)), float(most - size)))
    return found
