"""A solved week kept warm: what the best plan would cost with one job done on a given day, before or after noon.

With the prices of the week's linear program a plan costs at least `value` plus the reduced costs of its routes, none
of them negative. A plan with the job where it is wanted holds a route with the job there, so it costs at least `value`
plus the least reduced cost of such a route; and if it is to cost no more than `gap` above that, every other route of it
has a reduced cost of `gap` at most. All those are listed, and an integer program over them finds the best plan.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.master.integer import cost_of, select
from scheduler.engine.master.pool import Pool
from scheduler.engine.master.relaxation import EXACT_ROOM, Stopped
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.fixed import NOTHING, Fixed
from scheduler.engine.model.starts import Half, halves, starts, within
from scheduler.engine.pricing.columns import Columns
from scheduler.engine.pricing.crew_day import Day, Priced
from scheduler.engine.pricing.search import COMPLETE
from scheduler.engine.search.choosing import BETTER, FIRST_STEP, MARGIN
from scheduler.engine.search.closing import Closing
from scheduler.engine.search.phases import Search
from scheduler.week import Week

COARSE_MIN = 5  # steps of time in the bounds: looser than to the minute, and five times as quick
MOST_LISTED = 60_000  # routes kept without the job
LIST_ROOM = 1_000_000  # partial routes of one crew day on the way to them
FIRST_GAP = 1.0  # of the cost of a job on average
MOST_GAP = 1e9


@dataclass(frozen=True)
class Forced:
    """The best plan with the job in `half`: routes by crew day, its cost in cents, and whether that is proven least."""

    half: Half
    routes: Routes
    cost: int
    proven: bool


class Warm:
    """A week searched until its best plan is proven, or time is up, with all that the search has learnt.

    `ready` says whether there are prices, so that questions can be answered.
    """

    def __init__(
        self,
        week: Week,
        *,
        fixed: Fixed = NOTHING,
        seed: int = 0,
        workers: int = 2,
        left: Callable[[], float] = lambda: math.inf,
        check: Callable[[], None] = lambda: None,
        stopped: Callable[[], bool] = lambda: False,
    ) -> None:
        """Search; `left` gives the seconds that remain, `check` raises `Stopped` when the search has to end.

        `stopped`: asked now and then, also by questions later on, whether all is to be given up.
        """
        self.model = build(week, fixed=fixed)
        self.best = Best(self.model)
        self.threads = ThreadPoolExecutor(workers) if workers > 1 else None
        self.ready = False
        self.stopped = stopped
        if not self.model.crew_days:
            self.best.prove(float(self.best.cost))
            return
        self.search = Search(self.best, seed, left, check, self.threads)
        try:
            self.search.run()
        except Stopped:
            if not math.isfinite(self.search.relax.value):
                return
        self._prepare()

    def _prepare(self) -> None:
        relax = self.search.relax
        self.prices = relax.rows.prices(relax.dual, relax.days)
        least = self._map(self._least, relax.lead)
        if self.stopped() or any(value is None for value in least):
            return
        below = sum(int(relax.count[k]) * min(0.0, value or 0.0) for k, value in zip(relax.lead, least, strict=True))
        self.value = relax.dual_value() + below - relax.rounding
        self.pool = Pool(relax.rows)
        self.reduced = np.zeros(0)
        self.gap = 0.0
        self.ready = True
        gap = FIRST_GAP * self.best.cost / len(self.model.service)
        while not self._list(gap) and gap > MARGIN and not self.stopped():
            gap /= 4

    def _map(self, function: Callable[[int], Any], items: list[int]) -> list[Any]:
        return list(self.threads.map(function, items)) if self.threads else [function(k) for k in items]

    def _least(self, k: int) -> float | None:
        """Return the least reduced cost on a crew day, at most 0; None where not all could be seen."""
        if self.stopped():
            return None
        day = self.search.relax.days[k]
        return day.search(self.prices, -1e-6, every_set=False, room=EXACT_ROOM, most=1).least

    def _list(self, gap: float) -> bool:
        """List every route with a reduced cost up to `gap`, and return whether they are not too many."""
        if gap <= self.gap:
            return True
        relax = self.search.relax
        found, too_many = list[Columns](), list[int]()

        def one(k: int) -> None:
            if self.stopped() or sum(map(len, found)) > MOST_LISTED or too_many:
                return  # no list comes of it any more
            day = relax.days[k].search(self.prices, gap + MARGIN, every_set=True, room=LIST_ROOM)
            if day.ended == COMPLETE:
                found.append(day.columns)
            else:
                too_many.append(k)

        self._map(one, relax.lead)
        if len(found) < len(relax.lead) or sum(map(len, found)) > MOST_LISTED:
            return False
        for columns in sorted(found, key=lambda c: int(c.crew_day[0]) if len(c) else -1):
            self.pool.add(columns)
        self.reduced = self.pool.reduced(relax.dual)
        self.gap = gap
        return True

    def forced(self, job: int, most: int, known: dict[Half, int]) -> Iterator[Forced]:
        """Yield the best plan for each of the `most` half days that are cheapest for the job, and perhaps some more.

        `known`: costs at which plans with the job in a half day are known. Call only where `ready`.
        """
        question = _Question(self, job)
        limits = sorted(known.values())
        todo, done = set(halves(self.model, job)), list[int]()
        reach = 2 * FIRST_GAP * self.best.cost / len(self.model.service)
        if len(limits) >= most:
            reach = limits[most - 1] - self.value + MARGIN
        while todo and len(done) < most and reach < MOST_GAP and not self.stopped():
            least = {half: value for half in sorted(todo) if (value := question.least(half, reach)) is not None}
            for half in sorted(least, key=lambda h: (least[h], h)):
                ceiling = sorted(done)[most - 1] if len(done) >= most else math.inf
                if self.stopped() or self.value + least[half] >= ceiling:
                    break
                todo.discard(half)
                answer = question.solve(half, least[half], min(ceiling, known.get(half, math.inf)))
                if answer is not None:
                    done.append(answer.cost)
                    yield answer
            reach *= 8


class _Question:
    """One job's routes by half day, under the prices of the warm week."""

    def __init__(self, warm: Warm, job: int) -> None:
        self.warm, self.job, self.relax = warm, job, warm.search.relax
        self.models: dict[Half, Model] = {}
        self.step = FIRST_STEP * len(warm.model.crew_days)

    def days(self, half: Half) -> list[Day]:
        """Return the crew days that have a start for the job in the half day, with no other start for it."""
        if half not in self.models:
            self.models[half] = within(self.warm.model, self.job, half)
        model, found = self.models[half], []
        for k in self.relax.lead:
            if model.day_of[k] == half.day and any(starts(model, self.job, k)):
                found.append(self.relax.days[k].starting(model, COARSE_MIN))
        return found

    def search(self, half: Half, reach: float, *, every_set: bool) -> list[Priced]:
        """Return the routes with the job in the half day whose reduced cost is under `reach`, or the least by crew day.

        The job is given a prize of `reach`, so that a route without it is not under 0.
        """
        prices = self.warm.prices
        days = self.days(half)

        def one(n: int) -> Priced:
            day = days[n]
            job = list(prices.job)
            job[day.k] = job[day.k] + np.where(day.jobs == self.job, reach, 0.0)
            return day.search(
                replace(prices, job=job), -1e-6, every_set=every_set, room=EXACT_ROOM, most=0 if every_set else 1
            )

        return self.warm._map(one, list(range(len(days))))

    def least(self, half: Half, reach: float) -> float | None:
        """Return the least reduced cost of a route with the job in the half day, None where it is over `reach`."""
        searched = self.search(half, reach, every_set=False)
        if any(day.ended != COMPLETE for day in searched):
            return 0.0  # none is under that
        found = np.concatenate([d.reduced[d.columns.serving(self.job)] for d in searched] or [np.zeros(0)])
        return float(found.min()) + reach if len(found) else None

    def solve(self, half: Half, least: float, ceiling: float) -> Forced | None:
        """Return the best plan with the job in the half day, None where it surely costs more than `ceiling`."""
        warm = self.warm
        floor = warm.value + least
        gap = min(ceiling - floor, warm.gap)
        cost, made = ceiling, None
        while not warm.stopped():
            listed, complete = warm._list(gap), True
            gap = gap if listed else warm.gap
            slack = gap + self.relax.rounding + MARGIN
            without = ~warm.pool.columns().serving(self.job)
            pool = warm.pool.part(np.nonzero(without & (warm.reduced <= slack))[0])
            for day in self.search(half, least + slack, every_set=True):
                complete &= day.ended == COMPLETE
                pool.add(day.columns.take(day.columns.serving(self.job)))
            whole = floor + gap + MARGIN  # plans up to this cost are made of what is listed
            proven, found = self._choose(pool, cost, whole, first=self.step if made is None else len(pool))
            if found is not None:
                cost, made = float(cost_of(pool, found)), [(pool.crew_day[c], pool.jobs[c].tolist()) for c in found]
            proven = complete and proven and cost <= whole
            if proven or not (listed and complete) or gap >= MOST_GAP:
                return None if made is None else Forced(half, self._dealt(made), int(cost), proven)
            wider = cost - floor if math.isfinite(cost) else 4 * gap + 1
            gap = min(wider, MOST_GAP)
        return None

    def _choose(self, pool: Pool, most: float, whole: float, first: int) -> tuple[bool, list[int] | None]:
        """Return the best choice of columns that leaves the job out in none, and whether nothing is cheaper.

        `most`: dearer choices are not looked for. No proof is tried where it would be of no use: above a cost of
        `whole` choices may be missing. `first`: as of `Closing.steps`.
        """
        closing = Closing(pool, list(range(len(pool))), lambda: None, must=self.job)
        cost, found = most, None

        def known() -> float:
            return cost

        closing.run(np.array(self.relax.dual), known, MARGIN, lambda _: None)
        proven = True  # where there is no choice at all there are no steps
        for places in closing.steps(known, MARGIN, first):
            last = len(places) == np.count_nonzero(closing.reduced <= cost - closing.value + MARGIN)
            if last and found is not None and cost > whole:
                return False, found
            answer = select(
                pool,
                closing.kept[places].tolist(),
                seconds=None,
                cuts=closing.limits(places),
                must=self.job,
                better_than=cost + BETTER,
                heuristics=False,
            )
            if answer.columns is not None and (answer.cost < cost or (found is None and answer.cost == cost)):
                cost, found = answer.cost, answer.columns
            proven = answer.proven
        return proven, found

    def _dealt(self, chosen: list[tuple[int, list[int]]]) -> Routes:
        """Give the routes of equal crew days to those that have most of their jobs in the best plan."""
        members, best = self.warm.search.relax.pool.members, self.warm.best.routes
        made: Routes = {}
        for group, jobs in sorted(chosen, key=lambda c: -len(c[1])):
            free = [k for k in members[group] if k not in made]
            made[max(free, key=lambda k: len(set(jobs) & set(best.get(k, ()))))] = jobs
        return made
