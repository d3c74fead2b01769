"""The plan that is to be expected to cost least: routes with what they cost beyond their plan, chosen by both.

The search ends with the cheapest plan as planned, prices, and routes. Every route whose reduced cost is small enough
that it could stand in a plan which costs less than that one with all that is to be expected is listed, as far as there
is room; each is given its recourse, and an integer program chooses. Of one crew day and set of jobs the order that is
cheapest as planned stands for all.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.master.integer import select
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.model.plans import plan_of
from scheduler.engine.search.choosing import Choosing
from scheduler.plan import Route

Recourse = Callable[[Route], float]  # cents that a route costs beyond its plan

MOST, ROOM = 40_000, 1_000_000  # routes listed, and labels for that
TRIED = 6_000  # routes whose recourse is asked, those of least reduced cost
LISTING, ASKING = 0.25, 0.7  # of the time given, until either ends; the choice has the rest


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
    chosen = [c for c in cents if c in own or reduced[c] + cents[c] <= gap]
    priced = pool.part(np.array(chosen, dtype=np.int64))
    priced.cost = [cost + round(cents[c]) for c, cost in zip(chosen, priced.cost, strict=True)]
    start = [chosen.index(c) for c in own]
    answer = select(priced, range(len(chosen)), seconds=max(0.5, left(1.0)), start=start, check=check)
    if answer.columns is None or set(answer.columns) == set(start):
        return None
    return pool.routes_of([chosen[c] for c in answer.columns])


def _route(best: Best, choosing: Choosing, column: int) -> Route:
    pool = choosing.relax.pool
    day, jobs = pool.crew_day[column], [int(j) for j in pool.jobs[column]]
    (route,) = plan_of(best.model, {day: jobs}, seconds=0.0, bound=None).routes
    return route
