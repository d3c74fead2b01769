"""What a van may hold and still take all that can come: never more than trying every set of jobs leaves."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from scheduler.engine.pricing.crew_day import _most_in


@pytest.mark.parametrize("seed", range(40))
def test_no_set_of_jobs_gives_more_in_its_time(seed: int) -> None:
    rng = random.Random(seed)
    count = rng.randint(0, 6)
    takes = np.array([rng.choice((0, rng.randint(1, 60))) for _ in range(count)], dtype=np.int64)
    gives = np.array([rng.choice((0, rng.randint(1, 90))) for _ in range(count)], dtype=np.int64)
    left = np.arange(0, 150, 7)
    told = _most_in(left, takes, gives)
    for minutes, most in zip(left.tolist(), told.tolist(), strict=True):
        sets = itertools.product((0, 1), repeat=count)
        best = max(int(gives @ one) for one in map(np.array, sets) if takes @ one <= minutes) if count else 0
        assert best <= most <= gives.sum()
    assert told[-1] >= told[0]
    assert _most_in(np.array([takes.sum()]), takes, gives)[0] == gives.sum()
