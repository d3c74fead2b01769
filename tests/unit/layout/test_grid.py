"""The search for places on a grid against every choice of places there is, where they crowd each other most."""

from __future__ import annotations

import random
from itertools import combinations, pairwise

import numpy as np
import pytest

from scheduler.layout.placement.grid import Grid, best_on_grid

Key = tuple[int, int, int, tuple[int, ...]]


def by_trying(
    allowed: list[bool], count: int, apart: int, pairs: list[tuple[int, int]], arms: list[tuple[int, int]]
) -> Key | None:
    """Return (arms not served, spread, sum of distances, places) of the best choice; None where there is none.

    Distances are those from the even places between the outer brackets, times (count − 1), so that they are whole.
    """
    parts = count - 1
    best: Key | None = None
    steps = [k for k, fine in enumerate(allowed) if fine]
    for first, last in pairs:
        for inner in combinations([k for k in steps if first < k < last], count - 2):
            chosen = (first, *inner, last)
            if any(b - a < apart for a, b in pairwise(chosen)):
                continue
            far = [abs(k * parts - first * parts - (last - first) * n) for n, k in enumerate(chosen)]
            missed = sum(not any(low <= k <= high for k in chosen) for low, high in arms)
            key = (missed, max(far), sum(far), chosen)
            best = key if best is None else min(best, key)
    return best


@pytest.mark.parametrize("seed", range(300))
def test_the_best_of_few_places(seed: int) -> None:
    rng = random.Random(seed)
    size, count, apart = rng.randint(8, 26), rng.choice([3, 4, 4, 5, 6]), rng.randint(1, 6)
    allowed = [rng.random() < rng.choice([0.3, 0.6, 0.95]) for _ in range(size)]
    steps = [k for k, fine in enumerate(allowed) if fine]
    pairs = [(a, b) for a in steps[:3] for b in steps[-3:] if a < b]
    reach = rng.randint(0, 4)  # of every arm alike, the arms from left to right
    arms = [(at, at + reach) for at in sorted(rng.randint(-2, size) for _ in range(rng.choice([0, 0, 1, 2])))]
    found = best_on_grid(Grid(np.array(allowed), count, apart), np.array(pairs, dtype=np.int64).reshape(-1, 2), arms)
    best = by_trying(allowed, count, apart, pairs, arms)
    assert found == (() if best is None else best[3])


@pytest.mark.parametrize(
    ("allowed", "best"),
    [
        # Even places in fifths: 14, 28, 42, 56. 2, 4, 8, 11 are 4, 8, 2, 1 off: as much in sum, but 8 is more than 7.
        ([0, 1, 2, 4, 7, 8, 9, 11, 12, 14], (0, 2, 7, 9, 11, 14)),  # 4, 7, 3, 1
        # 19, 38, 57, 76. 5, 8, 14, 16 are 6, 2, 13, 4 off: 25 in sum, but 13 is more than 12.
        ([0, 2, 5, 6, 8, 9, 14, 15, 16, 19], (0, 2, 6, 9, 15, 19)),  # 9, 8, 12, 1: 30 in sum
    ],
)
def test_no_bracket_stands_further_off_than_need_be_whatever_the_sum(allowed: list[int], best: tuple[int, ...]) -> None:
    marks = np.zeros(allowed[-1] + 1, dtype=bool)
    marks[allowed] = True
    assert best_on_grid(Grid(marks, 6, 2), np.array([[0, allowed[-1]]]), []) == best


def test_nothing_without_a_pair_or_without_room() -> None:
    grid = Grid(np.ones(10, dtype=bool), 4, 4)
    assert best_on_grid(grid, np.empty((0, 2), dtype=np.int64), []) == ()
    assert best_on_grid(grid, np.array([[0, 9]]), []) == ()
    assert best_on_grid(Grid(np.ones(13, dtype=bool), 4, 4), np.array([[0, 12]]), []) == (0, 4, 8, 12)
