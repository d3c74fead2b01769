"""Weeks in which crews have to meet: small ones are solved whole, of larger ones some days are planned anew in turn.

Once every set of stops that a better plan can hold on a crew day is listed, the model of the whole chooses among these.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from scheduler.engine.incumbent import Best
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.model.plans import timed
from scheduler.engine.model.timing import Timed

if TYPE_CHECKING:
    from scheduler.engine.search.choosing import Means
    from scheduler.engine.whole.week import Sets, WholePlan

MOST_SETS = 20_000  # of all crew days that the model of the whole week is given
FEW_SETS = 3_000  # with which it is to prove the week
PROVING_WORKERS = 2  # with these: more of the solver's kinds get in each other's way on two processors
WORKERS = 4  # each of its own kind: they find plans better by turns on two cores than two would
WHOLE_S, WHOLE_SHARE = 15.0, 0.1  # of the first try to prove the whole week: at least, and of the time given
FIRST_STOPS = 500  # of the crew days of a neighborhood
TURN_S = 6.0  # of one neighborhood
NEXT_LIST = 0.7  # of the gap at which sets were too many: listed again from here on
BEST_OF = 3  # neighborhoods that win nothing in a row, after which they become wider
WHOLE, ANEW = "whole week", "some days whole"  # means


class Meeting:
    """Solves the week by the model of the whole, as far as it can; every plan found is offered to `best`."""

    def __init__(
        self,
        best: Best,
        seed: int,
        left: Callable[[], float],
        check: Callable[[], None],
        list_sets: Callable[[int], dict[int, Sets] | None],
    ) -> None:
        """`list_sets`: lists by crew day what a better plan can do there, None where that is more than so many."""
        self.best, self.model, self.seed, self.left, self.check = best, best.model, seed, left, check
        self.list_sets, self.given = list_sets, left()
        self.every = list(range(len(self.model.crew_days)))
        self.too_many = np.inf  # the gap at which sets were last found to be too many
        self.whole_s = max(WHOLE_S, WHOLE_SHARE * self.given)  # of the next try to prove the whole week at once
        self.chance = np.random.default_rng([seed, 13])
        self.stops, self.without = FIRST_STOPS, 0

    def whole_weeks(self) -> None:
        """Without a limit of time: solve the whole week until it is proven; raises what `check` raises."""
        while not self.best.proven:
            self.check()
            sets = self.list_sets(MOST_SETS)
            if self.best.proven:
                return
            self.best.tell("solving the whole week at once")
            few = sets is not None and _count(sets) <= FEW_SETS
            self._solve(self.every, None, sets, to_the_end=few)

    def small_week(self) -> None:
        """Prove the week where few sets of stops can be in a better plan, for some of the time."""
        sets = self.list_sets(MOST_SETS)
        if not self.best.proven and sets is not None and _count(sets) <= FEW_SETS:
            self.best.tell("solving the whole week at once")
            self._solve(self.every, min(self.whole_s, self.left()), sets, to_the_end=True)

    def means(self) -> Means:
        """Return the means of closing the gap by the model of the whole: when each is able to, and one turn of it."""
        return {
            WHOLE: (lambda: self.best.cost - self.best.bound <= NEXT_LIST * self.too_many, self.prove),
            ANEW: (lambda: True, self.plan_anew),
        }

    def prove(self) -> None:
        """Prove the week where few sets of stops are left; each time for longer."""
        self.best.tell("solving the whole week at once")
        gap, sets = self.best.cost - self.best.bound, self.list_sets(MOST_SETS)
        if self.best.proven:
            return
        if sets is None or _count(sets) > FEW_SETS:
            self.too_many = gap
            return
        self._solve(self.every, min(self.whole_s, self.left()), sets, to_the_end=True)
        self.whole_s *= 2

    def plan_anew(self) -> None:
        """Plan the crew days of one neighborhood anew."""
        self.best.tell("planning some days anew")
        self._neighborhood(None)

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
        from scheduler.engine.whole.week import WholeModel  # CP-SAT takes a moment to load: only where crews meet

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

        workers = PROVING_WORKERS if to_the_end else WORKERS
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


def _count(sets: dict[int, Sets]) -> int:
    return sum(map(len, sets.values()))
