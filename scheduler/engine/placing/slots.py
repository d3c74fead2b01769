"""Where one job fits into a standing plan of the second format: the cheapest start of each half day, exactly.

Every other visit keeps its crew, day and place in the order and its start within half an hour; where two crews meet,
both keep their minute. So routes hang together by the crews' weekly minutes alone. A job that a second crew has to help
with is put in together with that: the two starts are tried as intervals, of which each route has its own least cost,
and cut in two where these do not meet. The cheapest sum of all is taken up first, so that the first pair of minutes
that meet is the best.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass, replace
from itertools import count, product

import numpy as np
from msgspec import structs

from scheduler.engine.local_search.pairs import allowed_both
from scheduler.engine.local_search.route_cost import NEVER
from scheduler.engine.local_search.state import allowed, first_place
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import plan_of, timed_as
from scheduler.engine.model.starts import NEVER_BEGUN, NOON, Half, halves, near
from scheduler.engine.model.timing import Timed, timings
from scheduler.engine.placing.meets import Meets, StartsToTry
from scheduler.engine.placing.own_cost import own_cents
from scheduler.engine.placing.standing import Standing
from scheduler.errors import BadInput
from scheduler.plan import Plan

LATEST = 1 << 20  # minutes, later than any day ends


@dataclass(frozen=True)
class Slot:
    """The cheapest start of the job in `half`: the whole plan's cost in cents, and the routes that differ, with times.

    `k`: the crew day that does the job, and `second` the one that assists (-1: none has to), `start` and `begin` their
    starts there.
    """

    half: Half
    cost: int
    k: int
    start: int
    second: int
    begin: int
    routes: Mapping[int, list[int]]
    times: Mapping[int, Timed]


class Slots:
    """A standing plan, and a job to be put into it.

    kept: the starts that the other visits may have, None: those near their present ones; where two crews meet, both
    keep their minute all the same.
    """

    def __init__(self, model: Model, plan: Plan, job: int, kept: Model | None = None) -> None:
        self.model, self.week, self.plan, self.job = model, model.week, plan, job
        self.assist = int(model.assist_of[job])
        self.only: Mapping[int, int | None] | None = None
        mine = {job, self.assist}
        self.present = {model.crew_day[r.crew, r.day]: r for r in plan.routes if (r.crew, r.day) in model.crew_day}
        if len(self.present) < len(plan.routes):
            raise BadInput("plan", "sends out a crew that this week cannot send; plan it anew")
        whole = {k: model.items_of(r) for k, r in self.present.items()}
        self.timed = {k: timed_as(r) for k, r in self.present.items()}
        self.lost = {k for k, items in whole.items() if mine & set(items)}
        self.routes = {k: rest for k, items in whole.items() if (rest := [i for i in items if i not in mine])}
        self.begun = {i: s for k, items in whole.items() for i, s in zip(items, self.timed[k].starts, strict=True)}
        if kept is None:
            kept = near(model, {(k, i): self.begun[i] for k, items in self.routes.items() for i in items})
        self.still = replace(kept, opt_lo=kept.opt_lo.copy(), opt_hi=kept.opt_hi.copy())
        self._hold_meetings()
        self.standing = Standing(self.still, self.routes)
        self._keep_helpers()
        self.out = defaultdict[int, int](int)
        for k, way in self.timed.items():
            self.out[self._key(k)] += way.out
        self.alone = {k: timings(self.still, k, self.routes[k]) for k in self.lost if k in self.routes}
        self.base = plan.cost.total - sum(self._own(k) for k in self.lost)
        if job not in self.begun:
            self.base -= int(model.skip_cost[job])
        self.known: dict[tuple[int, int, int, int, int, bool | None], tuple[int, dict[int, Timed]]] = {}
        self.less = {key: self._together(key, {}) for key in {self._key(k) for k in self.lost}}

    def of_another(self, job: int) -> Slots:
        """Return the slots of another job in the same plan, which holds neither that one nor this."""
        other = copy(self)
        other.job, other.assist, other.known = job, int(self.model.assist_of[job]), {}
        other.base = self.base + int(self.model.skip_cost[self.job]) - int(self.model.skip_cost[job])
        return other

    def cheapest(self, most: int, only: Mapping[int, int | None] | None = None) -> list[Slot]:
        """Return the cheapest slot of each of the `most` cheapest half days, cheapest first.

        only: the crew days that may do the job, each with the position that it may have there (None: any); None: all.
        """
        self.only = only
        found = sorted(self._paired(most) if self.assist >= 0 else self._single(), key=lambda s: (s.cost, s.half))
        return [slot for slot in found[:most] if slot.cost < NEVER]

    def plan_with(self, slot: Slot) -> Plan:
        """Return the plan with the job in that slot."""
        return self._plan({**self.routes, **slot.routes}, slot.times)

    def plan_without(self) -> Plan | None:
        """Return the plan with the job left out, None where a route that loses it cannot be without it."""
        if any(cost >= NEVER for cost, _ in self.less.values()):
            return None
        times = {k: t for _, found in self.less.values() for k, t in found.items()}
        begun = self.begun | {i: s for k, t in times.items() for i, s in zip(self.routes[k], t.starts, strict=True)}
        return self._plan(self.routes, {k: self._rested(k, self.routes[k], t, begun) for k, t in times.items()})

    def _plan(self, routes: Mapping[int, list[int]], changed: Mapping[int, Timed]) -> Plan:
        """Return the plan of these routes: as they are, but for those with new times."""
        times = {**self.timed, **changed}
        because = {self.model.number[s.job]: s.because for s in self.plan.skipped if s.job in self.model.number}
        whole = {k: times[k] for k in routes}
        plan = plan_of(self.model, routes, seconds=0.0, bound=None, because=because, times=whole)
        stay = {(r.crew, r.day): r for k, r in self.present.items() if k not in changed}
        return structs.replace(plan, routes=tuple(stay.get((r.crew, r.day), r) for r in plan.routes))

    def span(self, slot: Slot) -> tuple[int, int]:
        """Return the first and last start about the slot's, in its half day, that cost the same; the assist stays."""
        k, start, items = slot.k, slot.start, slot.routes[slot.k]
        place, least = items.index(self.job), self._at(slot.k, items.index(self.job), slot, slot.start)
        first = last = start
        while slot.half.holds(slot.half.day, first - 1) and self._at(k, place, slot, first - 1) == least:
            first -= 1
        while slot.half.holds(slot.half.day, last + 1) and self._at(k, place, slot, last + 1) == least:
            last += 1
        return first, last

    def _at(self, k: int, place: int, slot: Slot, start: int) -> int:
        """Return the cost of the job's own route with a start at this minute, the assist where the slot has it."""
        if slot.second < 0:
            return self._part(k, place, self.job, (start, start), None)[0]
        costs = [
            self._part(k, place, self.job, (start, start), m.pause)[0]
            for m in self._meetings()
            if m.least <= slot.begin - start <= m.most and m.first <= slot.begin <= m.last
        ]
        return min(costs, default=NEVER)

    def _single(self) -> Iterator[Slot]:
        for half in halves(self.model, self.job):
            best: tuple[int, int, int, dict[int, Timed]] | None = None
            for k, place in self._places(half.day):
                cost, times = self._part(k, place, self.job, _span_of(half), None)
                if times and (best is None or self._whole(cost, [k]) < best[0]):
                    best = self._whole(cost, [k]), k, place, times
            if best is not None:
                cost, k, place, times = best
                yield self._slot(half, cost, {k: self._order(k, place, self.job)}, times)

    def _paired(self, most: int) -> Iterator[Slot]:
        """Yield the cheapest slots, cheapest first: nodes by their bound, of which none is passed over."""
        heap: list[tuple[int, int, StartsToTry]] = []
        order = count()
        seconds = {day: self._seconds(day) for day in {h.day for h in halves(self.model, self.job)}}

        def push(bound: int, node: StartsToTry) -> None:
            heapq.heappush(heap, (bound, next(order), node))

        for half in halves(self.model, self.job):
            for k, place in self._places(half.day):
                others = [(c, k2, at) for c, k2, at in seconds[half.day] if self._apart(k, k2)]
                for meets in self._meetings() if others else ():
                    cost, times = self._part(k, place, self.job, _span_of(half), meets.pause)
                    if times:
                        least = min(self._whole(cost + c, [k, k2]) for c, k2, _ in others)
                        push(
                            least, StartsToTry(half, k, place, meets, -1, 0, _span_of(half), (meets.first, meets.last))
                        )
        done = set[Half]()
        while heap and len(done) < most:
            bound, _, node = heapq.heappop(heap)
            if node.half in done or bound >= NEVER:
                continue
            if node.second < 0:
                cost, _ = self._part(node.k, node.place, self.job, node.starts, node.meets.pause)
                for c, k2, at in seconds[node.half.day]:
                    if self._apart(node.k, k2):
                        push(self._whole(cost + c, [node.k, k2]), replace(node, second=k2, at=at))
                continue
            for narrower in self._tried(node, bound):
                if isinstance(narrower, Slot):
                    done.add(node.half)
                    yield narrower
                else:
                    push(*narrower)

    def _tried(self, node: StartsToTry, bound: int) -> Iterator[Slot | tuple[int, StartsToTry]]:
        """Yield the slot where the node's best starts meet, else the nodes that it leaves to be tried."""
        m, (a, b), (c, d) = node.meets, node.starts, node.begins
        a, b = max(a, c - m.most), min(b, d - m.least)
        c, d = max(c, a + m.least), min(d, b + m.most)
        if a > b or c > d:
            return
        one, own = self._part(node.k, node.place, self.job, (a, b), m.pause)
        two, second = self._part(node.second, node.at, self.assist, (c, d), None)
        if not own or not second:
            return
        cost = self._whole(one + two, [node.k, node.second])
        orders = {node.k: self._order(node.k, node.place, self.job)}
        orders[node.second] = self._order(node.second, node.at, self.assist)
        start = own[node.k].starts[node.place]
        begin = second[node.second].starts[node.at]
        if cost > bound:
            yield cost, replace(node, starts=(a, b), begins=(c, d))
        elif m.least <= begin - start <= m.most:
            yield self._slot(node.half, cost, orders, own | second)
        elif b - a >= d - c:
            middle = (a + b) // 2
            yield cost, replace(node, starts=(a, middle), begins=(c, d))
            yield cost, replace(node, starts=(middle + 1, b), begins=(c, d))
        else:
            middle = (c + d) // 2
            yield cost, replace(node, starts=(a, b), begins=(c, middle))
            yield cost, replace(node, starts=(a, b), begins=(middle + 1, d))

    def _meetings(self) -> list[Meets]:
        """Return the ways in which the job and its assist can meet (rule 12)."""
        job, rest = self.week.jobs[self.job], self.week.rest
        assert job.assist is not None
        one, long = job.assist, job.minutes
        found = [Meets(False, one.from_min, min(one.to_min, long - one.minutes), 0, LATEST)]
        if rest is not None and rest.within and job.pausable:
            before = min(one.to_min, long - 1 - one.minutes)
            found.append(Meets(True, one.from_min, before, 0, rest.latest - one.minutes))
            after = min(one.to_min, long + rest.length - one.minutes)
            found.append(Meets(True, max(one.from_min, 1 + rest.length), after, rest.earliest + rest.length, LATEST))
        return [m for m in found if m.least <= m.most and m.first <= m.last]

    def _places(self, day: int) -> Iterator[tuple[int, int]]:
        """Yield the crew days of a day and positions that what routes share leaves to the job."""
        w, s = self.standing.week, self.standing.state
        for k in np.nonzero(self.model.day_of == day)[0].tolist():
            if self.model.local[k, self.job] < 0 or not allowed(w, s, self.job, k):
                continue
            if self.only is not None and k not in self.only:
                continue
            last = self.standing.last_place(self.job, k, self.routes.get(k, []))
            if last is not None:
                wanted = None if self.only is None else self.only[k]
                places = range(first_place(w, s, self.job, k), last + 1)
                yield from ((k, at) for at in places if wanted in (None, at))

    def _seconds(self, day: int) -> list[tuple[int, int, int]]:
        """Return what the assist costs at least on each crew day of a day, at each position, whenever it begins."""
        w, s, found = self.standing.week, self.standing.state, []
        for k in np.nonzero(self.model.day_of == day)[0].tolist():
            if self.model.local[k, self.assist] < 0 or not allowed(w, s, self.assist, k):
                continue
            for at in range(len(self.routes.get(k, [])) + 1):
                cost, times = self._part(k, at, self.assist, (0, LATEST), None)
                if times:
                    found.append((cost, k, at))
        return found

    def _apart(self, k: int, second: int) -> bool:
        """Whether another crew assists, and what the two share is there for both."""
        if self.model.crew_of[k] == self.model.crew_of[second]:
            return False
        return bool(allowed_both(self.standing.week, self.standing.state, self.job, k, self.assist, second))

    def _part(
        self, k: int, place: int, item: int, span: tuple[int, int], pause: bool | None
    ) -> tuple[int, dict[int, Timed]]:
        """Return what crew day k costs more with the item, begun in `span`, at a place; and the times of what changes.

        Weekly minutes are the crew's: days of the same seven that lose the job are timed together with this one.
        pause: whether the rest has to fall within the service, None: whichever is best.
        """
        key = (k, place, item, *span, pause)
        if key not in self.known:
            mine, low, high = self.still.options_of(k, item), self.still.opt_lo, self.still.opt_hi
            lo, hi = low[mine].copy(), high[mine].copy()
            shut = np.zeros(len(lo), bool) if pause is None else (self.still.opt_pause[mine] == 1) != pause
            low[mine], high[mine] = np.maximum(lo, span[0]), np.minimum(hi, span[1])
            high[mine][(low[mine] > high[mine]) | shut] = NEVER_BEGUN
            ways = timings(self.still, k, self._order(k, place, item)) if (high[mine] >= 0).any() else []
            low[mine], high[mine] = lo, hi
            self.known[key] = self._together(self._key(k), {k: ways}) if ways else (NEVER, {})
        return self.known[key]

    def _together(self, key: int, ways: Mapping[int, list[Timed]]) -> tuple[int, dict[int, Timed]]:
        """Return the least that one crew's seven days cost more than now, some timed in new ways, with these times."""
        by_day = {k: w for k, w in self.alone.items() if self._key(k) == key} | dict(ways)
        if not all(by_day.values()):
            return NEVER, {}
        changed = self.lost | set(ways)
        now = sum(self._own(k) for k in ways if k in self.routes and k not in self.lost)
        out = self.out[key] - sum(self.timed[k].out for k in changed if k in self.timed and self._key(k) == key)
        best = min(
            product(*by_day.values()),
            key=lambda times: sum(t.cost for t in times) + self._past(key, out + sum(t.out for t in times)),
        )
        cost = sum(t.cost for t in best) + self._past(key, out + sum(t.out for t in best))
        return cost - self._past(key, self.out[key]) - now, dict(zip(by_day, best, strict=True))

    def _past(self, key: int, minutes: int) -> int:
        if key < 0:
            return 0
        return int(self.model.weekly_cents[key]) * max(0, minutes - int(self.model.weekly_cap[key]))

    def _own(self, k: int) -> int:
        return own_cents(self.model, k, self.model.items_of(self.present[k]), self.timed[k])

    def _key(self, k: int) -> int:
        """Return what the minutes out of crew day k are counted with: a row of weekly minutes, or its own negative."""
        row = int(self.model.weekly_row[k])
        return row if row >= 0 else -1 - k

    def _apart_from(self, days: Iterable[int]) -> list[tuple[int, dict[int, Timed]]]:
        """Return what days that lose the job cost more than now, where none of `days` is counted with them."""
        taken = {self._key(k) for k in days} if self.less else set()
        return [found for key, found in self.less.items() if key not in taken]

    def _whole(self, part: int, days: Iterable[int]) -> int:
        """Return the whole plan's cost where crew days change that cost `part` more."""
        return self.base + part + sum(cost for cost, _ in self._apart_from(days))

    def _slot(self, half: Half, cost: int, orders: Mapping[int, list[int]], times: Mapping[int, Timed]) -> Slot:
        """Return the slot; rests within a service that crews meet at are put where they do not part them."""
        every = {k: t for _, found in self._apart_from(orders) for k, t in found.items()} | dict(times)
        routes = {**{k: self.routes[k] for k in every if k in self.routes}, **orders}
        begun = self.begun | {i: s for k, t in every.items() for i, s in zip(routes[k], t.starts, strict=True)}
        every = {k: self._rested(k, routes[k], t, begun) for k, t in every.items()}
        k = next(k for k, items in orders.items() if self.job in items)
        second = next((k2 for k2, items in orders.items() if self.assist in items), -1)
        return Slot(half, cost, k, begun[self.job], second, begun.get(self.assist, -1), routes, every)

    def _rested(self, k: int, items: list[int], times: Timed, begun: Mapping[int, int]) -> Timed:
        for i, start, end in zip(items, times.starts, times.ends, strict=True):
            if end - start > self.model.service[i] and (a := int(self.model.assist_of[i])) >= 0:
                return replace(times, rest=self._moment(i, start, begun[a]))
        return times

    def _moment(self, j: int, start: int, begin: int) -> int | None:
        """Return when a crew can rest within job j, begun at `start`, while its assist begins at `begin`; or None."""
        job, rest = self.week.jobs[j], self.week.rest
        if rest is None or job.assist is None:
            return None
        first, last = max(start + 1, rest.earliest), min(start + job.minutes - 1, rest.latest)
        if max(first, begin + job.assist.minutes) <= last:
            return last
        return min(last, begin - rest.length) if first <= min(last, begin - rest.length) else None

    def _hold_meetings(self) -> None:
        """Leave to jobs that have an assist, and to these, the present minute alone."""
        m, low, high = self.still, self.still.opt_lo, self.still.opt_hi
        at = {i: k for k, items in self.routes.items() for i in items}
        for i, k in at.items():
            j = int(m.helped_job[i]) if m.helped_job[i] >= 0 else i
            rule = self.week.jobs[j].assist
            if rule is None:
                continue
            mine, start, begin = m.options_of(k, i), self.begun[j], self.begun[int(m.assist_of[j])]
            shut = (low[mine] > self.begun[i]) | (high[mine] < self.begun[i])
            if i == j:
                shut |= (m.opt_pause[mine] == 1) & (self._moment(j, start, begin) is None)
                shut |= (m.opt_pause[mine] == 0) & (begin + rule.minutes > start + self.week.jobs[j].minutes)
            low[mine] = self.begun[i]
            high[mine] = np.where(shut, NEVER_BEGUN, self.begun[i])

    def _keep_helpers(self) -> None:
        """Count helpers that the plan hires beyond what its jobs need: they are hired still."""
        state = self.standing.state
        for k in self.routes.keys() - self.lost:
            if (more := self.timed[k].helpers - int(state.helpers[k])) > 0:
                state.helpers[k] += more
                state.helped[self.model.helper_row[k]] += more

    def _order(self, k: int, place: int, item: int) -> list[int]:
        items = self.routes.get(k, [])
        return [*items[:place], item, *items[place:]]


def _span_of(half: Half) -> tuple[int, int]:
    return (NOON, LATEST) if half.afternoon else (0, NOON - 1)
