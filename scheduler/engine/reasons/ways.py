"""The smallest sets of things that stand between a job and a place in the plan, each whole, the cheapest first.

What is undone at a place is counted with the rest of the plan as it is, so that the job then really goes. Where another
waiting job would take first what is undone, it is told, and where more of the same serves both, so much is counted.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.opened import BY_TIME, HOURS, KIT, REST, WINDOW, OpenedPlan, Opening, Routes
from scheduler.engine.reasons.remedies import LongerDay, Parts, People, Remedy, Tools, Undo
from scheduler.engine.reasons.rivals import Settled
from scheduler.engine.reasons.room import FOLLOW, HELPER, LADDER, STOCK
from scheduler.engine.reasons.short import undo_of

MOST_WAYS = 3
_COUNTED = 6  # places of one kind of which the one that lacks fewest pieces is looked for
_TO_BE_HAD = (
    LADDER | STOCK | HELPER | KIT | FOLLOW
)  # what can be ordered, lent or agreed on, without other people's hours


@dataclass(frozen=True)
class Way:
    """A place for a job, the order of stops, and the remedy; `alone`: less will not do whatever else is planned."""

    opened: OpenedPlan
    place: Opening
    order: list[int]
    remedy: Remedy
    alone: bool


class Plans:
    """The plan, with jobs let onto every crew day, under the rules as they are or some of those on time loosened.

    `hard`: the jobs for which work windows are loosened.
    """

    def __init__(self, model: Model, routes: Routes, asked: Collection[int]) -> None:
        self.week, self.routes = model.week, routes
        self.base = OpenedPlan(model.week, routes, asked)
        self.hard = frozenset(asked)
        self.loose = cache(self._loose)

    def _loose(self, rules: int) -> OpenedPlan:
        if not rules:
            return self.base
        return OpenedPlan(self.week, self.routes, self.base.asked, rules, self.hard, self.base.cost_by_route())


Found = list[tuple[OpenedPlan, Opening]]
Days = Callable[[OpenedPlan], Collection[int]]


def look(opened: OpenedPlan, j: int, worth: int, days: Days | None = None) -> Found:
    """Return the places of job j under the rules as they are, in place of others only where those are too bad.

    worth: what leaving the job as it is costs, in cents. days: the crew days that count (None: all).
    """
    found = _found(opened, j, worth, days, OpenedPlan.beside)
    if is_hard(found) or any(_is_price(kind) for kind in _fewest(found)):
        found += _found(opened, j, worth, days, OpenedPlan.instead)
    return found


def is_hard(found: Found) -> bool:
    """Whether no place is there for one undoing."""
    chosen = _fewest(found)
    return not chosen or chosen[0][0][1].undoings > 1


def ways(
    loose: Callable[[int], OpenedPlan],
    j: int,
    worth: int,
    found: Found,
    days: Days | None = None,
    settle: Callable[[OpenedPlan, int, Settled], Settled] | None = None,
    by_time: tuple[int, ...] = (HOURS, REST, WINDOW),
) -> list[Way]:
    """Return the sets that need the fewest undoings, at most three, those without a price first, the cheapest first.

    loose: the plan with such rules on time loosened. found: what `look` has found. A place that displaces no job is
    taken before one that does. settle: has those counted that would go first. by_time: rules on time to be loosened.
    """
    chosen = _fewest(found)
    if is_hard(found):
        found = list(found)
        rules_on_time = [rule for rule in by_time if rule != REST or loose(0).week.rest is not None]
        for size in range(1, len(rules_on_time) + 1):
            for rules in combinations(rules_on_time, size):
                if not chosen or size == 1:
                    found += _found(loose(sum(rules)), j, worth, days, OpenedPlan.beside)
            chosen = chosen or _fewest(found)
        for rule in rules_on_time:
            if not chosen:
                found += _found(loose(rule), j, worth, days, OpenedPlan.instead)
        chosen = _fewest(found)
    made = [_way(loose, kind, j, worth, days, settle) for kind in chosen]
    least = min((way.place.undoings for way in made), default=0)
    made = sorted((way for way in made if way.place.undoings == least), key=_cheapest)
    return made[:MOST_WAYS]


def _found(
    opened: OpenedPlan,
    j: int,
    worth: int,
    days: Days | None,
    places: Callable[[OpenedPlan, int, int, Collection[int] | None], list[Opening]],
) -> Found:
    by_kind: dict[tuple[bool, bool, int], list[Opening]] = {}
    for place in places(opened, j, worth, None if days is None else days(opened)):
        by_kind.setdefault((place.extra >= 0, bool(place.out), place.hindered), []).append(place)
    return [(opened, place) for kind in by_kind.values() for place in opened.refined(j, worth, kind)[:_COUNTED]]


def _fewest(found: Found) -> list[Found]:
    """Return the places of each kind that takes the fewest undoings, the cheapest of a kind first."""
    best: dict[tuple[bool, bool, int], Found] = {}
    for opened, place in sorted(found, key=lambda f: (f[1].extra, f[1])):
        best.setdefault((place.extra >= 0, bool(place.out), place.hindered), []).append((opened, place))
    least = min((kind[0][1].undoings for kind in best.values()), default=0)
    chosen = [kind for _, kind in sorted(best.items(), key=lambda b: b[0]) if kind[0][1].undoings == least]
    cheaper = [kind for kind in chosen if kind[0][1].extra < 0 and not kind[0][1].hindered]
    if cheaper:  # than the plan is now: no rule keeps it off
        return [cheaper[0][:1]]
    prices = [kind for kind in chosen if _is_price(kind)]
    others = [kind for kind in chosen if not _is_price(kind)]
    others = [kind for kind in others if not kind[0][1].out] or others
    return others + sorted(prices, key=lambda kind: kind[0][1].extra)[:1]


def _is_price(kind: Found) -> bool:
    """Whether nothing but its cost keeps the job out of the places of a kind."""
    return kind[0][1].extra >= 0 and not kind[0][1].hindered


def _way(
    loose: Callable[[int], OpenedPlan],
    kind: Found,
    j: int,
    worth: int,
    days: Days | None,
    settle: Callable[[OpenedPlan, int, Settled], Settled] | None,
) -> Way:
    """Return, of places of one kind, the one that lacks least, with its remedy."""
    bits = kind[0][1].hindered
    tried = [
        (opened, *undo_of(opened, j, worth, place, order), order)
        for opened, place in kind[: _COUNTED if bits & (LADDER | STOCK | HELPER | HOURS) else 1]
        for order in [opened.ordered(j, worth, place)[1]]
    ]
    opened, place, undo, order = min(tried, key=lambda t: (t[1].extra >= 0, pieces(t[2]), t[1].extra, t[1]))
    week = opened.week
    priced = place.extra if place.extra >= 0 else None
    remedy = Remedy(undo, *opened.at(place.k), priced, None, tuple(week.jobs[x].id for x in place.out))
    alone = bits.bit_count() > 1 and priced is None and _enough_alone(loose, j, bits, days)
    settled = Settled(place, order, remedy)
    if settle is not None:
        settled = settle(opened, j, settled)
    return Way(opened, *settled, alone and settled.place.extra < 0)


def _enough_alone(loose: Callable[[int], OpenedPlan], j: int, bits: int, days: Days | None) -> bool:
    """Whether nothing less than these things frees job j, even were nothing else planned."""
    week = loose(0).week
    if any(f.then == week.jobs[j].id for f in week.follows):
        return False  # what it follows might be planned elsewhere
    for rules in {
        bits & some for some in (0, HOURS, REST, WINDOW, HOURS | REST, HOURS | WINDOW, REST | WINDOW, BY_TIME)
    }:
        opened = loose(rules)
        for less in opened.alone(j, None if days is None else days(opened)):
            if less & bits == less != bits:
                return False
    return True


def _cheapest(way: Way) -> tuple[bool, bool, bool, int, int]:
    """Order ways: without a price, without rivals, what can be had, then what the week costs, then fewest pieces."""
    remedy, bits = way.remedy, way.place.hindered
    return (
        way.place.extra >= 0,
        bool(remedy.rivals) and not remedy.served,
        bool(bits & ~_TO_BE_HAD),
        way.place.extra,
        pieces(remedy.undo),
    )


def pieces(undo: tuple[Undo, ...]) -> int:
    """Return how many parts, tools, helpers and minutes a remedy takes together."""
    return sum(
        u.earlier + u.later if isinstance(u, LongerDay) else u.number
        for u in undo
        if isinstance(u, Parts | Tools | People | LongerDay)
    )
