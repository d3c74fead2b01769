"""Where the brackets go: the shift of the awning, and the places of its brackets on the bar and on the wall.

The rules are common practice of the trade, without a published source; the manufacturer's instructions and local codes
go first. Lengths are millimetres; those that differ by less than `EQUAL` count as equal.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from scheduler.layout.documents import CARRIES_NOTHING, CONTINUOUS, Survey
from scheduler.layout.grid import Grid, best_on_grid

EQUAL = 0.001
FOUR_UP_TO = 4876.8  # 16 ft; PRACTICE, as are the other three
FOOT_FOUR = 1219.2  # one bracket more for each 4 ft begun
ARM_REACH = 304.8  # 12 in, from a bracket's centre to the arm's that it serves
SHIFT_STEP = 12.7
GRID_STEP = 5.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A bracket's centre, `at` from the bar's left end and `wall` from the datum; see `documents.Bracket`."""

    at: float
    wall: float
    member: int | None
    arm: int | None


@dataclass(frozen=True, slots=True)
class Placement:
    """`spots` from left to right, empty where no layout exists; `blocked` the obstacles behind the closed awning.

    Without a layout `shift` is the first choice of the shifts that are allowed, None where the band allows none.
    """

    required: int
    shift: float | None
    spots: tuple[Spot, ...]
    spread: float | None
    blocked: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Bar:
    """What of an awning decides where brackets may be on its bar."""

    width: float
    arms: tuple[float, ...]
    keep_off: float  # least distance from a bracket's centre to an arm's: half the zone and half the bracket
    bracket: float
    count: int

    def admits(self, at: float) -> bool:
        """Whether a bracket centred at `at` lies wholly on the bar and in no arm zone."""
        half = self.bracket / 2
        on_bar = at - half > -EQUAL and at + half < self.width + EQUAL
        return on_bar and all(abs(at - arm) > self.keep_off - EQUAL for arm in self.arms)

    @property
    def reach(self) -> float:
        """How far from an arm's centre a bracket's may be to serve it: less than this."""
        return ARM_REACH + EQUAL

    def apart(self, left: float, right: float) -> bool:
        return right - left > self.bracket - EQUAL

    def serves(self, at: float, arm: float) -> bool:
        return abs(at - arm) < self.reach


def required_brackets(width: float, at_least: int = 0) -> int:
    """Return how many brackets a bar of `width` needs; `at_least` is the manufacturer's number where there is one."""
    more = math.ceil((width - FOUR_UP_TO - EQUAL) / FOOT_FOUR)
    return max(4 + max(more, 0), at_least)


def bar_of(survey: Survey, count: int) -> Bar:
    awning = survey.awning
    keep_off = awning.arm_half + awning.bracket_width / 2
    return Bar(awning.width, awning.arms, keep_off, awning.bracket_width, count)


def place_brackets(survey: Survey, at_least: int = 0) -> Placement:
    """Return the best placement by the rules, in their order; without `spots` where none exists.

    The shift first: fewest obstacles behind the closed awning, most outer brackets outside their arms, smallest, left.
    At that shift: most inner arms served, smallest spread, smallest sum of distances from the even places, leftmost.
    """
    count = required_brackets(survey.awning.width, at_least)
    shifts = list(allowed_shifts(survey))
    nothing = Placement(count, None, (), None, ())
    if not shifts:
        return nothing
    nothing = Placement(count, shifts[0], (), None, blocked_by(survey, shifts[0]))
    if survey.wall.kind in CARRIES_NOTHING:
        return nothing
    bar = bar_of(survey, count)
    if survey.wall.kind in CONTINUOUS:
        places = grid_places(bar)
        outside = _most_outside(bar, places)
        if outside is None:
            return nothing
        chosen = best_continuous(bar, outside)
        left = survey.place.left_end + shifts[0]
        return _placement(survey, bar, shifts[0], [(at, left + at, None) for at in chosen])
    best: tuple[int, float, int] | None = None  # outside, shift, obstacles
    for shift in shifts:
        hidden = len(blocked_by(survey, shift))
        if best is not None and hidden > best[2]:
            break
        outside = _most_outside(bar, [at for at, _ in member_places(survey, bar, shift)])
        if outside is not None and (best is None or outside > best[0]):
            best = (outside, shift, hidden)
            if outside == 2:
                break
    if best is None:
        return nothing
    outside, shift, _ = best
    members = dict(member_places(survey, bar, shift))
    chosen = _best_discrete(bar, list(members), outside)
    return _placement(survey, bar, shift, [(at, survey.wall.members[members[at]], members[at]) for at in chosen])


