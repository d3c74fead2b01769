"""Plans of weeks in which crews meet: dives on the program whose starts are cut into intervals, then timed as one.

The crews of a dive's routes meet to within an interval. A model of the whole week that may choose these routes alone
finds the minutes at which they do, and which meetings cannot be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.model.intervals import by_intervals
from scheduler.engine.model.plans import timed, weekly_cents
from scheduler.engine.model.timing import Timed
from scheduler.engine.pricing.columns import columns_of_routes
from scheduler.engine.search.closing import Closing
from scheduler.engine.search.diving import PRICED, Dives
from scheduler.engine.search.incumbent import Best

if TYPE_CHECKING:
    from scheduler.engine.search.whole import Sets

Route = tuple[list[int], Timed]  # a route's items in order, and their times

CUT_STALL = 0.02  # share of the gap that a round of cuts must close to be followed by another
DAY_ROOM = 2_000_000  # labels of a crew day to list its sets
MARGIN = 1.0  # cents kept clear of every comparison with the gap
DAY_S = 1.0  # to time one day's meetings
FEWEST_DAYS, MOST_DAYS = 2, 5  # that a dive plans anew
PIECES = 6  # intervals of the starts of a job that has an assist, at most


class ByInterval:
    """The relaxation of a week's copies by interval (`model.intervals`), and plans made of it."""

    def __init__(self, best: Best, seed: int, check: Callable[[], None], threads: ThreadPoolExecutor | None) -> None:
        self.best, self.seed, self.check = best, seed, check
        self.chance = np.random.default_rng([seed, 17])
        self.copies = by_intervals(best.model, PIECES)
        self.model = self.copies.model
        self.relax = Relaxation(self.model, seed, check, threads)
        meets = (best.model.assist_of >= 0) | (best.model.helped_job >= 0)
        self.meets = frozenset(np.nonzero(meets)[0].tolist())

    def bound(self) -> None:
        """Solve the relaxation and keep its bound, which is one on every plan of the week."""
        self.relax.run(self._prove)
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

    def dive(self) -> None:
        """Offer the plan of a dive."""
        self._offer(Dives(self.relax, PRICED).next(np.inf), {})

    def again(self) -> None:
        """Offer the plan of a dive in which the best plan's routes stay, but for those of a few days."""
        model, free = self.best.model, self._free()
        routes, starts = self.best.plan_now()
        times = self.best.times or timed(model, routes, starts)
        held = {k: (items, times[k]) for k, items in routes.items() if int(model.day_of[k]) not in free}
        stay = {k: [self.copies.of(item, starts) for item in items] for k, (items, _) in held.items()}
        columns, pool = columns_of_routes(self.model, stay), self.relax.pool
        self.relax.add(columns)
        places = enumerate(zip(columns.crew_day.tolist(), columns.out.tolist(), strict=True))
        kept = [pool.find(group, columns.jobs_of(c), out) for c, (group, out) in places]
        self.relax.solve_lp()  # with the columns that are new
        self._offer(Dives(self.relax, PRICED, kept).next(np.inf)[len(kept) :], held)

    def _free(self) -> set[int]:
        """Return the days of the next dive: some in a row, or anywhere."""
        days = self.model.week.days
        count = min(days, int(self.chance.integers(FEWEST_DAYS, MOST_DAYS + 1)))
        if self.chance.random() < 0.5:
            return set(self.chance.permutation(days)[:count].tolist())
        first = int(self.chance.integers(days - count + 1))
        return set(range(first, first + count))

    def _offer(self, columns: Sequence[int], held: Mapping[int, Route]) -> None:
        """Offer the plan of `held` and the columns, each day on which crews meet timed by itself, one by one."""
        pool, model = self.relax.pool, self.best.model
        members: dict[int, list[int]] = {}  # crew days that columns are dealt to, by group
        for k, group in enumerate(self.model.group.tolist()):
            if k not in held:
                members.setdefault(group, []).append(k)
        planned = dict(held)
        for c in columns:
            k = members[pool.crew_day[c]].pop(0)
            items = self.model.row_of[pool.jobs[c]].tolist()
            planned[k] = items, Timed(pool.cost[c], pool.helpers[c], 0, pool.out[c], None, (), (), ())
        meeting = dict.fromkeys(int(model.day_of[k]) for k, (items, _) in planned.items() if self.meets & set(items))
        for day in meeting:
            free = [k for k in planned if k not in held and int(model.day_of[k]) == day]
            if free and not self._time(free, planned):
                return
        alone = {k: items for k, (items, _) in planned.items() if k not in held and int(model.day_of[k]) not in meeting}
        planned |= {k: (alone[k], time) for k, time in timed(model, alone).items()}
        self._take({k: items for k, (items, _) in planned.items()}, {k: time for k, (_, time) in planned.items()})

    def _time(self, free: list[int], planned: dict[int, Route]) -> bool:
        """Time the routes of one day together, those without what cannot meet; say whether there was a way."""
        from scheduler.engine.search.whole import WholeModel  # CP-SAT takes a moment to load: only where crews meet

        self.check()
        sets: dict[int, Sets] = {}
        for k in free:
            items = frozenset(planned.pop(k)[0])
            sets[k] = {items: (0, 0)} | {items - {i}: (0, 0) for i in items & self.meets if len(items) > 1}
        whole = WholeModel(self.best.model, free, planned, sets)
        found = whole.solve(DAY_S, 1, self.seed, lambda: False, lambda _: None, lambda _: None)
        if found.times is None:
            return False
        planned |= {k: (found.routes[k], found.times[k]) for k in free if k in found.routes}
        return True

    def _take(self, routes: dict[int, list[int]], times: dict[int, Timed]) -> None:
        model = self.best.model
        start = {j: t for k, items in routes.items() for j, t in zip(items, times[k].starts, strict=True)}
        skipped = [j for j in range(len(model.week.jobs)) if j not in start]
        cost = sum(t.cost for t in times.values()) + int(model.skip_cost[skipped].sum()) + weekly_cents(model, times)
        self.best.offer(routes, cost, {j: t for j, t in start.items() if model.assist_of[j] >= 0}, times)


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
