"""Diving: a plan out of the linear program's solution, its largest parts taken whole one after the other.

R. Sadykov, F. Vanderbeck, A. Pessoa, I. Tahiri, E. Uchoa: Primal heuristics for branch and price: the assets of diving
methods, INFORMS Journal on Computing 31(2), 2019. Routes are priced on the way, so that those taken find others to go
with; and where a dive took a route, another one does without it (limited discrepancy search: W. Harvey, M. Ginsberg,
IJCAI 1995).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np

from scheduler.engine.incumbent import Routes
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.master.integer import cost_of
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.pricing.columns import Columns

SURE = 0.95  # a part of a route from which a dive takes it whole
DAYS_A_PART, LEAST_PART = 40, 0.3  # for so many crew days a dive takes one more at once, each at least such a part
PARTS = 4  # times as many are looked at
DEEPEST, MOST_SHUT = 4, 2  # choices of a dive that others turn round, and how many one dive turns round
MOST_LOST = 20  # columns of one dive that no plan takes with the rest, after which it ends
PRICED = 1  # rounds of pricing after each step of the dives that price at all
MEND_ROUNDS, MEND_HEAT = 2_000, 0.02  # of ruin and recreate from a dive's plan; of what a stop costs
ENOUGH = 1e-4  # share of the program's value by which a round of pricing must lower it to be followed by another


class Dives:
    """Dives one after the other, each of which turns round one choice more of one before."""

    def __init__(self, relax: Relaxation, rounds: int, kept: Sequence[int] = ()) -> None:
        """`rounds` of pricing at most after each step; 0: only routes that are known are taken.

        kept: columns of the program that every dive takes before all others.
        """
        self.relax, self.rounds, self.kept = relax, rounds, list(kept)
        self.at_once = max(1, len(relax.model.crew_days) // DAYS_A_PART)
        self.waiting: deque[tuple[list[int], list[int]]] = deque()  # columns taken, and shut, to begin from
        self.again()

    def again(self) -> None:
        """Begin again: the prices are others."""
        self.waiting = deque([(self.kept, [])])
        self.made = 0

    @property
    def worn_out(self) -> bool:
        """Whether every dive has been made."""
        return not self.waiting

    def next(self, dear: float) -> list[int]:
        """Return columns of the pool that make a plan by the next dive, or a part where the value comes to `dear`.

        The program is left as it was. Jobs in no column taken are skipped.
        """
        relax = self.relax
        taken, shut = self.waiting.popleft()
        self.made += 1
        turned, choices, lost_now = len(shut), 0, 0
        before, basis = (relax.value, relax.dual, relax.primal), relax.lp.getBasis()
        relax.limit(shut, 0.0, 0.0)
        relax.limit(taken, 1.0, np.inf)
        try:
            possible = relax.solves()
            while possible:
                self._price(taken)
                whole, part = parts(relax, taken, self.at_once)
                if relax.value >= dear or not (whole or part):
                    break
                if part and choices < DEEPEST and turned < MOST_SHUT:
                    self.waiting.append((taken + whole, shut + part))
                choices += len(part)
                took, lost = take_whole(relax, whole + part)
                taken, shut = taken + took, shut + lost
                lost_now += len(lost)
                if lost_now > MOST_LOST:
                    break
            return taken
        finally:
            relax.limit(taken + shut, 0.0, np.inf)
            relax.value, relax.dual, relax.primal = before
            relax.back_to(basis)

    def _price(self, taken: list[int]) -> None:
        """Read the program's solution, after routes were priced that could go with those taken."""
        relax = self.relax
        relax.read()
        for _ in range(self.rounds):
            relax.check()
            value = relax.value
            if not relax.price_beside(taken):
                return
            relax.solve_lp()
            if value - relax.value < ENOUGH * value:
                return


class Diving:
    """Dives over known routes and such that price on the way, by turns, each plan bettered by ruin and recreate."""

    def __init__(self, relax: Relaxation, seed: int) -> None:
        self.relax, self.seed = relax, seed
        self.kinds = Dives(relax, 0), Dives(relax, PRICED)
        self.ruin: Ruin | None = None

    def first(self) -> list[int]:
        """Return the columns that one dive over known routes takes."""
        return Dives(self.relax, 0).next(np.inf)

    def again(self) -> None:
        """Begin again: the prices are others."""
        for dives in self.kinds:
            dives.again()

    @property
    def worn_out(self) -> bool:
        """Whether every dive has been made."""
        return all(dives.worn_out for dives in self.kinds)

    def next(self, dear: float) -> tuple[Routes, int]:
        """Return the next dive's plan, or a part of one where it comes to `dear`, with its cost."""
        taken = min((d for d in self.kinds if not d.worn_out), key=lambda d: d.made).next(dear)
        return self.relax.pool.routes_of(taken), cost_of(self.relax.pool, taken)

    def mended(self, routes: Routes) -> tuple[Columns, int]:
        """Return the plan that these routes are bettered to, jobs that they have not come to put in where that pays."""
        if self.ruin is None:
            self.ruin = Ruin(self.relax.model, self.seed + 1)
        self.ruin.begin_from(routes, afresh=True)
        self.ruin.run(MEND_ROUNDS, self.ruin.stop_cents * MEND_HEAT)
        self.relax.add(self.ruin.columns(self.ruin.now))
        return self.ruin.columns(), self.ruin.cost


def parts(relax: Relaxation, taken: list[int], most: int) -> tuple[list[int], list[int]]:
    """Return the columns not taken yet that are as good as whole, and the largest of the others.

    Of these there are `most` at most, no two of one crew day or with a row in common.
    """
    value, pool = relax.primal, relax.pool
    open_ = np.ones(len(value), dtype=bool)
    open_[taken] = False
    whole = np.nonzero(open_ & (value >= SURE))[0].tolist()
    part = np.where(open_ & (value < SURE) & (value > 1e-6), value, 0.0)
    found, used = list[int](), set[int]()
    for c in np.argsort(-part, kind="stable")[: PARTS * most].tolist():
        rows = {*relax.model.row_of[pool.jobs[c]].tolist(), -1 - pool.crew_day[c]}
        if part[c] > (LEAST_PART if found else 0.0) and len(found) < most and not rows & used:
            found.append(c)
            used |= rows
    return whole, found


def take_whole(relax: Relaxation, step: list[int]) -> tuple[list[int], list[int]]:
    """Take the columns whole; return those taken, and any that no plan takes with the rest, which is shut."""
    while step:
        relax.check()
        relax.limit(step, 1.0, np.inf)
        if relax.solves():
            return step, []
        relax.limit(step, 0.0, np.inf)
        if len(step) == 1:
            relax.limit(step, 0.0, 0.0)
            relax.solves()
            return [], step
        step = step[1:]
    return [], []
