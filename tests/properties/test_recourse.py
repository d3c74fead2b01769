"""Plans chosen with what is to be expected beyond them: held against every plan of random small weeks."""

from __future__ import annotations

import random
import zlib

import pytest

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.plan import Plan, Route
from tests.brute import cheapest
from tests.seeds import some_now
from tests.weeks import small_week


def recourse(route: Route) -> float:
    """Cents that hang on the jobs of a route alone, up to about what a detour costs."""
    return zlib.crc32(" ".join(sorted(stop.job for stop in route.jobs)).encode()) % 6_000


def in_all(plan: Plan) -> float:
    return plan.cost.total + sum(map(recourse, plan.routes))


@pytest.mark.parametrize("seed", some_now(range(80), 25))
def test_no_plan_costs_less_with_its_recourse(seed: int) -> None:
    rng = random.Random(f"recourse {seed}")
    week = small_week(rng, rng.randint(2, 6), rng.choice((1, 2)), rng.choice((1, 2)))
    plan = plan_week(week, seconds=None, clock=lambda: 0.0, workers=1, recourse=recourse)
    assert audit(week, plan).ok
    assert in_all(plan) == cheapest(week, recourse).cost.total
    planned = cheapest(week).cost.total
    assert plan.bound == planned  # what is proven of plans as planned holds as before
    assert plan.cost.total >= planned
