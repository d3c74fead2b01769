"""The linear program over all routes: listing them keeps the time that it is given."""

from __future__ import annotations

import random

import numpy as np
import pytest

from scheduler import build
from scheduler.engine.master import relaxation as module
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.pricing.crew_day import Day
from scheduler.engine.pricing.search import COMPLETE, FULL
from tests.weeks import small_week

GAP, MOST, ROOM = 1e12, 100_000, 100_000  # every route of a small week is listed


def relaxation() -> Relaxation:
    return Relaxation(build(small_week(random.Random(1), jobs=7, crews=2, days=2)), 0, lambda: None, None)


def test_routes_are_listed_until_the_time_is_up() -> None:
    in_time, too_late = relaxation(), relaxation()
    in_time.listed.span.clear()  # crew days whose routes are all known anyway take no time
    too_late.listed.span.clear()
    assert in_time.under(GAP, MOST, ROOM)
    assert in_time.under(GAP, MOST, ROOM, at_most_s=600)
    assert len(in_time.pool) > 0
    assert not too_late.under(GAP, MOST, ROOM, at_most_s=0)
    assert len(too_late.pool) == 0


def test_a_search_that_is_halted_does_not_claim_to_have_seen_all() -> None:
    model = build(small_week(random.Random(1), jobs=7, crews=2, days=2))
    day, halt = Day(model, 0), np.zeros(1, np.int64)
    columns, _, ended, _ = day.search(None, 1e15, every_set=True, room=ROOM, halt=halt)
    assert ended == COMPLETE
    halt[0] = 1
    fewer, _, ended, _ = day.search(None, 1e15, every_set=True, room=ROOM, halt=halt)
    assert ended == FULL
    assert len(fewer) < len(columns)


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_very_many_crew_days_come_to_the_same_bound(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    week = small_week(random.Random(seed), jobs=9, crews=3, days=3)
    usual = Relaxation(build(week), 0, lambda: None, None)
    monkeypatch.setattr(module, "MANY_DAYS", 1)
    monkeypatch.setattr(module, "VERY_MANY_DAYS", 1)
    by_parts = Relaxation(build(week), 0, lambda: None, None)
    assert by_parts.very_many
    for relax in (usual, by_parts):
        relax.listed.span.clear()
        relax.run()
    assert by_parts.bound == pytest.approx(usual.bound, abs=1)
