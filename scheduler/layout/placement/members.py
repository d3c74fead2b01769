"""The exact best places of brackets on members: every bracket's centre on a stud's, a rafter's or a grouted cell's."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial

from scheduler.layout.placement.bar import EQUAL, Bar, even_places, fits, outer_places


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
    if not fits(bar, inner, first, last):
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


def _least_for_arms(bar: Bar, first: float, last: float) -> float:
    """Return a spread that no layout in which every inner arm is served can go below."""
    even = even_places(first, last, bar.count)
    return max(
        0.0
        if bar.serves(first, arm) or bar.serves(last, arm)
        else max(min(abs(at - arm) for at in even) - bar.reach, 0.0)
        for arm in bar.arms[1:-1]
    )


def best_on_members(bar: Bar, places: Sequence[float], outside: int) -> list[float]:
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
    if need and need == len(bar.arms) - 2:
        pairs = sorted((max(least, _least_for_arms(bar, one, two)), one, two) for least, one, two in pairs)
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
