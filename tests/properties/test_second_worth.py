"""What would pay in a week of the second format: what is told saves just that, everything tried."""

from __future__ import annotations

import random
import time

import pytest

from scheduler import worth
from scheduler.engine.worth.changes import changes
from scheduler.week import Week2
from tests.brute2 import cheapest
from tests.weeks2 import STEP, small_week2


@pytest.mark.parametrize(
    "seed", [3, 6, pytest.param(11, marks=pytest.mark.long), pytest.param(12, marks=pytest.mark.long)]
)
@pytest.mark.usefixtures("compiled")
def test_every_worth_is_what_the_changed_week_costs_less(seed: int) -> None:
    week = small_week2(random.Random(seed), jobs=2, crews=1, days=1)
    before = cheapest(week, STEP).cost.total
    told = worth(week, seconds=None, clock=time.monotonic, least_cents=1)
    by_words = {change.words: change for change in changes(week)}
    saved = {}
    for words, change in by_words.items():
        assert isinstance(change.week, Week2)
        saved[words] = before - cheapest(change.week, STEP).cost.total
    for one in told:
        words = next(w for w in by_words if one.sentence.startswith(w))
        assert one.exact
        assert one.at_least_cents == one.at_most_cents == saved[words], one.sentence
    assert max(saved.values(), default=0) == max((one.at_least_cents for one in told), default=0)
