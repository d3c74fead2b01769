"""Who else would take what a remedy undoes: the week is planned again with it, to see whether the job goes.

Where another waiting job takes it first, so much more is counted that both go; where that cannot be, it is told.
"""

from __future__ import annotations

import copy
import dataclasses
from functools import cached_property
from typing import Any, NamedTuple

from scheduler.engine.reasons.anew import Again
from scheduler.engine.reasons.opened import BY_TIME, HOURS, KIT, REST, SKILL, VAN, YARD, OpenedPlan, Opening, van_takes
from scheduler.engine.reasons.remedies import (
    AtYard,
    BetterVan,
    Free,
    KitBy,
    LongerDay,
    OpenHours,
    Parts,
    People,
    Remedy,
    Skills,
    Tools,
)
from scheduler.engine.reasons.room import HELPER, LADDER, LOAD, STOCK
from scheduler.engine.reasons.short import undo_of

_COUNTED = STOCK | LADDER | HELPER  # what there can be more of, so that it serves both
_SHARED = _COUNTED | LOAD | SKILL | VAN | HOURS | REST  # what serves others too
_MOST_SERVED = 4


class Settled(NamedTuple):
    """Where the job goes, the order of stops there, and what to undo for it."""

    place: Opening
    order: list[int]
    remedy: Remedy


