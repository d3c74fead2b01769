"""Weeks in which crews have to meet: small ones are solved whole, of larger ones some days are planned anew in turn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scheduler.engine.model.plans import timed
from scheduler.engine.model.timing import Timed
from scheduler.engine.search.incumbent import Best
from scheduler.engine.search.whole import Whole, WholeModel

SMALL = 400  # stops of all crew days that the model of the whole week can decide on
FIRST_STOPS, LEAST_STOPS = 120, 30  # of a neighborhood, at first and at least
TURN_S = 6.0  # of one neighborhood
ROUNDING_CENTS = 0.5  # given away of a bound for its arithmetic, of each crew day none: costs are whole


class Meeting:
    """Solves the week by the model of the whole, as far as it can; every plan found is offered to `best`."""

    def __init__(
        self, best: Best, seed: int, left: Callable[[], float], check: Callable[[], None], workers: int
    ) -> None:
        self.best, self.model, self.seed, self.left, self.check = best, best.model, seed, left, check
        self.workers = workers
        self.chance = np.random.default_rng([seed, 13])
        self.stops = FIRST_STOPS

    def run(self) -> None:
        """Search until proven; raises what `check` raises."""
        every = list(range(len(self.model.crew_days)))
        if len(self.model.cand_job) <= SMALL or np.isinf(self.left()):
            self.best.tell("solving the whole week at once")
            while not self.best.proven:
                self.check()
                self._solve(every, None)
        while not self.best.proven:
            self.check()
            self.best.tell("planning some days anew")
            self._solve(self._free(), TURN_S)

    def _free(self) -> list[int]:
        """Return the crew days of the next neighborhood: those of whole days, near each other, that crews meet on."""
        model, size = self.model, np.diff(self.model.cand_ptr)
        middle = int(self.chance.integers(model.week.days))
        days = sorted(range(model.week.days), key=lambda d: (abs(d - middle), self.chance.random()))
        if self.chance.random() < 0.5:
            days = [middle, *self.chance.permutation(model.week.days).tolist()]
        free: list[int] = []
        for day in dict.fromkeys(days):
            here = np.nonzero(model.day_of == day)[0]
            if free and size[free].sum() + size[here].sum() > 4 * self.stops:
                break
            free += here.tolist()
        return free

    def _solve(self, free: list[int], seconds: float | None) -> None:
        routes, starts = self.best.plan_now()
        times = self.best.times or timed(self.model, routes, starts)
        open_days = set(free)
        kept: dict[int, tuple[list[int], Timed]] = {
            k: (list(items), times[k]) for k, items in routes.items() if k not in open_days
        }
        whole = WholeModel(self.model, free, kept)
        whole.hint(routes, times)
        left = self.left()
        limit = left if seconds is None else min(seconds, left)
        every = not kept
        found = whole.solve(
            None if np.isinf(limit) else limit,
            self.workers,
            self.seed,
            self._over,
            self._take,
            self._prove if every else lambda _: None,
        )
        if found.times is not None:
            self._take(found)
            if every:
                self._prove(found.bound)

    def _over(self) -> bool:
        return self.left() <= 0 or self.best.proven

    def _prove(self, bound: float) -> None:
        self.best.prove(bound - ROUNDING_CENTS if bound % 1 else bound)

    def _take(self, found: Whole) -> None:
        assert found.times is not None
        starts = {
            j: start
            for k, items in found.routes.items()
            for j, start in zip(items, found.times[k].starts, strict=True)
            if self.model.assist_of[j] >= 0
        }
        self.best.offer(found.routes, found.cost, starts, found.times)
