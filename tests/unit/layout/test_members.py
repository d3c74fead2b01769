"""The search for places on members against every choice of places there is."""

from __future__ import annotations

import random
from itertools import combinations, pairwise

import pytest

from scheduler.layout.placement.bar import Bar, fits, outer_places
from scheduler.layout.placement.members import best_on_members

REACH = 304.8


def by_trying(bar: Bar, places: list[float], outside: int) -> list[float] | None:
    """Most inner arms served, least spread, least sum of distances, leftmost; whole millimetres, so equal is equal."""
    best = None
    for chosen in combinations(places, bar.count):
        first, last = chosen[0], chosen[-1]
        if abs(first - bar.arms[0]) > REACH or abs(last - bar.arms[-1]) > REACH:
            continue
        if (first < bar.arms[0]) + (last > bar.arms[-1]) != outside:
            continue
        if any(b - a < bar.bracket for a, b in pairwise(chosen)):
            continue
        far = [abs(at - first - (last - first) * n / (bar.count - 1)) for n, at in enumerate(chosen)]
        missed = sum(all(abs(at - arm) > REACH for at in chosen) for arm in bar.arms[1:-1])
        key = (missed, round(max(far), 6), round(sum(far), 6), chosen)
        best = key if best is None else min(best, key)
    return None if best is None else list(best[3])


@pytest.mark.parametrize("seed", range(250))
def test_the_best_of_few_members(seed: int) -> None:
    rng = random.Random(seed)
    inner = sorted(rng.sample(range(1000, 4001, 10), rng.choice([0, 1, 2, 2, 3])))
    bar = Bar(
        5000.0, (500.0, *map(float, inner), 4500.0), 100.0, rng.choice([60.0, 120.0, 400.0]), rng.choice([3, 4, 4, 5])
    )
    places = sorted(rng.sample(range(200, 4801, 20), rng.randint(6, 13)))
    at = [float(place) for place in places if bar.admits(place)]
    lefts, rights = outer_places(bar, at)
    tried = 0
    for outside in (0, 1, 2):
        pairs = [
            (a, b)
            for n, left in enumerate(lefts)
            for m, right in enumerate(rights)
            if n + m == outside
            for a in left
            for b in right
        ]
        best = by_trying(bar, at, outside)
        assert (best is not None) == any(fits(bar, [p for p in at if a < p < b], a, b) for a, b in pairs)
        if best is not None:
            assert best_on_members(bar, at, outside) == best
            tried += 1
    assert tried <= 3


def test_an_arm_that_nothing_can_serve_takes_nothing_from_the_others() -> None:
    """Nothing stands within a foot of the arm at 2230; the one at 1070 is served by 780, though that is less even."""
    bar = Bar(5000.0, (500.0, 1070.0, 2230.0, 4500.0), 100.0, 400.0, 3)
    places = [280.0, 400.0, 780.0, 2620.0, 2880.0, 2980.0, 3740.0, 3920.0, 4000.0, 4300.0, 4380.0]
    assert best_on_members(bar, places, 1) == by_trying(bar, places, 1) == [280, 780, 4300]
