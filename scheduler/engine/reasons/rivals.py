"""Who else would take what a remedy undoes: the week is planned again with it, to see whether the job goes.

Where another waiting job takes it first, so much more is counted that both go. Where that cannot be, or what is undone
saves more on jobs that go anyway, the price is found at which the job goes all the same.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence
from typing import Any, NamedTuple

from scheduler.engine.reasons.anew import DEAR, Again, Routes, as_planned
from scheduler.engine.reasons.opened import HOURS, REST, SKILL, VAN, OpenedPlan, Opening
from scheduler.engine.reasons.remedies import People, Remedy, with_undone
from scheduler.engine.reasons.room import HELPER, LADDER, LOAD, STOCK
from scheduler.engine.reasons.short import undo_of
from scheduler.engine.reasons.surely import Sure

_COUNTED = STOCK | LADDER | HELPER  # what there can be more of, so that it serves both
_SHARED = _COUNTED | LOAD | SKILL | VAN | HOURS | REST  # what serves others too
_MOST_SERVED = 4


class Settled(NamedTuple):
    """Where the job goes, the order of stops there, and what to undo for it."""

    place: Opening
    order: list[int]
    remedy: Remedy


class Rivals:
    """The question, of the jobs of one plan, at most about `most` times; `rounds` of search for each, `sure` after."""

    def __init__(self, most: int, rounds: int, sure: Sure) -> None:
        self.left, self.rounds, self.sure = most, rounds, sure

    def settled(self, opened: OpenedPlan, j: int, found: Settled) -> Settled:
        """Return the remedy with enough of all for those that it serves before job j, or with the price to go first.

        What serves one job alone (its kit, a window, its yard) has no rivals. Where there is a price besides, it is
        told with everything planned again too.
        """
        shared = found.place.hindered & _SHARED
        if not shared and (not found.place.hindered or found.remedy.cents is None):
            return found
        base = {opened.at(k): jobs for k, jobs in opened.routes.items()}
        name, now, routes = opened.week.jobs[j].id, found, base
        if self.left <= 0:
            return found
        for served in range(_MOST_SERVED):
            self.left -= 1
            begin = {at: [x for x in jobs if x not in now.place.out] for at, jobs in routes.items()}
            begin[opened.at(now.place.k)] = now.order
            freed = with_undone(opened.week, name, now.remedy.undo)
            again = Again(freed, [as_planned(begin), as_planned(base)])
            if not shared and now.remedy.cents is not None:
                return self._priced_anew(again, j, now, now.remedy.cents)
            paid = 0 if now.remedy.cents is None else now.remedy.cents + 1
            without = self.sure.cheapest(again, self.rounds, j, paid)
            if name in without.jobs:
                return now if now.remedy.cents is None else self._priced_anew(again, j, now, now.remedy.cents)
            planned = {opened.week.jobs[x].id for jobs in base.values() for x in jobs}
            rivals = tuple(sorted(without.jobs - planned))
            counted = rivals and served < _MOST_SERVED - 1 and not now.place.hindered & ~_COUNTED
            more = self._more(opened, j, without.routes, now) if counted else None
            if more is None:
                forced = self.sure.cheapest(again, self.rounds, j, DEAR)
                if name not in forced.jobs or forced.cost <= without.cost:  # one of the searches has not come so far
                    return now
                return _at_a_price(now, rivals, forced.cost - without.cost + paid)
            routes = without.routes
            now = more._replace(remedy=dataclasses.replace(more.remedy, rivals=rivals, served=True))
        return now

    def _priced_anew(self, again: Again, j: int, now: Settled, cents: int) -> Settled:
        """Return the remedy with what the job costs where everything is planned again with it undone, at most."""
        skip, name = int(again.model.skip_cost[j]), again.week.jobs[j].id
        others = self.sure.cheapest(again, self.rounds, j, -skip).cost + skip
        forced = self.sure.cheapest(again, self.rounds, j, DEAR)
        extra = forced.cost - others
        if name not in forced.jobs or extra < 0:
            return now
        return now._replace(remedy=dataclasses.replace(now.remedy, again_cents=min(extra, cents)))

    def _more(self, opened: OpenedPlan, j: int, routes: Routes, now: Settled) -> Settled | None:
        """Return what job j takes on top of the plan `routes`, which has first what was undone for it."""
        days = opened.model.crew_day
        if any(at not in days for at in routes):
            return None
        beside = copy.copy(opened)
        beside.__dict__.pop("state", None)
        beside.routes, beside.costs = {days[at]: list(jobs) for at, jobs in routes.items()}, {}
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


def _at_a_price(now: Settled, rivals: Sequence[str], cents: int) -> Settled:
    """Return the remedy with the price at which the job goes before the rivals, or before what saves more elsewhere."""
    remedy = dataclasses.replace(now.remedy, cents=cents, rivals=tuple(rivals), served=False)
    if rivals:
        return now._replace(remedy=remedy)
    return now._replace(place=now.place._replace(extra=cents), remedy=dataclasses.replace(remedy, elsewhere=True))


def _holds(undo: tuple[Any, ...], least: tuple[Any, ...]) -> bool:
    """Whether one remedy takes at least all that another takes."""
    have = {u[:-1] if not isinstance(u, People) else (u.yard, u.day): u for u in undo}
    for u in least:
        more = have.get(u[:-1] if not isinstance(u, People) else (u.yard, u.day))
        if more is None or more.number < u.number:
            return False
    return True