class Rivals:
    """The question, of a plan with jobs let onto every crew day."""

    def __init__(self, opened: OpenedPlan, rounds: int) -> None:
        self.opened, self.rounds = opened, rounds

    @cached_property
    def _again(self) -> Again:
        return Again(self.opened.model)

    def settled(self, j: int, found: Settled) -> Settled:
        """Return the remedy with enough of all for those that it serves before job j, or with them told.

        What serves one job alone (its kit, a window, its yard) has no rivals.
        """
        if not found.place.hindered & _SHARED:
            return found
        opened, now = self.opened, found
        for _ in range(_MOST_SERVED):
            base = opened.routes
            begin = {k: [x for x in jobs if x not in now.place.out] for k, jobs in base.items()}
            begin[now.place.k] = now.order
            model, arrays = self._with(j, now.remedy)
            _, routes = self._again.search(model, arrays, (begin, base), self.rounds)
            planned = {x for jobs in routes.values() for x in jobs}
            if j in planned:
                return now
            new = sorted(planned - {x for jobs in self.opened.routes.values() for x in jobs})
            names = tuple(self.opened.week.jobs[x].id for x in new)
            more = self._more(j, routes, now) if not now.place.hindered & ~_COUNTED else None
            if more is None:
                return now._replace(remedy=dataclasses.replace(now.remedy, rivals=names, served=False))
            now = more._replace(remedy=dataclasses.replace(more.remedy, rivals=names, served=True))
            opened = copy.copy(opened)
            opened.routes = routes
        return now._replace(remedy=dataclasses.replace(now.remedy, served=False))

    def _more(self, j: int, routes: dict[int, list[int]], now: Settled) -> Settled | None:
        """Return what job j takes on top of the plan `routes`, which has first what was undone for it."""
        beside = copy.copy(self.opened)
        beside.__dict__.pop("state", None)
        beside.routes, beside.costs = routes, {}
        worth = int(beside.arrays.skip[j])
        places = [
            p
            for p in beside.beside(j, worth)
            if not p.hindered & ~_COUNTED and (now.remedy.cents is not None or p.extra < 0)
        ]
        if not places:
            return None
        place = min(places, key=lambda p: (p.k != now.place.k, p.hindered.bit_count(), p.extra, p))
        place, order = beside.ordered(j, worth, place)
        place, undo = undo_of(beside, j, worth, place, order)
        if not _holds(undo, now.remedy.undo):
            return None
        cents = now.remedy.cents if now.remedy.cents is None else max(place.extra, 0)
        crew, day = beside.at(place.k)
        return Settled(
            place, order, dataclasses.replace(now.remedy, undo=undo, crew=crew, day=day, cents=cents, out=())
        )

    def _with(self, j: int, remedy: Remedy) -> tuple[Any, Any]:
        """Return model and arrays of the week with the remedy applied, and what keeps jobs off crew days shut again."""
        opened, w, model = self.opened, self.opened.arrays, self.opened.model
        names = (
            "stock_cap",
            "pool_cap",
            "helper_cap",
            "payload",
            "max_boxes",
            "opt_lo",
            "opt_hi",
            "hull_lo",
            "hull_hi",
        )
        own = {name: getattr(w, name).copy() for name in (*names, "start", "latest", "skip", "follow")}
        own |= {name: starts.copy() for name, starts in self._shut.items()}
        if opened.loose & HOURS:  # only where the remedy says so
            for x, crew in enumerate(opened.crew_of):
                shift = next(s for s in crew.shifts if s.day == model.crew_days[x].day)
                own["start"][x], own["latest"][x] = shift.start, shift.end + shift.overtime
        for undo in remedy.undo:
            match undo:
                case Parts(part, yard, day, number):
                    row = next(n for n, y in enumerate(opened.week.yards) if y.id == yard)
                    own["stock_cap"][row, model.stock_items.index(part), day:] += number
                case Tools(item, yard, day, number):
                    own["pool_cap"][model.pool_row[self._near(yard, day), model.items.index(item)]] += number
                case People(yard, day, number, _):
                    own["helper_cap"][model.helper_row[self._near(yard, day)]] += number
                case LongerDay(name, day, earlier, later):
                    own["start"][model.crew_day[name, day]] -= earlier
                    own["latest"][model.crew_day[name, day]] += later
                case BetterVan(name, payload_kg, _, boxes):
                    for x, crew in enumerate(opened.crew_of):
                        if crew.id == name:
                            own["payload"][x], own["max_boxes"][x] = payload_kg, boxes
        crews = {undo.crew for undo in remedy.undo if isinstance(undo, Skills | BetterVan)}
        for i in opened.asked if crews else (j,):
            self._let(own, i, remedy, crews if i != j else None, own=i == j)
        for undo in remedy.undo:
            if isinstance(undo, Free):
                own["follow"] = own["follow"][[self._name(row) not in undo.pairs for row in own["follow"].tolist()]]
        own["skip"][j] += 0 if remedy.cents is None else remedy.cents + 1
        model = dataclasses.replace(model, start=own["start"], latest=own["latest"])
        return model, w._replace(**own)

    @cached_property
    def _shut(self) -> dict[str, Any]:
        """Return the starts with every job kept off the crew days that a rule keeps it off by itself."""
        starts = {name: getattr(self.opened.arrays, name).copy() for name in ("opt_lo", "opt_hi", "hull_lo", "hull_hi")}
        nothing = Remedy((), "", 0)
        for i in self.opened.asked:
            self._let(starts, i, nothing, None, own=False)
        return starts

    def _let(self, starts: dict[str, Any], i: int, remedy: Remedy, crews: set[str] | None, *, own: bool) -> None:
        """Give job i the starts that the remedy leaves it, on the crew days of `crews` (None: all)."""
        w = self.opened.arrays
        for c in range(int(w.job_ptr[i]), int(w.job_ptr[i + 1])):
            k, place = int(w.job_day[c]), int(w.job_cand[c])
            if crews is not None and self.opened.crew_of[k].id not in crews:
                continue
            span = self._span(i, k, remedy, own=own)
            options = slice(int(w.opt_ptr[place]), int(w.opt_ptr[place + 1]))
            for lo, hi, at in (("opt_lo", "opt_hi", options), ("hull_lo", "hull_hi", slice(place, place + 1))):
                starts[lo][at], starts[hi][at] = getattr(w, lo)[at], getattr(w, hi)[at]
                if span is None:
                    starts[hi][at] = -1
                elif span[0] > 0:
                    starts[lo][at] = starts[lo][at].clip(min=span[0])
                    starts[hi][at] = starts[hi][at].clip(max=span[1])

    def _name(self, row: list[int]) -> tuple[str, str]:
        return self.opened.week.jobs[row[0]].id, self.opened.week.jobs[row[1]].id

    def _near(self, yard: str, day: int) -> int:
        """Return some crew day of a yard."""
        return next(
            k
            for k, crew in enumerate(self.opened.crew_of)
            if crew.yard == yard and self.opened.model.crew_days[k].day == day
        )

    def _span(self, i: int, k: int, remedy: Remedy, *, own: bool) -> tuple[int, int] | None:
        """Return the first and last start of job i on crew day k, (0, 0) for all that it has, None for none."""
        opened = self.opened
        bits, crew, job = opened.static(i)[k], opened.crew_of[k], opened.week.jobs[i]
        day, loose = opened.model.crew_days[k].day, i in opened.free
        for undo in remedy.undo:
            match undo:
                case Skills(name, skills) if name == crew.id and set(job.skills) <= {*crew.skills_on(day), *skills}:
                    bits &= ~SKILL
                case BetterVan(name, kg, mm, boxes) if name == crew.id and van_takes(job, mm, boxes, kg):
                    bits &= ~VAN
                case KitBy(by) if own and by <= day:
                    bits &= ~KIT
                case AtYard(yard) if own and yard == crew.yard:
                    bits &= ~YARD
                case OpenHours(on, start, end) if own and on == day:
                    loose = False
                    if not bits & ~BY_TIME:
                        return max(1, start), end - job.minutes
        if bits & ~BY_TIME:
            return None
        if not loose:
            return 0, 0
        spans = [(w.start, w.end - job.minutes) for w in job.windows if w.day == day]
        return max(spans, key=lambda s: s[1] - s[0], default=None)


def _holds(undo: tuple[Any, ...], least: tuple[Any, ...]) -> bool:
    """Whether one remedy takes at least all that another takes."""
    have = {u[:-1] if not isinstance(u, People) else (u.yard, u.day): u for u in undo}
    for u in least:
        more = have.get(u[:-1] if not isinstance(u, People) else (u.yard, u.day))
        if more is None or more.number < u.number:
            return False
    return True
