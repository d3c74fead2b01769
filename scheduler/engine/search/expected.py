"""The plan that is to be expected to cost least: routes with what they cost beyond their plan, chosen by both.

The search ends with the cheapest plan as planned, prices, and routes. Every route whose reduced cost is small enough
that it could stand in a plan which costs less than that one with all that is to be expected is listed, as far as there
is room; each is given its recourse, and an integer program chooses. Of one crew day and set of jobs the order that is
cheapest as planned stands for all.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.master.decided import nothing
from scheduler.engine.master.integer import cost_of, select
from scheduler.engine.master.pool import Pool
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.master.solver import append, solver
from scheduler.engine.model.plans import plan_of
from scheduler.engine.search.choosing import Choosing
from scheduler.plan import Route

Recourse = Callable[[Route], float]  # cents that a route costs beyond its plan

MOST, ROOM = 40_000, 1_000_000  # routes listed, and labels for that
TRIED = 6_000  # routes whose recourse is asked, those of least reduced cost
FEW = 25  # routes a crew day to choose from
LISTING, ASKING, CHOOSING = 0.15, 0.5, 0.95  # of the time given, until each ends


def choose_expected(
    best: Best, choosing: Choosing, recourse: Recourse, seconds: float, stopped: Callable[[], bool]
) -> Routes | None:
    """Return the routes found to cost least with their recourse, None where those of `best` do.

    seconds: to take at most, about. stopped: asked often; true ends this without a choice.
    """
    began, relax = time.perf_counter(), choosing.relax
    pool = relax.pool

    def left(share: float) -> float:
        return share * seconds - (time.perf_counter() - began)

    def check() -> None:
        if stopped():
            raise Stopped

    relax.check = check
    best.tell("weighing late arrivals")
    relax.lean(nothing(relax.rows))  # what was decided holds for plans that are cheaper as planned
    relax.solve_lp()
    choosing.take_in()
    own = list(choosing.column_of.values())
    if not own:
        return None
    cents = {c: recourse(_route(best, choosing, c)) for c in own}
    gap = best.cost + max(0.0, sum(cents.values())) - relax.value + relax.rounding
    relax.under(gap, MOST, ROOM, at_most_s=left(LISTING))
    reduced = pool.reduced(relax.dual)
    for c in np.argsort(reduced, kind="stable")[:TRIED].tolist():
        if reduced[c] > gap or left(ASKING) <= 0:
            break
        check()
        if c not in cents:
            cents[c] = recourse(_route(best, choosing, c))
    known = list(cents)
    priced = pool.part(np.array(known, dtype=np.int64))
    priced.cost = [cost + round(cents[c]) for c, cost in zip(known, priced.cost, strict=True)]
    start = [known.index(c) for c in own]
    few = _cheapest(priced, start, FEW * len(best.model.crew_days))
    found = [start]
    with suppress(Stopped):  # what was found until then is kept
        select(
            priced,
            few,
            seconds=max(0.5, left(CHOOSING)),
            start=start,
            check=check,
            better=lambda columns, _: found.append(columns),
        )
    least = min(found, key=lambda columns: cost_of(priced, columns))
    return None if set(least) == set(start) else pool.routes_of([known[c] for c in least])


def _cheapest(priced: Pool, own: list[int], most: int) -> list[int]:
    """Return `own` and the columns of least reduced cost by the linear program over all, `most` of them at most.

    Without those that stand in no plan which is cheaper than that of `own`.
    """
    h = solver(priced.rows)
    append(h, priced, range(len(priced)))
    h.run()
    reduced = priced.reduced(np.array(h.getSolution().row_dual))
    gap = cost_of(priced, own) - h.getInfo().objective_function_value
    order = np.argsort(reduced, kind="stable")[:most].tolist()
    mine = set(own)
    return [*own, *(c for c in order if reduced[c] <= gap and c not in mine)]


def _route(best: Best, choosing: Choosing, column: int) -> Route:
    pool = choosing.relax.pool
    day, jobs = pool.crew_day[column], [int(j) for j in pool.jobs[column]]
    (route,) = plan_of(best.model, {day: jobs}, seconds=0.0, bound=None).routes
    return route
