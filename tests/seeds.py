"""Which random cases every run of the suite tries; the long tests try them all."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def some_now(seeds: Iterable[int], now: int | Collection[int]) -> list[Any]:
    """Return the seeds as parameters, all but those of `now` (a number: the first so many) marked as long."""
    every = list(seeds)
    quick = set(every[:now] if isinstance(now, int) else now)
    return [seed if seed in quick else pytest.param(seed, marks=pytest.mark.long) for seed in every]