def _placement(survey: Survey, bar: Bar, shift: float, spots: Sequence[tuple[float, float, int | None]]) -> Placement:
    last = len(spots) - 1
    outer = {0: 0, last: len(bar.arms) - 1}
    # Rounded to a nanometre, to lose the dust of binary fractions.
    made = tuple(Spot(round(at, 6), round(wall, 6), member, outer.get(n)) for n, (at, wall, member) in enumerate(spots))
    even = even_places(made[0].at, made[-1].at, bar.count)
    spread = max((abs(spot.at - at) for spot, at in zip(made[1:-1], even, strict=True)), default=0.0)
    return Placement(bar.count, shift, made, round(spread, 6), blocked_by(survey, shift))


def even_places(first: float, last: float, count: int) -> list[float]:
    """Return the even places of the inner brackets between outer ones at `first` and `last`."""
    return [first + (last - first) * n / (count - 1) for n in range(1, count - 1)]


def allowed_shifts(survey: Survey) -> Iterator[float]:
    """Yield the shifts that slide and band allow: fewest obstacles behind the closed awning first, smallest, left."""
    band, left, width = survey.band, survey.place.left_end, survey.awning.width
    most = int((survey.place.slide + EQUAL) / SHIFT_STEP)
    steps = (round(n * SHIFT_STEP, 1) for n in range(-most, most + 1))
    inside = [s for s in steps if left + s > band.left - EQUAL and left + s + width < band.right + EQUAL]
    hidden = {shift: len(blocked_by(survey, shift)) for shift in inside}
    yield from sorted(inside, key=lambda shift: (hidden[shift], abs(shift), shift))


def blocked_by(survey: Survey, shift: float) -> tuple[int, ...]:
    """Return the indices of the obstacles that the closed awning would cover at `shift`."""
    left = survey.place.left_end + shift
    right = left + survey.awning.width
    bottom, top = survey.place.height - survey.awning.body_below, survey.place.height + survey.awning.body_above
    return tuple(
        n
        for n, it in enumerate(survey.obstacles)
        if min(right, it.right) - max(left, it.left) >= EQUAL and min(top, it.top) - max(bottom, it.bottom) >= EQUAL
    )


def member_places(survey: Survey, bar: Bar, shift: float) -> list[tuple[float, int]]:
    """Return (place on the bar, index in `wall.members`) of each member that admits a bracket, from left to right."""
    left = survey.place.left_end + shift
    found: list[tuple[float, int]] = []
    for wall, index in sorted((wall, index) for index, wall in enumerate(survey.wall.members)):
        if bar.admits(wall - left) and not (found and wall - left - found[-1][0] < EQUAL):
            found.append((wall - left, index))
    return found


def grid_places(bar: Bar) -> list[float]:
    """Return the places of the 5 mm grid that admit a bracket; as `Bar.admits`, for all of them at once."""
    at = np.arange(int((bar.width + EQUAL) / GRID_STEP) + 1) * GRID_STEP
    half = bar.bracket / 2
    fine = (at - half > -EQUAL) & (at + half < bar.width + EQUAL)
    for arm in bar.arms:
        fine &= np.abs(at - arm) > bar.keep_off - EQUAL
    places: list[float] = at[fine].tolist()
    return places


def outer_places(bar: Bar, places: Sequence[float]) -> tuple[list[list[float]], list[list[float]]]:
    """Return the places for the leftmost and for the rightmost bracket, each as [inside its arm, outside it]."""
    first, last = bar.arms[0], bar.arms[-1]
    reach = bar.reach
    lefts, rights = ([at for at in places if abs(at - arm) < reach] for arm in (first, last))
    return (
        [[at for at in lefts if at >= first], [at for at in lefts if at < first]],
        [[at for at in rights if at <= last], [at for at in rights if at > last]],
    )


