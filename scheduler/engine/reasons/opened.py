"""The week with jobs let onto every crew day, so that what stands in the way of each place can be counted together.

A job that is asked about loses every rule that keeps it off a crew day by itself (kit, skills, van, yard); those come
back as bits, beside the bits of what routes share (`scheduler.engine.reasons.room`). Its needs stay what they are.
"""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from msgspec.structs import replace

from scheduler.engine.local_search.route_cost import NEVER, arrays
from scheduler.engine.local_search.state import state_of
from scheduler.engine.model.build import build
from scheduler.engine.model.starts import only_at
from scheduler.engine.reasons.room import (
    BESIDE,
    CLEARED,
    HELPER,
    INSTEAD,
    LADDER,
    LOAD,
    STOCK,
    cheapest_order,
    hindered,
    places,
    releases,
)
from scheduler.week import Equipment, Helpers, Job, Shift, Week, Window

KIT, SKILL, VAN, YARD, WINDOW, HOURS, REST = 32, 64, 128, 256, 512, 1024, 2048
BY_TIME = WINDOW | HOURS | REST
EARLIER_MIN, LATER_MIN = 120, 240  # how much longer a crew's day is thought to be, at most
_END = 1_600  # minutes after midnight: the last of a window on an open day
_MOST_REFINED = 12  # places of one kind of which every order of stops is tried

Routes = Mapping[tuple[str, int], Sequence[int]]
Costs = Mapping[tuple[str, int], int]


class Opening(NamedTuple):
    """A job on crew day `k`, instead of the jobs `out`.

    `hindered` are the bits of what stands in the way; `extra` is what it costs more than leaving the job as it is;
    `gives` are the bits that those of `out` free that are of other routes.
    """

    k: int
    out: tuple[int, ...]
    hindered: int
    extra: int
    gives: int = 0

    @property
    def undoings(self) -> int:
        """How many rules have to be undone, or prices paid, before the job can go here."""
        return max(1, self.hindered.bit_count() + (self.extra >= 0))


