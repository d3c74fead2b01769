"""Weeks in which crews have to meet: small ones are solved whole, of larger ones some days are planned anew in turn.

Once every set of stops that a better plan can hold on a crew day is listed, the model of the whole chooses among these.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.model.plans import timed
from scheduler.engine.model.timing import Timed
from scheduler.engine.search.incumbent import Best

if TYPE_CHECKING:
    from scheduler.engine.search.by_interval import ByInterval
    from scheduler.engine.search.whole import Sets, WholePlan

MOST_SETS = 20_000  # of all crew days that the model of the whole week is given
FEW_SETS = 3_000  # with which it is given all the time and both processors: it will end
PROVING_WORKERS = 2  # with these: more of the solver's kinds get in each other's way on two processors
WHOLE_SHARE = 0.3  # of the time left, for the whole week at once, until some days are planned anew
FIRST_STOPS = 500  # of the crew days of a neighborhood
TURN_S = 6.0  # of one neighborhood
ROUNDS = 6  # of planning some days anew, between two looks at the whole
NEXT_LIST = 0.9  # of the gap at which sets were too many: listed again from here on
BOUND_SHARE = 0.15  # of the time left, for cuts
BEST_OF = 3  # neighborhoods that win nothing in a row, after which they become wider


class Meeting:
    """Solves the week by the model of the whole, as far as it can; every plan found is offered to `best`."""

    def __init__(
        self,
        best: Best,
        seed: int,
        left: Callable[[], float],
        check: Callable[[], None],
        workers: int,
        list_sets: Callable[[int], dict[int, Sets] | None],
        by_interval: Callable[[], ByInterval],
        alone: Callable[[], None],
    ) -> None:
        """`list_sets`: lists by crew day what a better plan can do there, None where that is more than so many.

        `alone`: ends whatever else searches, so that the processors are free.
        """
        self.best, self.model, self.seed, self.left, self.check = best, best.model, seed, left, check
        self.workers, self.list_sets, self.by_interval, self.alone = workers, list_sets, by_interval, alone
        self.dives: ByInterval | None = None
        self.too_many = np.inf  # the gap at which sets were last found to be too many
        self.chance = np.random.default_rng([seed, 13])
        self.stops, self.without = FIRST_STOPS, 0

    def run(self) -> None:
        """Search until proven; raises what `check` raises."""
        every = list(range(len(self.model.crew_days)))
        endless = np.isinf(self.left())
        while not self.best.proven:
            self.check()
            before, sets = self.best.cost, self._listed()
            if self.best.proven:
                return
            count = 0 if sets is None else sum(map(len, sets.values()))
            few = sets is not None and count <= FEW_SETS
            if endless or few:
                self.best.tell("solving the whole week at once")
                self.alone()
                self._solve(every, None if endless else self.left(), sets, to_the_end=few)
            elif self.dives is None:
                self.dives = self._first_dive()
                continue
            self.best.tell("planning some days anew")
            for turn in range(ROUNDS):
                if not self.best.proven:
                    self.check()
                    if self.dives and turn:
                        self.dives.again()
                    else:
                        self._neighborhood(sets)
            if sets is not None and self.best.cost == before and not self.best.proven:
                self.best.tell("solving the whole week at once")
                self._solve(every, WHOLE_SHARE * self.left(), sets)

    def _listed(self) -> dict[int, Sets] | None:
        """Return every set of items that a better plan can have, where they are not too many: listed as gaps close."""
        gap = self.best.cost - self.best.bound
        if gap > NEXT_LIST * self.too_many:
            return None
        sets = self.dives.sets(MOST_SETS) if self.dives else None
        if sets is None:  # a set counts once for each way to spread its meetings over intervals: whole, they may be few
            sets = self.list_sets(MOST_SETS)
        if sets is None:
            self.too_many = gap
        return sets

    def _first_dive(self) -> ByInterval:
        """Return the relaxation by intervals, its bound raised and the plan of a dive offered."""
        self.best.tell("raising the bound")
        dives, given = self.by_interval(), self.left()
        dives.bound()
        self.best.tell("planning days whose crews nearly meet")
        dives.dive()
        while not self.best.proven and self.left() > (1 - BOUND_SHARE) * given and dives.tighten():
            pass
        self.too_many = np.inf
        return dives

    def _neighborhood(self, sets: dict[int, Sets] | None) -> None:
        before = self.best.cost
        self.without += 1
        self._solve(self._free(), min(TURN_S, self.left()), sets)
        if self.best.cost < before:
            self.without = 0
        elif self.without >= BEST_OF:
            self.without, self.stops = 0, int(1.3 * self.stops)

    def _free(self) -> list[int]:
        """Return the crew days of the next neighborhood: those of whole days, near each other or not."""
        model, size = self.model, np.diff(self.model.cand_ptr)
        middle = int(self.chance.integers(model.week.days))
        days = sorted(range(model.week.days), key=lambda d: (abs(d - middle), self.chance.random()))
        if self.chance.random() < 0.5:
            days = [middle, *self.chance.permutation(model.week.days).tolist()]
        free: list[int] = []
        for day in dict.fromkeys(days):
            here = np.nonzero(model.day_of == day)[0]
            if free and size[free].sum() + size[here].sum() > self.stops:
                break
            free += here.tolist()
        return free

    def _solve(
        self, free: list[int], seconds: float | None, sets: dict[int, Sets] | None, to_the_end: bool = False
    ) -> None:
        """Plan these crew days anew; `to_the_end`: few enough sets are left to prove that nothing else is cheaper."""
        from scheduler.engine.search.whole import WholeModel  # CP-SAT takes a moment to load: only where crews meet

        routes, starts = self.best.plan_now()
        most = self.best.cost  # plans outside of `sets` cost no less
        times = self.best.times or timed(self.model, routes, starts)
        open_days = set(free)
        kept: dict[int, tuple[list[int], Timed]] = {
            k: (list(items), times[k]) for k, items in routes.items() if k not in open_days
        }
        whole = WholeModel(self.model, free, kept, sets)
        if to_the_end:
            whole.under(most)
        else:
            whole.hint(routes, times)
        every = len(free) == len(self.model.crew_days)

        def prove(bound: float) -> None:
            if every:
                self.best.prove(min(bound, float(most)))

        workers = PROVING_WORKERS if to_the_end else self.workers
        if seconds is None:
            workers = 1  # without a limit of time the same week gives the same plan
        found = whole.solve(seconds, workers, self.seed, self._over, self._take, prove)
        if found.times is not None:
            self._take(found)
        prove(found.bound)

    def _over(self) -> bool:
        try:
            self.check()
        except Stopped:
            return True
        return self.best.proven

    def _take(self, found: WholePlan) -> None:
        assert found.times is not None
        starts = {
            j: start
            for k, items in found.routes.items()
            for j, start in zip(items, found.times[k].starts, strict=True)
            if self.model.assist_of[j] >= 0
        }
        self.best.offer(found.routes, found.cost, starts, found.times)
