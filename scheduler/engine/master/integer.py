"""Integer programs over chosen columns of the pool."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import highspy
import numpy as np

from scheduler.engine.master.pool import Pool
from scheduler.engine.master.solver import append, solver
from scheduler.engine.model.arrays import Ints

# Beside a good selection the solver's own search for one, and its fresh starts on what it has not fixed, take more time
# than they save: a profile of the last integer programs of offers on invented weeks.
PROOF_ALONE = (
    "mip_heuristic_run_feasibility_jump",
    "mip_heuristic_run_rins",
    "mip_heuristic_run_rens",
    "mip_heuristic_run_root_reduced_cost",
    "mip_allow_restart",
)


class Limit(NamedTuple):
    """A cut over columns: the sum of `weight` over those taken is at most `most`."""

    columns: Ints
    weight: Any
    most: float

    def over(self, position: Ints) -> Limit:
        """Return the cut over columns that have another position now, those with none (below 0) left out."""
        now = position[self.columns]
        here = now >= 0
        return Limit(now[here], self.weight[here], self.most)


@dataclass(frozen=True)
class Answer:
    """The columns of the best selection found (None: none), its cost, and the bound over the chosen ones."""

    columns: list[int] | None
    cost: float
    bound: float
    proven: bool


def select(
    pool: Pool,
    chosen: Sequence[int],
    *,
    seconds: float | None,
    fixed: Sequence[int] = (),
    start: Sequence[int] = (),
    cuts: Sequence[Limit] = (),
    better_than: float = np.inf,
    seed: int = 0,
    check: Callable[[], None] = lambda: None,
    nodes: int | None = None,
    better: Callable[[list[int], float], None] | None = None,
    must: int | None = None,
    heuristics: bool = True,
) -> Answer:
    """Return the cheapest selection of `chosen` columns that takes every one of `fixed` too.

    `start` is a selection to begin from; `cuts` hold positions in `chosen`, where nothing is fixed;
    `better_than`: dearer selections are not looked for. `nodes` limits the branching, so that a run can be repeated
    exactly. `better` is told of each better selection as it is found. `must`: a job that may not be skipped.
    `heuristics`: False where a good selection is known. Raises what `check` raises, at the next moment when the solver
    lets go.
    """
    held = set(fixed)
    columns = [*fixed, *(c for c in chosen if c not in held)]
    rows = pool.rows
    h = solver(rows, seconds=seconds)
    append(h, pool, columns)
    total = rows.first + len(columns)
    kinds = np.full(total, highspy.HighsVarType.kInteger)
    h.changeColsIntegrality(total, np.arange(total, dtype=np.int32), kinds)
    most = np.ones(total)
    most[rows.skips : rows.first] = np.inf
    h.changeColsBounds(total, np.arange(total, dtype=np.int32), np.zeros(total), most)
    for n in range(len(fixed)):
        h.changeColBounds(rows.first + n, 1.0, 1.0)
    if must is not None:
        h.changeColBounds(must, 0.0, 0.0)
    for name in PROOF_ALONE if not heuristics else ():
        h.setOptionValue(name, False)
    h.setOptionValue("mip_rel_gap", 0.0)
    h.setOptionValue("mip_abs_gap", 0.5)
    h.setOptionValue("random_seed", seed % 2**31)
    if nodes is not None:
        h.setOptionValue("mip_max_nodes", nodes)
    if np.isfinite(better_than):
        h.setOptionValue("objective_bound", float(better_than))
    for cut in cuts:
        h.addRow(-np.inf, cut.most, len(cut.columns), (cut.columns + rows.first).astype(np.int32), cut.weight)
    if start:
        h.setSolution(_point(pool, columns, [*fixed, *start]))
    raised: list[BaseException] = []

    def poll(event: Any) -> None:
        try:
            check()
        except BaseException as stop:
            raised.append(stop)
            event.interrupt()

    def found(event: Any) -> None:
        value = np.array(event.data_out.mip_solution)[rows.first :]
        if better and not raised:
            try:
                better([columns[c] for c in np.nonzero(value > 0.5)[0]], float(event.data_out.objective_function_value))
            except BaseException as fault:  # handed on below: nothing may be raised through the solver
                raised.append(fault)

    h.cbMipInterrupt.subscribe(poll)
    h.cbMipImprovingSolution.subscribe(found)
    h.run()
    h.cbMipInterrupt.unsubscribe(poll)
    h.cbMipImprovingSolution.unsubscribe(found)
    if raised:
        raise raised[0]
    info = h.getInfo()
    status = h.getModelStatus()
    proven = status == highspy.HighsModelStatus.kOptimal
    empty = status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kObjectiveBound)
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Answer(None, np.inf, better_than if empty else info.mip_dual_bound, empty)
    value = np.array(h.getSolution().col_value)[rows.first :]
    taken = [columns[c] for c in np.nonzero(value > 0.5)[0]]
    cost = cost_of(pool, taken)
    if start and abs(cost - info.objective_function_value) > 0.5:
        # HiGHS 1.16 can call the given start optimal, at a wrong value, where its presolve has solved the whole.
        return select(
            pool,
            chosen,
            seconds=seconds,
            fixed=fixed,
            cuts=cuts,
            better_than=better_than,
            seed=seed,
            check=check,
            nodes=nodes,
            better=better,
            must=must,
            heuristics=heuristics,
        )
    return Answer(taken, cost, min(cost, float(info.mip_dual_bound)), proven and abs(cost - info.mip_dual_bound) < 1)


def cost_of(pool: Pool, taken: Sequence[int]) -> int:
    """Return what a selection of columns costs in cents, jobs in none of them skipped."""
    model, rows = pool.rows.model, pool.rows
    skip = rows.base.skip_cost[: rows.jobs].copy()  # once for all copies of a job
    for c in taken:
        skip[model.row_of[pool.jobs[c]]] = 0
    past = int((_minutes_past(pool, taken) * model.weekly_cents).sum())
    return sum(pool.cost[c] for c in taken) + int(skip.sum()) + past


def _minutes_past(pool: Pool, taken: Sequence[int]) -> Any:
    """Return by row of weekly minutes those past the free ones."""
    model = pool.rows.model
    out = np.zeros(len(model.weekly_cap), dtype=np.int64)
    for c in taken:
        if (row := model.weekly_row[pool.crew_day[c]]) >= 0:
            out[row] += pool.out[c]
    return np.maximum(0, out - model.weekly_cap)


def _point(pool: Pool, columns: Sequence[int], start: Sequence[int]) -> Any:
    rows = pool.rows
    value = np.zeros(rows.first + len(columns))
    value[: rows.skips] = 1.0
    value[rows.skips : rows.first] = _minutes_past(pool, start)
    place = {c: n for n, c in enumerate(columns)}
    for c in start:
        value[rows.first + place[c]] = 1.0
        done = rows.model.row_of[pool.jobs[c]]
        value[done[done < rows.skips]] = 0.0
    solution = highspy.HighsSolution()
    solution.col_value = value.tolist()
    return solution