def _most_outside(bar: Bar, places: Sequence[float]) -> int | None:
    """Return how many outer brackets can be outside their arms, None where no layout exists.

    The outermost place of each side is enough to try: an outer bracket moved outwards takes no room from the others.
    """
    lefts, rights = outer_places(bar, places)
    for left_out, right_out in ((1, 1), (1, 0), (0, 1), (0, 0)):
        if lefts[left_out] and rights[right_out] and _fits(bar, places, lefts[left_out][0], rights[right_out][-1]):
            return left_out + right_out
    return None


def _fits(bar: Bar, places: Sequence[float], first: float, last: float) -> bool:
    """Whether enough brackets find room between outer ones at `first` and `last`, each as far left as it can be."""
    free, previous = bar.count - 2, first
    for at in places:
        if not free:
            break
        if bar.apart(previous, at) and bar.apart(at, last):
            free, previous = free - 1, at
    return not free and bar.apart(previous, last)


def best_continuous(bar: Bar, outside: int | None = None) -> list[float]:
    """Return the best places on the 5 mm grid with `outside` outer brackets outside (None: as many as can be).

    Empty where the bar has no room for its brackets.
    """
    places = grid_places(bar)
    if outside is None:
        outside = _most_outside(bar, places)
        if outside is None:
            return []
    allowed = np.zeros(int((bar.width + EQUAL) / GRID_STEP) + 1, dtype=bool)
    allowed[[round(at / GRID_STEP) for at in places]] = True
    apart = max(int((bar.bracket - EQUAL) / GRID_STEP) + 1, 1)
    arms = [
        (math.ceil((arm - bar.reach) / GRID_STEP), math.floor((arm + bar.reach) / GRID_STEP)) for arm in bar.arms[1:-1]
    ]
    lefts, rights = outer_places(bar, places)
    pairs = [
        (round(left / GRID_STEP), round(right / GRID_STEP))
        for left_out in (0, 1)
        for right_out in (0, 1)
        if left_out + right_out == outside
        for left in lefts[left_out]
        for right in rights[right_out]
    ]
    chosen = best_on_grid(Grid(allowed, bar.count, apart), np.array(pairs, dtype=np.int64), arms)
    return [step * GRID_STEP for step in chosen]


@dataclass(frozen=True, slots=True)
class _Span:
    """The inner brackets' choice between two outer ones: place, distances from the even places, arms served."""

    first: float
    last: float
    places: tuple[float, ...]
    after: tuple[int, ...]  # for each place, then (index -1) for `first`: the first of places far enough to its right
    far: tuple[tuple[float, ...], ...]  # [inner bracket][place] distance from its even place
    served: tuple[int, ...]  # bit set of inner arms for each place, then for `last`, then (index -1) for `first`


def _span(bar: Bar, places: Sequence[float], first: float, last: float) -> _Span | None:
    inner = tuple(at for at in places if bar.apart(first, at) and bar.apart(at, last))
    if not _fits(bar, inner, first, last):
        return None
    far = tuple(tuple(abs(at - even) for at in inner) for even in even_places(first, last, bar.count))
    after: list[int] = []
    for place in inner:
        n = after[-1] if after else 0
        while n < len(inner) and not bar.apart(place, inner[n]):
            n += 1
        after.append(n)
    arms = bar.arms[1:-1]
    served = [sum(1 << n for n, arm in enumerate(arms) if bar.serves(at, arm)) for at in (*inner, last, first)]
    return _Span(first, last, inner, (*after, 0), far, tuple(served))


def _least_possible(bar: Bar, places: Sequence[float], first: float, last: float) -> float:
    """Return a spread that no layout between `first` and `last` can go below: each bracket at its nearest place."""
    least = 0.0
    for even in even_places(first, last, bar.count):
        n = bisect_left(places, even)
        least = max(least, min(abs(at - even) for at in places[max(n - 1, 0) : n + 1]))
    return least


