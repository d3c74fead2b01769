"""Plans of crews that nearly meet: routes of copies by interval (`model.intervals`), timed so that the crews do meet.

A selection of such routes costs no more than the plan it stands for. A model of the whole week that may choose these
routes alone finds the minutes at which a day's crews meet, and which meetings cannot be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.model.intervals import Copies
from scheduler.engine.model.plans import timed, weekly_cents
from scheduler.engine.model.timing import Timed
from scheduler.engine.pricing.columns import Columns, columns_of
from scheduler.plan import Plan

if TYPE_CHECKING:
    from scheduler.engine.local_search.state import State
    from scheduler.engine.whole.week import Sets

Route = tuple[list[int], Timed]  # a route's items in order, and their times
Crews = frozenset[tuple[int, frozenset[int]]]  # what crews that meet on one day do

MEETING_S = 1.0  # to time the routes of crews that meet


class Nearly:
    """The best plan as one of copies: what `Best` is to a search over the week itself."""

    def __init__(self, best: Best, copies: Copies, seed: int, check: Callable[[], None]) -> None:
        self.best, self.copies, self.seed, self.check = best, copies, seed, check
        meets = (best.model.assist_of >= 0) | (best.model.helped_job >= 0)
        self.meeting = meets.astype(np.int64)  # by item: 1 where crews meet for it
        self.meets = frozenset(np.nonzero(meets)[0].tolist())
        self.known: dict[Crews, dict[int, Route] | None] = {}  # timed before; None: there was no way

    @property
    def cost(self) -> int:
        """The best plan's cost."""
        return self.best.cost

    @property
    def bound(self) -> float:
        """The best bound."""
        return self.best.bound

    @property
    def proven(self) -> bool:
        """Whether nothing cheaper can exist."""
        return self.best.proven

    def prove(self, bound: float) -> None:
        """Raise the bound: one on all plans of copies is one on all plans."""
        self.best.prove(bound)

    def tell(self, phase: str) -> None:
        """Say what the search is doing."""
        self.best.tell(phase)

    def state(self) -> tuple[Routes, int, int | None, str, Plan | None]:
        """Return what `Best.state` does, the routes as those of copies."""
        with self.best.lock:  # routes and starts of one moment
            routes, starts = self.best.routes, self.best.starts
        copied = {k: [self.copies.of(item, starts) for item in items] for k, items in routes.items()}
        return copied, *self.best.state()[1:]

    def columns(self, state: State) -> Columns:
        """Return the routes of a plan of ruin and recreate as columns of copies."""
        used, model = np.nonzero(state.size)[0], self.copies.model
        items = [state.seq[k, : state.size[k]].tolist() for k in used]
        jobs = [[self.copies.of(item, state.fix) for item in route] for route in items]
        return columns_of(model.group[used], jobs, state.cost[used], state.helpers[used], state.out[used])

    def offer(self, routes: Mapping[int, Sequence[int]], cost: float) -> bool:
        """Offer the plan of these routes of copies, crews that meet timed together; say if it was taken."""
        if cost >= self.best.cost:
            return False
        planned = self.planned(routes, {})
        return planned is not None and self.take(planned)

    def planned(self, routes: Mapping[int, Sequence[int]], held: Mapping[int, Route]) -> dict[int, Route] | None:
        """Return the plan of these routes of copies, crews that meet timed together; None: there is no way.

        held: routes of the week itself that stay as they are timed.
        """
        model = self.best.model
        planned = dict(held)
        for k, times in timed(self.copies.model, routes).items():
            planned[k] = self.copies.model.row_of[np.asarray(routes[k])].tolist(), times
        together = self._together({k: items for k, (items, _) in planned.items() if k not in held})
        if not all(self._time(free, planned) for free in together):
            return None
        meet = {k for free in together for k in free}
        alone = {k: items for k, (items, _) in planned.items() if k not in held and k not in meet}
        return planned | {k: (alone[k], times) for k, times in timed(model, alone).items()}

    def _together(self, routes: Routes) -> list[list[int]]:
        """Return the crew days on which crews meet, those that meet each other or a third together."""
        model, groups = self.best.model, dict[int, list[int]]()
        crew_day_of = dict[int, int]()  # by job: the first that is met
        for k, items in routes.items():
            groups[k] = [k]
            for item in self.meets & set(items):
                job = item if model.helped_job[item] < 0 else int(model.helped_job[item])
                first = groups[crew_day_of.setdefault(job, k)]
                if first is not groups[k]:
                    first += groups[k]
                    groups |= dict.fromkeys(groups[k], first)
        met = {k for k, items in routes.items() if self.meets & set(items)}
        return list({id(group): group for k, group in groups.items() if k in met}.values())

    def _time(self, free: list[int], planned: dict[int, Route]) -> bool:
        """Time routes whose crews meet together, those without what cannot meet; say whether there was a way."""
        from scheduler.engine.whole.week import WholeModel  # CP-SAT takes a moment to load: only where crews meet

        self.check()
        asked = {k: frozenset(planned.pop(k)[0]) for k in free}
        crews: Crews = frozenset(asked.items())
        if crews not in self.known:
            sets: dict[int, Sets] = {}
            for k, items in asked.items():
                fewer = {items - {i} for i in items & self.meets} | {items - self.meets}
                sets[k] = {items: (0, 0)} | {left: (0, 0) for left in fewer if left}
            whole = WholeModel(self.best.model, free, planned, sets)
            found = whole.solve(MEETING_S, 1, self.seed, lambda: False, lambda _: None, lambda _: None)
            times: dict[int, Timed] | None = found.times
            self.known[crews] = None if times is None else {k: (found.routes[k], times[k]) for k in free if k in times}
        if (known := self.known[crews]) is None:
            return False
        planned |= known
        return True

    def take(self, planned: Mapping[int, Route]) -> bool:
        """Offer a plan with its times; say if it was taken."""
        model, times = self.best.model, {k: way for k, (_, way) in planned.items()}
        start = {j: t for items, way in planned.values() for j, t in zip(items, way.starts, strict=True)}
        skipped = [j for j in range(len(model.week.jobs)) if j not in start]
        cost = sum(t.cost for t in times.values()) + int(model.skip_cost[skipped].sum()) + weekly_cents(model, times)
        return self.best.offer({k: items for k, (items, _) in planned.items()}, cost, self.starts(planned), times)

    def starts(self, planned: Mapping[int, Route]) -> dict[int, int]:
        """Return the starts of a plan's jobs that have an assist."""
        each = (zip(items, way.starts, strict=True) for items, way in planned.values())
        return {j: start for items in each for j, start in items if self.best.model.assist_of[j] >= 0}