class OpenedPlan:
    """A plan with the jobs `asked` let onto every crew day.

    routes: jobs in order by crew and day. loose: which of `BY_TIME` is thought away: work windows (of the jobs `free`:
    every hour of every day), the ends of shifts, the rest. costs: what routes cost as the week is, where they
    would cost less under the loose rules.
    """

    def __init__(
        self,
        week: Week,
        routes: Routes,
        asked: Collection[int],
        loose: int = 0,
        free: Collection[int] = (),
        costs: Costs | None = None,
    ):
        self.week, self.loose, self.costs, self.asked = week, loose, costs or {}, frozenset(asked)
        self.free = frozenset(free) if loose & WINDOW else frozenset[int]()
        jobs = tuple(
            _let(job, n in self.free, week.days) if n in self.asked else job for n, job in enumerate(week.jobs)
        )
        crews = tuple(
            replace(c, shifts=tuple(_longer(s) for s in c.shifts)) if loose & HOURS else c for c in week.crews
        )
        document = replace(
            week, jobs=jobs, crews=crews, helpers=_helpers(week), equipment=_equipment(week),
            rest=None if loose & REST else week.rest,
        )  # fmt: skip
        self.model = build(document)
        for n in asked:
            self._needs(n)
        self.arrays = arrays(self.model)
        self.crew_of = [week.crews[k.crew] for k in self.model.crew_days]
        self.routes = {self.model.crew_day[at]: list(jobs) for at, jobs in sorted(routes.items()) if jobs}
        self._static: dict[int, list[int]] = {}

    def holding(self, j: int, days: Collection[int], start: int) -> list[int]:
        """Return which of these crew days have `start` for job j."""
        lo, hi, found = self.model.opt_lo, self.model.opt_hi, list[int]()
        for k in days:
            mine = self.model.options_of(k, j)
            if ((lo[mine] <= start) & (start <= hi[mine])).any():
                found.append(k)
        return found

    def only_at(self, j: int, days: Collection[int], start: int) -> OpenedPlan:
        """Return the same with job j at `start` alone on `days`, each of which has that start."""
        other = copy.copy(self)
        other.__dict__.pop("state", None)
        other.model = only_at(self.model, j, days, start)
        other.arrays = arrays(other.model)
        return other

    def _needs(self, n: int) -> None:
        """Give job n back what it needs."""
        job, model = self.week.jobs[n], self.model
        model.job_hands[n], model.weight[n], model.boxes[n] = job.hands, job.weight_kg, job.boxes
        model.need[n] = [job.equipment.get(item, 0) for item in model.items]
        model.uses[n] = [job.parts.get(part, 0) for part in model.stock_items]

    @cached_property
    def state(self) -> Any:
        """The plan, to be searched."""
        state = state_of(self.model, self.arrays, self.routes)
        for at, cost in self.costs.items():
            state.cost[self.model.crew_day[at]] = cost
        return state

    def cost_by_route(self) -> dict[tuple[str, int], int]:
        """Return what each route of the plan costs, by crew and day."""
        return {self.at(k): int(self.state.cost[k]) for k in self.routes}

    def at(self, k: int) -> tuple[str, int]:
        """Return crew and day of crew day k."""
        return self.crew_of[k].id, self.model.crew_days[k].day

    def without(self, j: int, costs: Costs | None = None) -> OpenedPlan:
        """Return the same with job j not planned; `costs` of the routes that are left, as of the start."""
        other = copy.copy(self)
        other.__dict__.pop("state", None)
        other.routes = {k: kept for k, jobs in self.routes.items() if (kept := [x for x in jobs if x != j])}
        other.costs = costs or {}
        return other

    def static(self, j: int) -> list[int]:
        """Return by crew day the bits of what keeps job j off it whatever else is planned."""
        if j not in self._static:
            job = self.week.jobs[j]
            self._static[j] = [
                (0 if job.ready_day is not None and job.ready_day <= k.day else KIT)
                | (0 if set(job.skills) <= set(crew.skills_on(k.day)) else SKILL)
                | (0 if job.yard in (None, crew.yard) else YARD)
                | (0 if van_takes(job, crew.vehicle.rack_mm, crew.vehicle.boxes, crew.vehicle.payload_kg) else VAN)
                for k, crew in zip(self.model.crew_days, self.crew_of, strict=True)
            ]
        return self._static[j]

    def beside(self, j: int, worth: int, days: Collection[int] | None = None) -> list[Opening]:
        """Return the places of job j that displace no job; `days`: crew days that count, None: all."""
        return list(self._openings(j, places(self.arrays, self.state, j, worth, BESIDE), BESIDE, days))

    def instead(self, j: int, worth: int, days: Collection[int] | None = None) -> list[Opening]:
        """Return the places of job j that displace one or two jobs, of its own route or others.

        Where there is none, those that displace more.
        """
        w, s = self.arrays, self.state
        displacing = places(w, s, j, worth, INSTEAD)
        found = list(self._openings(j, displacing, INSTEAD, days))
        if not found:
            found = list(self._openings(j, places(w, s, j, worth, CLEARED), CLEARED, days))
        static = self.static(j)
        rows = [
            row
            for row in (*places(w, s, j, worth, BESIDE).tolist(), *displacing[displacing[:, 2] < 0].tolist())
            if 0 < row[3] <= (LADDER | STOCK | HELPER) and not static[row[0]] and (days is None or row[0] in days)
        ]
        if rows:
            freed = releases(w, s, j, np.array(rows, np.int64)).tolist()
            for (k, a, _, bits, _), (extra, *others) in zip(rows, freed, strict=True):
                here = (self.routes[k][a],) if a >= 0 else ()
                if others[0] >= 0:
                    found.append(Opening(k, (*here, *(x for x in others if x >= 0)), self.loose, extra, bits))
        return found

    def _openings(self, j: int, rows: Any, kind: int, days: Collection[int] | None) -> Iterator[Opening]:
        static = self.static(j)
        for k, a, b, bits, extra in rows.tolist():
            if days is not None and k not in days:
                continue
            stops = self.routes.get(k, [])
            out = (
                ()
                if kind == BESIDE
                else tuple(stops[a : b + 1])
                if kind == CLEARED
                else tuple(stops[t] for t in (a, b) if t >= 0)
            )
            kept_off = bits | static[k]
            if kept_off & VAN:  # told with its load
                kept_off &= ~LOAD
            yield Opening(k, out, kept_off | self.loose, extra)

    def refined(self, j: int, worth: int, found: list[Opening]) -> list[Opening]:
        """Return `found`, all of one kind, the cheapest of them in the cheapest of all orders, cheapest first."""
        first = sorted(found, key=lambda p: (p.extra, p))
        return sorted(
            [self.ordered(j, worth, p)[0] for p in first[:_MOST_REFINED]] + first[_MOST_REFINED:],
            key=lambda p: (p.extra, p),
        )

    def ordered(self, j: int, worth: int, place: Opening) -> tuple[Opening, list[int]]:
        """Return a place in the cheapest of all orders of its stops, and that order."""
        w, s, k = self.arrays, self.state, place.k
        kept = [x for x in self.routes.get(k, []) if x not in place.out]
        found = np.empty(len(kept) + 1, np.int64)
        free = j if place.hindered & 8 else -1
        stops = np.array([*kept, j], np.int64)
        plain = int(cheapest_order(w, k, stops, len(kept), j, free, False, found))
        cost = int(cheapest_order(w, k, stops, len(kept), j, free, True, found))
        if cost >= NEVER:
            return place, found.tolist()
        if place.gives:
            return place._replace(extra=place.extra + min(0, cost - plain)), found.tolist()
        freed = sum(int(w.skip[x]) for x in place.out)
        return place._replace(extra=min(place.extra, cost - int(s.cost[k]) + freed - worth)), found.tolist()

    @cached_property
    def _empty(self) -> Any:
        return state_of(self.model, self.arrays, {})

    def alone(self, j: int, days: Collection[int] | None = None) -> set[int]:
        """Return the sets of bits that keep job j off a crew day that it could reach, were nothing else planned."""
        one = np.array([j], np.int64)
        found = set()
        for c in range(int(self.arrays.job_ptr[j]), int(self.arrays.job_ptr[j + 1])):
            k = int(self.arrays.job_day[c])
            if days is None or k in days:
                bits = int(hindered(self.arrays, self._empty, k, one, 1, j)) | self.static(j)[k]
                found.add((bits & ~LOAD if bits & VAN else bits) | self.loose)
        return found


