"""Among plans that cost little more than the best, the one that spreads overtime most evenly among the crews.

Every route that a plan within the allowed cost can hold has a reduced cost under the gap, so they can all be listed;
an integer program over them, with a row of overtime for each crew, is then exact. Each set of jobs stands with its
cheapest order and timing only: another timing that trades pay for overtime inside one day is not looked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from scheduler.engine.master.pool import Pool
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.master.solver import INFINITY, solver
from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.model.timing import time_route
from scheduler.engine.pricing.columns import columns_of_routes
from scheduler.engine.pricing.search import COMPLETE

Routes = dict[int, list[int]]
DAY_ROOM = 2_000_000
MOST_COLUMNS = 60_000


@dataclass(frozen=True)
class Even:
    """Routes by crew day, and whether every route that could matter was listed and every program solved to its end."""

    routes: Routes
    proven: bool


def even(
    model: Model,
    start: Mapping[int, Sequence[int]],
    most_cents: int,
    *,
    seed: int,
    left: Callable[[], float],
    check: Callable[[], None],
) -> Even:
    """Return routes of a plan that costs at most `most_cents`, whose crew with the most overtime has the least.

    Among those: the fewest late returns of any one crew, then the least overtime of all together, then the least cost.
    `start` is such a plan, and what comes back where time runs out first. `left` gives the seconds that remain; raises
    what `check` raises.
    """
    relax = Relaxation(model, seed, check, None)
    relax.add(columns_of_routes(model, start))
    relax.run()
    complete = _list(relax, most_cents - relax.bound + relax.rounding + 1.0, check)
    program = _Program(model, relax.pool, check)
    values, proven = program.values_of(start), complete
    stages = (program.largest_overtime, program.largest_late, program.all_overtime, program.all_cost)
    limits: list[tuple[Any, float]] = [(program.all_cost, float(most_cents))]
    for goal in stages:
        check()
        values, done = program.solve(goal, limits, values, seed, left)
        proven &= done
        limits.append((goal, float(goal @ values)))
    return Even(program.routes_of(values), proven)


def _list(relax: Relaxation, gap: float, check: Callable[[], None]) -> bool:
    """Add every route of reduced cost under `gap` to the pool; return whether all are in it."""
    prices = relax.rows.prices(relax.dual, relax.days)
    complete = True
    for k in relax.lead:
        check()
        day = relax.days[k].search(prices, gap, every_set=True, room=DAY_ROOM)
        complete &= day.ended == COMPLETE
        if len(relax.pool) + len(day.columns) > MOST_COLUMNS:
            return False
        relax.add(day.columns)
    return complete


class _Program:
    """The integer program: skip columns, each pool column once for every crew day of its group, then two maxima."""

    def __init__(self, model: Model, pool: Pool, check: Callable[[], None]) -> None:
        self.model, self.pool = model, pool
        members: dict[int, list[int]] = {}
        for k, group in enumerate(model.group.tolist()):
            members.setdefault(group, []).append(k)
        late_by_column = []
        for c in range(len(pool)):
            if c % 200 == 0:
                check()
            late_by_column.append(self._late(pool.crew_day[c], pool.jobs[c]))
        self.column = [(c, k) for c in range(len(pool)) for k in members[pool.crew_day[c]]]
        late = np.array([late_by_column[c] for c, _ in self.column], dtype=np.float64)
        cost = np.array([pool.cost[c] for c, _ in self.column], dtype=np.float64)
        jobs = pool.rows.jobs
        self.late = late
        none = np.zeros(jobs)
        self.all_cost = np.concatenate([model.skip_cost, cost, [0, 0]])
        self.all_overtime = np.concatenate([none, late, [0, 0]])
        self.largest_overtime = np.concatenate([none, np.zeros(len(late)), [1, 0]])
        self.largest_late = np.concatenate([none, np.zeros(len(late)), [0, 1]])
        self.alike = [ks for ks in members.values() if len(ks) > 1]

    def _late(self, k: int, jobs: Ints) -> int:
        if self.model.latest[k] <= self.model.end[k]:
            return 0
        found = time_route(self.model, k, [int(j) for j in jobs])
        return max(0, found.back - int(self.model.end[k])) if found else 0

    def values_of(self, plan: Mapping[int, Sequence[int]]) -> Any:
        """Return the plan as values of the program's columns."""
        pool, jobs = self.pool, self.pool.rows.jobs
        values = np.concatenate([np.ones(jobs), np.zeros(len(self.column) + 2)])
        place = {pair: n for n, pair in enumerate(self.column)}
        for k, stops in plan.items():
            values[jobs + place[pool.find(int(self.model.group[k]), stops), k]] = 1.0
            values[list(stops)] = 0.0
        return self._with_maxima(values)

    def _with_maxima(self, values: Any) -> Any:
        overtime = np.zeros(len(self.model.week.crews))
        late = np.zeros(len(self.model.week.crews))
        for n in np.nonzero(values[self.pool.rows.jobs : -2] > 0.5)[0]:
            crew = self.model.crew_of[self.column[n][1]]
            overtime[crew] += self.late[n]
            late[crew] += self.late[n] > 0
        values[-2:] = overtime.max(initial=0.0), late.max(initial=0.0)
        return values

    def solve(
        self, goal: Any, limits: Sequence[tuple[Any, float]], start: Any, seed: int, left: Callable[[], float]
    ) -> tuple[Any, bool]:
        """Return the best values found for `goal` (least), every limit kept, and whether they are proven best."""
        pool, rows = self.pool, self.pool.rows
        h = solver(rows, seconds=left() if np.isfinite(left()) else None)
        h.changeColsCost(rows.jobs, np.arange(rows.jobs, dtype=np.int32), goal[: rows.jobs])
        starts, index, value = pool.matrix([c for c, _ in self.column])
        count = len(self.column)
        h.addCols(
            count,
            goal[rows.jobs : -2],
            np.zeros(count),
            np.ones(count),
            len(index),
            starts[:-1].astype(np.int32),
            index.astype(np.int32),
            value,
        )
        for cost in goal[-2:]:
            h.addCol(float(cost), 0.0, INFINITY, 0, np.zeros(0, np.int32), np.zeros(0))
        whole = rows.jobs + count
        kinds = np.full(whole, highspy.HighsVarType.kInteger)
        h.changeColsIntegrality(whole, np.arange(whole, dtype=np.int32), kinds)
        for crew in range(len(self.model.week.crews)):
            own = [n for n, (_, k) in enumerate(self.column) if self.model.crew_of[k] == crew and self.late[n] > 0]
            columns = np.array([rows.jobs + n for n in own], dtype=np.int32)
            for weight, largest in ((self.late[own], whole), (np.ones(len(own)), whole + 1)):
                index = np.append(columns, largest).astype(np.int32)
                h.addRow(-INFINITY, 0.0, len(index), index, np.append(weight, -1.0))
        for k in (k for alike in self.alike for k in alike):
            mine = np.array([rows.jobs + n for n, (_, member) in enumerate(self.column) if member == k], dtype=np.int32)
            h.addRow(-INFINITY, 1.0, len(mine), mine, np.ones(len(mine)))
        for weights, most in limits:
            used = np.nonzero(weights)[0]
            h.addRow(-INFINITY, most + 1e-3, len(used), used.astype(np.int32), weights[used].astype(np.float64))
        h.setOptionValue("mip_rel_gap", 0.0)
        h.setOptionValue("mip_abs_gap", 0.5)
        h.setOptionValue("random_seed", seed % 2**31)
        solution = highspy.HighsSolution()
        solution.col_value = start.tolist()
        h.setSolution(solution)
        h.run()
        proven = h.getModelStatus() == highspy.HighsModelStatus.kOptimal
        if h.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return start, False
        found = self._with_maxima(np.round(np.array(h.getSolution().col_value)))
        return (found, proven) if goal @ found <= goal @ start else (start, False)

    def routes_of(self, values: Any) -> Routes:
        """Return the chosen columns as routes by crew day."""
        chosen = np.nonzero(values[self.pool.rows.jobs : -2] > 0.5)[0]
        return {self.column[n][1]: [int(j) for j in self.pool.jobs[self.column[n][0]]] for n in chosen}
