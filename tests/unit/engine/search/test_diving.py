"""Dives: each makes a plan that keeps all rules, does without what it has to, and leaves the program as it was."""

from __future__ import annotations

import random

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.audit import audit
from scheduler.engine.master import enumeration
from scheduler.engine.master.integer import cost_of
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import plan_of
from scheduler.engine.search.diving import Dives, Diving
from scheduler.week import Week
from tests.benchmarks.make_weeks import make_week
from tests.brute import cheapest
from tests.weeks import small_week

SEEDS = range(12)
INSTALLS = make_week("installs", 30, 3, seed=1)


def solved(week: Week) -> Relaxation:
    relax = Relaxation(build(week), 0, lambda: None, None)
    relax.run()
    return relax


def audited(model: Model, routes: dict[int, list[int]]) -> int:
    plan = plan_of(model, routes, seconds=0.0, bound=None)
    assert not audit(model.week, plan).broken_rules
    return plan.cost.total


def test_every_dive_makes_a_plan_no_cheaper_than_the_cheapest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(enumeration, "ROOM", 1)  # everything is priced
    reached = 0
    for seed in SEEDS:
        week = replace(small_week(random.Random(seed), jobs=7, crews=3, days=1), follows=())
        if not build(week).crew_days:
            continue
        relax, best = solved(week), cheapest(week).cost.total
        value, diving, least = relax.value, Diving(relax, 0), np.inf
        while not diving.worn_out:
            routes, cost = diving.next(np.inf)
            _, mended = diving.mended(routes)
            assert audited(relax.model, routes) == cost >= best
            assert best <= mended <= cost
            least = min(least, mended)
        relax.solve_lp()
        assert relax.value == pytest.approx(value)
        reached += least == best
    assert reached >= 10


@pytest.mark.parametrize("rounds", [0, 1], ids=["known routes", "priced on the way"])
def test_a_later_dive_does_without_the_routes_that_it_turns_round(rounds: int) -> None:
    relax = solved(INSTALLS)
    dives = Dives(relax, rounds)
    met = set()
    for _ in range(6):
        if dives.worn_out:
            break
        began, shut = dives.waiting[0]
        taken = dives.next(np.inf)
        assert set(began) <= set(taken)
        assert not set(shut) & set(taken)
        assert audited(relax.model, relax.pool.routes_of(taken)) == cost_of(relax.pool, taken)
        met.add(tuple(sorted(taken)))
    assert len(met) >= 3


def test_a_dive_that_ends_early_is_completed() -> None:
    relax = solved(INSTALLS)
    diving = Diving(relax, 0)
    routes, cost = diving.next(relax.value)  # no dive comes under the program's own value
    columns, mended = diving.mended(routes)
    assert mended < cost
    whole = {int(k): columns.jobs_of(c).tolist() for c, k in enumerate(columns.crew_day)}
    assert audited(relax.model, routes) == cost
    assert audited(relax.model, whole) == mended