def van_takes(job: Job, rack_mm: int, boxes: int, payload_kg: int) -> bool:
    """Whether a van with nothing else on it takes the job's kit."""
    return (not job.boxes or job.box_mm <= rack_mm) and job.boxes <= boxes and job.weight_kg <= payload_kg


def _let(job: Job, free: bool, days: int) -> Job:
    windows = tuple(Window(day, 0, _END, 0) for day in range(days)) if free else job.windows
    return replace(
        job, ready_day=0, skills=(), yard=None, hands=0, weight_kg=0, box_mm=0, boxes=0, windows=windows,
        equipment=dict.fromkeys(job.equipment, 0), parts=dict.fromkeys(job.parts, 0),
    )  # fmt: skip


def _longer(shift: Shift) -> Shift:
    return Shift(shift.day, max(0, shift.start - EARLIER_MIN), shift.end, shift.overtime + LATER_MIN)


def _helpers(week: Week) -> tuple[Helpers, ...]:
    """Return the helpers with a row for each yard and day; one more costs what the dearest of the yard does."""
    there = {(h.yard, h.day) for h in week.helpers}
    cents = {yard.id: helper_cents(week, yard.id) for yard in week.yards}
    more = ((y.id, d) for y in week.yards for d in range(week.days))
    return (*week.helpers, *(Helpers(y, d, 0, cents[y]) for y, d in more if (y, d) not in there))


def helper_cents(week: Week, yard: str) -> int:
    """Return what a helper is reckoned to cost on a day on which the yard has none: what its dearest does, or 0."""
    return max((h.day_cents for h in week.helpers if h.yard == yard), default=0)


def _equipment(week: Week) -> tuple[Equipment, ...]:
    there = {(e.id, e.yard) for e in week.equipment}
    items = sorted({i for job in week.jobs for i in job.equipment})
    more = ((i, y.id) for i in items for y in week.yards if (i, y.id) not in there)
    return (*week.equipment, *(Equipment(i, y, (0,) * week.days) for i, y in more))
