"""The odds of days on which two crews meet for a lift, beside the same days played without any waiting."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.plan import Plan
from scheduler.price import outings
from scheduler.reports.odds import Doubts, play_day, play_days
from scheduler.week import Week2
from tests.plans2 import cases2
from tests.seeds import some_now

PLAYS = 200
WAITED = (3, 9, 11, 12, 15, 20, 29, 50)  # of these weeks somebody waits in many plays


def meeting(seed: int) -> tuple[Week2, Plan]:
    """Return a random week with a plan of it in which two crews meet."""
    return next(
        (week, plan)
        for week, plan in cases2(1000 * seed, 200, 0)
        if any(stop.assist for route in plan.routes for stop in route.stops)
    )


@pytest.mark.parametrize("seed", some_now(range(60), WAITED))
def test_waiting_for_each_other_never_makes_a_day_better(seed: int) -> None:
    """Up to the first visit that is put off for want of time: without it, what comes after begins sooner."""
    week, plan = meeting(seed)
    names = [job.id for job in week.jobs]
    doubts = Doubts(
        {}, dict.fromkeys(names, 1.6), 1.4, dict.fromkeys(names, 0.1), dict.fromkeys(names, 0.1)
    )  # fmt: skip
    out = outings(week, plan.routes)

    def drawn() -> tuple[np.random.Generator, dict[int, np.ndarray]]:
        chance = np.random.default_rng(seed)
        return chance, {day: chance.random(PLAYS) for day in range(week.days)}

    chance, sky = drawn()
    waited = play_days(week.rest, out, doubts, sky, chance)
    chance, sky = drawn()
    alone = [play_day(week.rest, outing, doubts, sky[outing.route.day], chance) for outing in out]
    moved = 0
    for with_, without in zip(waited, alone, strict=True):
        same = np.ones(PLAYS, bool)
        for n in range(len(with_.begun)):
            assert (with_.begun[n] >= without.begun[n])[same].all()
            assert (without.done[n] | ~with_.done[n])[same].all()
            same &= with_.done[n] == without.done[n]
        assert (with_.back >= without.back)[same].all()
        moved += int((with_.back > without.back).sum())
        if same.all():
            assert np.quantile(with_.back, 0.8) >= np.quantile(without.back, 0.8)
    assert moved or seed not in WAITED
