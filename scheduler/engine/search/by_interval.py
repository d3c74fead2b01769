"""Weeks in which crews meet: the program whose starts are cut into intervals, and plans by dives on it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.master.relaxation import VERY_MANY_DAYS, Relaxation
from scheduler.engine.model.intervals import by_intervals
from scheduler.engine.model.plans import timed
from scheduler.engine.pricing.columns import Columns, columns_of_routes
from scheduler.engine.search.closing import Closing
from scheduler.engine.search.diving import MEND_HEAT, MEND_ROUNDS, PRICED, Dives
from scheduler.engine.search.nearly import Nearly, Route

if TYPE_CHECKING:
    from scheduler.engine.whole.week import Sets

BOUND_SHARE = 0.15  # of the time left, for cuts at first
CUT_STALL = 0.02  # share of the gap that a round of cuts must close to be followed by another
DAY_ROOM = 2_000_000  # labels of a crew day to list its sets
MARGIN = 1.0  # cents kept clear of every comparison with the gap
FEWEST_DAYS, MOST_DAYS = 2, 5  # that a dive plans anew
BY_PROGRAM = 0.5  # of these dives, as far as the program does jobs that the plan leaves out
PIECES, FEW_PIECES = 6, 2  # intervals of the starts of a job that has an assist, at most; of very many crew days


class ByInterval:
    """The relaxation of a week's copies by interval (`model.intervals`), and plans made of it."""

    def __init__(self, best: Best, seed: int, check: Callable[[], None], threads: ThreadPoolExecutor | None) -> None:
        self.best, self.seed, self.check = best, seed, check
        self.chance = np.random.default_rng([seed, 17])
        very_many = len(best.model.crew_days) >= VERY_MANY_DAYS
        self.copies = by_intervals(best.model, FEW_PIECES if very_many else PIECES)
        self.model = self.copies.model
        self.relax = Relaxation(self.model, seed, check, threads)
        self.nearly = Nearly(best, self.copies, seed, check)
        self.ruin = Ruin(best.model, seed + 1)

    def take(self, known: Columns) -> None:
        """Take in routes of the week itself, as far as nobody meets on them, and those of the best plan."""
        alone = known.take(known.sum_over_jobs(self.nearly.meeting) == 0)
        item = np.array([self.copies.item.get((j, 0), -1) for j in range(len(self.nearly.meeting))], dtype=np.int64)
        self.relax.add(replace(alone, crew_day=self.model.group[alone.crew_day], jobs=item[alone.jobs]))
        self.relax.add(columns_of_routes(self.model, self.nearly.state()[0]))

    def bound(self, met: Callable[[], Sequence[Columns]] = lambda: ()) -> None:
        """Solve the relaxation and keep its bound, which is one on every plan of the week.

        met: gives routes of copies met meanwhile; where pricing takes long, they come in on the way.
        """
        self.best.tell("raising the bound")

        def progress() -> None:
            self._prove()
            for columns in met() if self.relax.very_many else ():
                self.relax.add(columns)

        self.relax.run(progress)
        self._prove()

    def tighten(self) -> bool:
        """Cut off a part of what is no plan; say whether that closed enough of the gap to be done again."""
        before = self.relax.bound
        cut = self.relax.tighten(self._prove)
        self._prove()
        return cut and self.relax.bound - before > CUT_STALL * (self.best.cost - before)

    def _prove(self) -> None:
        self.best.prove(self.relax.bound)

    def sets(self, most: int) -> dict[int, Sets] | None:
        """Return what `every_set` does of a plan better than the best."""
        return every_set(self.relax, self.best, most)

    def begin(self, left: Callable[[], float], given: float) -> None:
        """Offer the plan of a dive, and cut for some of the time `given` while that closes the gap."""
        self.best.tell("planning days whose crews nearly meet")
        self.dive()
        self.best.tell("raising the bound")
        while not self.best.proven and left() > (1 - BOUND_SHARE) * given and self.tighten():
            pass

    def dive(self) -> None:
        """Offer the plan of a dive."""
        taken = Dives(self.relax, PRICED).next(np.inf)
        self._offer(self.relax.pool.routes_of(taken), {})

    def again(self) -> None:
        """Offer the plan of a dive in which the best plan's routes stay, but for those of a few days."""
        self.best.tell("planning days whose crews nearly meet")
        model = self.best.model
        routes, starts = self.best.plan_now()
        free = self._free(routes)
        times = self.best.times or timed(model, routes, starts)
        held = {k: (items, times[k]) for k, items in routes.items() if int(model.day_of[k]) not in free}
        stay = {k: [self.copies.of(item, starts) for item in items] for k, (items, _) in held.items()}
        columns, pool = columns_of_routes(self.model, stay), self.relax.pool
        self.relax.add(columns)
        places = enumerate(zip(columns.crew_day.tolist(), columns.out.tolist(), strict=True))
        kept = [pool.find(group, columns.jobs_of(c), out) for c, (group, out) in places]
        self.relax.solve_lp()  # with the columns that are new
        taken = Dives(self.relax, PRICED, kept).next(np.inf)[len(kept) :]
        self._offer(pool.routes_of(taken, beside=held), held)

    def _offer(self, routes: Routes, held: Mapping[int, Route]) -> None:
        """Offer the plan of these routes, and what ruin and recreate makes of it."""
        if (planned := self.nearly.planned(routes, held)) is None:
            return
        self.nearly.take(planned)
        ruin = self.ruin
        ruin.begin_from({k: items for k, (items, _) in planned.items()}, self.nearly.starts(planned), afresh=True)
        ruin.run(MEND_ROUNDS, ruin.stop_cents * MEND_HEAT)
        self.best.offer(ruin.routes(), ruin.cost, ruin.starts())

    def _free(self, routes: Routes) -> set[int]:
        """Return the days of the next dive: where the program does other jobs than the plan, some in a row, or any."""
        days = self.model.week.days
        count = min(days, int(self.chance.integers(FEWEST_DAYS, MOST_DAYS + 1)))
        kind = self.chance.random()
        if kind < BY_PROGRAM and (asked := self._asked(routes)):
            others = (d for d in self.chance.permutation(days).tolist() if d not in asked)
            return asked.union(itertools.islice(others, max(0, count - len(asked))))
        if kind < (1 + BY_PROGRAM) / 2:
            return set(self.chance.permutation(days)[:count].tolist())
        first = int(self.chance.integers(days - count + 1))
        return set(range(first, first + count))

    def _asked(self, routes: Routes) -> set[int]:
        """Return a day on which the program does a job that the plan leaves out, and one on which it is the other way.

        Empty where the plan does all that the program does for the most part.
        """
        model, relax, jobs = self.best.model, self.relax, len(self.best.model.week.jobs)
        done = np.zeros((len(self.nearly.meeting), model.week.days))  # by item and day, how much of it
        for c in np.nonzero(relax.primal > 1e-6)[0].tolist():
            items = self.model.row_of[relax.pool.jobs[c]]
            done[items, self.model.day_of[relax.pool.crew_day[c]]] += relax.primal[c]
        whole = done.sum(axis=1) > 0.5
        at = {item: int(model.day_of[k]) for k, items in routes.items() for item in items}
        missing = [j for j in range(jobs) if whole[j] and j not in at]
        if not missing:
            return set()
        job = done[missing[int(self.chance.integers(len(missing)))]]
        asked = {int(self.chance.choice(model.week.days, p=job / job.sum()))}
        instead = [j for j in at if j < jobs and not whole[j]]
        return asked | ({at[instead[int(self.chance.integers(len(instead)))]]} if instead else set())


def every_set(relax: Relaxation, best: Best, most: int) -> dict[int, Sets] | None:
    """Return by crew day every set of the week's items that a plan cheaper than the best can have there.

    Each comes with its least cents and minutes out. Cuts over the routes listed raise the best's bound, and drop those
    that pass what is left of the gap. None where there are more than `most` before that.
    """
    model, pool, cost = relax.model, relax.pool, best.cost
    gap = cost - relax.bound + relax.rounding + MARGIN
    if np.isinf(gap) or not relax.under(gap, most, DAY_ROOM, all_or_none=True):
        return None
    left = np.nonzero(pool.reduced(relax.dual) < gap)[0]
    if len(left):
        closing = Closing(pool, left.tolist(), relax.check)
        closing.run(relax.dual, lambda: float(cost), MARGIN, best.prove)
        left = closing.kept
    found: dict[int, Sets] = {}
    for c in left.tolist():
        items = frozenset(model.row_of[pool.jobs[c]].tolist())
        own = found.setdefault(pool.crew_day[c], {})
        cents, out = own.get(items, (pool.cost[c], pool.out[c]))
        own[items] = min(cents, pool.cost[c]), min(out, pool.out[c])
    return {k: found.get(group, {}) for k, group in enumerate(model.group.tolist())}
