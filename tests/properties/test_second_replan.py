"""Weeks of the second format planned again, against everything tried under the same restrictions."""

from __future__ import annotations

import random
import time

import msgspec
import pytest

from scheduler import Fixed, Spot, Told, plan_week, replan
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import outings, price, visits
from scheduler.week import Week, Week2
from tests.brute2 import cheapest
from tests.held2 import cheapest_with
from tests.seeds import some_now
from tests.weeks2 import STEP, small_week2

pytestmark = pytest.mark.usefixtures("compiled")


def case(seed: int) -> tuple[random.Random, Week2, Plan]:
    rng = random.Random(seed)
    week = small_week2(rng, jobs=2, crews=2, days=2)
    plan: Plan = cheapest(week, STEP)
    return rng, week, msgspec.structs.replace(plan, cost=price(week, plan.routes))


def spots(week: Week, plan: Plan) -> dict[str, Spot]:
    return {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(week, plan.routes)).items()}


@pytest.mark.parametrize("seed", some_now(range(300, 340), range(304, 340, 10)))
def test_fixed_visits_stay_and_the_plan_is_the_best_that_keeps_them(seed: int) -> None:
    rng, week, plan = case(seed)
    there = spots(week, plan)
    kept = {job: spot for job, spot in there.items() if rng.random() < 0.6}
    held = {job: kept.pop(job)[:2] for job in list(kept)[:1] if seed % 2}
    fixed = Fixed(kept, held=held)
    best = cheapest_with(week, fixed, STEP)
    if best is None:
        with pytest.raises(BadInput, match=r"^fixed\.job-"):
            plan_week(week, seconds=None, clock=time.monotonic, fixed=fixed)
        return
    made = plan_week(week, seconds=None, clock=time.monotonic, fixed=fixed, workers=1)
    assert audit(week, made).ok
    assert made.cost.total == made.bound == best.cost.total
    assert {job: spot for job, spot in spots(week, made).items() if job in kept} == kept
    assert {job: spot[:2] for job, spot in spots(week, made).items() if job in held} == held


@pytest.mark.parametrize("seed", some_now(range(400, 480), range(404, 480, 10)))
def test_a_new_plan_is_the_best_that_leaves_what_has_begun(seed: int) -> None:
    rng, week, plan = case(seed)
    there = spots(week, plan)
    moment = (rng.randrange(2), STEP * rng.randrange(14, 24)) if rng.random() < 0.8 else None
    ahead = [job for job, spot in there.items() if moment is None or (spot.day, spot.start) >= moment]
    lost = {job: rng.choice((None, 1)) for job in ahead if rng.random() < 0.2}
    routes = [(r.crew, r.day) for r in plan.routes]
    away = rng.sample(routes, min(len(routes), rng.choice((0, 1))))
    told = Told(rng.choice(("soft", "day")))
    made = replan(week, plan, clock=time.monotonic, freeze_until=moment, lost=lost, away=away, told=told, workers=1)
    assert audit(made.week, made.plan).ok
    assert isinstance(made.week, Week2)
    best = cheapest_with(made.week, made.fixed, STEP)
    assert best is not None
    assert made.plan.cost.total == made.plan.bound == best.cost.total
    after = spots(made.week, made.plan)
    assert all(after[job] == there[job] for job in made.fixed.visits)
    helped = {s.assist: (r.crew, r.day, s.start) for r in made.plan.routes for s in r.stops if s.assist}
    assert all(helped[job] == spot for job, spot in made.fixed.assists.items())
    for job, spot in after.items():
        assert job not in lost or lost[job] is not None
        assert (spot.crew, spot.day) not in away or job in made.fixed.visits
        assert moment is None or (spot.day, spot.start) >= moment or job in made.fixed.visits
    assert {m.job for m in made.moves} == there.keys() | after.keys()
    assert all(m.cause for m in made.moves if m.what != "stays")
