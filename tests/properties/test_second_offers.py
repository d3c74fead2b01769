"""Times offered in a plan of the second format: each as cheap as trying everything finds it, and none left out."""

from __future__ import annotations

import random

import msgspec
import pytest

from scheduler import offer
from scheduler.audit import audit
from scheduler.price import price
from tests.brute2 import cheapest
from tests.seeds import some_now
from tests.slots2 import cheapest_by_half
from tests.weeks2 import STEP, small_week2


@pytest.mark.parametrize("seed", some_now(range(80), range(0, 80, 16)))
@pytest.mark.usefixtures("compiled")
def test_offers_are_the_cheapest_of_each_half_day(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week2(rng, jobs=2, crews=2, days=rng.choice((1, 2)))
    plan = cheapest(week, STEP)
    plan = msgspec.structs.replace(plan, cost=price(week, plan.routes))
    for n, job in enumerate(week.jobs):
        found = offer(week, plan, job.id, best=100)
        assert {(o.day, o.start >= 720): o.cost_cents for o in found} == cheapest_by_half(week, plan, n, STEP)
        for one in found:
            assert audit(week, one.plan).ok
            assert one.plan.cost.total == one.cost_cents == plan.cost.total + one.extra_cents