def _best_discrete(bar: Bar, places: Sequence[float], outside: int) -> list[float]:
    """Return the best of `places` (ascending) with `outside` outer brackets outside; at least one layout must exist.

    Passes over the pairs of outer brackets, those with the smallest possible spread first: each keeps what is equal to
    the best of its measure.
    """
    lefts, rights = outer_places(bar, places)
    pairs = sorted(
        (_least_possible(bar, places, first, last), first, last)
        for left_out in (0, 1)
        for right_out in (0, 1)
        if left_out + right_out == outside
        for first in lefts[left_out]
        for last in rights[right_out]
        if bar.apart(first, last)
    )
    span_of = cache(partial(_span, bar, places))
    need = 0
    if len(bar.arms) > 2:
        servable = sum(any(bar.serves(at, arm) for at in places) for arm in bar.arms[1:-1])
        for _, first, last in pairs:
            if (span := span_of(first, last)) is not None:
                need = max(need, _most_served(span))
            if need == servable:
                break
    spread = math.inf
    for least, first, last in pairs:
        if least >= spread:
            break
        if (span := span_of(first, last)) is not None:
            spread = min(spread, _least_spread(span, need, spread))
    close = [span_of(first, last) for least, first, last in pairs if least < spread + EQUAL]
    tables = [_Sums(span, need, spread + EQUAL) for span in close if span is not None]
    total = min(table.least() for table in tables)
    return list(min(chosen for table in tables if (chosen := table.leftmost(total + EQUAL)) is not None))


def _most_served(span: _Span) -> int:
    """Return the most inner arms that brackets within `span`, the outer ones included, can serve.

    An arm's reach is one stretch of the bar: served by this bracket and an earlier one, it is by the one before this.
    """
    count, end = len(span.far), len(span.places)

    @cache
    def more(bracket: int, previous: int) -> float:
        if bracket == count:
            return (span.served[end] & ~span.served[previous]).bit_count()
        return max(
            (
                (span.served[n] & ~span.served[previous]).bit_count() + more(bracket + 1, n)
                for n in range(span.after[previous], end)
            ),
            default=-math.inf,
        )

    best = span.served[-1].bit_count() + more(0, -1)
    return int(best) if best >= 0 else -1


def _least_spread(span: _Span, need: int, below: float) -> float:
    """Return the smallest spread at which `need` inner arms are served, infinite where it is not under `below`."""
    count, end = len(span.far), len(span.places)

    @cache
    def rest(bracket: int, previous: int, need: int) -> float:
        if bracket == count:
            return 0.0 if (span.served[end] & ~span.served[previous]).bit_count() >= need else math.inf
        best, far = math.inf, span.far[bracket]
        for n in range(span.after[previous], end):
            if far[n] < best and far[n] < below:
                left = max(need - (span.served[n] & ~span.served[previous]).bit_count(), 0) if need else 0
                best = min(best, max(far[n], rest(bracket + 1, n, left)))
        return best

    return rest(0, -1, max(need - span.served[-1].bit_count(), 0))


class _Sums:
    """The sums of distances within a span, of layouts that serve `need` inner arms with a spread under `below`."""

    def __init__(self, span: _Span, need: int, below: float) -> None:
        self.span, self.below = span, below
        self.need = max(need - span.served[-1].bit_count(), 0)
        self.rest = cache(self._rest)

    def _steps(self, bracket: int, previous: int, need: int) -> Iterator[tuple[int, float, int]]:
        span, far = self.span, self.span.far[bracket]
        for n in range(span.after[previous], len(span.places)):
            if far[n] < self.below:
                yield n, far[n], max(need - (span.served[n] & ~span.served[previous]).bit_count(), 0) if need else 0

    def _rest(self, bracket: int, previous: int, need: int) -> float:
        span = self.span
        if bracket == len(span.far):
            return 0.0 if (span.served[len(span.places)] & ~span.served[previous]).bit_count() >= need else math.inf
        steps = self._steps(bracket, previous, need)
        return min((far + self.rest(bracket + 1, n, left) for n, far, left in steps), default=math.inf)

    def least(self) -> float:
        return self.rest(0, -1, self.need)

    def leftmost(self, below: float) -> tuple[float, ...] | None:
        """Return the places of the leftmost layout whose sum is under `below`, None where there is none."""
        if not self.least() < below:
            return None
        chosen, previous, need, spent = [self.span.first], -1, self.need, 0.0
        for bracket in range(len(self.span.far)):
            for n, far, left in self._steps(bracket, previous, need):
                if spent + far + self.rest(bracket + 1, n, left) < below:
                    chosen.append(self.span.places[n])
                    previous, need, spent = n, left, spent + far
                    break
        return (*chosen, self.span.last)
