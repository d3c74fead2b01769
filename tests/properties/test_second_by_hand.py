"""Moves by hand in a plan of the second format: allowed ones as cheap as trying everything, all others truly judged."""

from __future__ import annotations

import random
from collections.abc import Iterator

import msgspec
import pytest

from scheduler import Off, Put, by_hand, fillings, plan_without
from scheduler.audit import audit
from scheduler.plan import Plan
from scheduler.price import outings, price, visits
from scheduler.week import Week2
from tests.brute2 import cheapest
from tests.seeds import some_now
from tests.slots2 import cheapest_by_half
from tests.weeks2 import STEP, small_week2

pytestmark = pytest.mark.usefixtures("compiled")
ANY = 10_000  # minutes


def planned(seed: int) -> tuple[random.Random, Week2, Plan]:
    rng = random.Random(seed)
    week = small_week2(rng, jobs=2, crews=2, days=rng.choice((1, 2)))
    plan: Plan = cheapest(week, STEP)
    return rng, week, msgspec.structs.replace(plan, cost=price(week, plan.routes))


def moves(seed: int) -> Iterator[tuple[Week2, Plan, Put | Off]]:
    """Every crew and day of every job, now and then with a start or a place in the order, and each taken out."""
    rng, week, plan = planned(seed)
    for job in week.jobs:
        yield week, plan, Off(job.id)
        for crew in week.crews:
            for day in range(week.days):
                stops = [
                    s
                    for r in plan.routes
                    if (r.crew, r.day) == (crew.id, day)
                    for s in r.stops
                    if not s.reload and job.id not in (s.job, s.assist)
                ]
                yield week, plan, Put(job.id, crew.id, day)
                yield week, plan, Put(job.id, crew.id, day, STEP * rng.randint(14, 30), None)
                yield week, plan, Put(job.id, crew.id, day, None, rng.randint(0, len(stops)))


@pytest.mark.parametrize("seed", [200, 202, 203, 204, 205, 212, 214])
def test_what_a_move_is_told_to_come_to_is_what_auditor_and_price_say(seed: int) -> None:
    for week, plan, hand in moves(seed):
        tried = by_hand(week, plan, hand)
        assert tried.breaches == audit(week, tried.plan).broken_rules
        assert not {"cost", "bound", "same_week", "known", "once", "one_route", "booking"} & {
            b.rule for b in tried.breaches
        }
        for kind in plan.cost.__struct_fields__:
            assert getattr(tried.change, kind) == getattr(tried.plan.cost, kind) - getattr(plan.cost, kind)
        done = visits(outings(week, tried.plan.routes))
        if isinstance(hand, Off):
            assert hand.job not in done
        else:
            stood = {(r.crew, r.day) for r in tried.plan.routes for s in r.stops if s.job == hand.job}
            assert stood == {(hand.crew, hand.day)}
            starts = [s.start for r in tried.plan.routes for s in r.stops if s.job == hand.job]
            assert hand.start is None or starts == [hand.start]
        old, new = ({(r.crew, r.day): r for r in p.routes} for p in (plan, tried.plan))
        assert all(old.get(at) == new.get(at) for at in (old.keys() | new.keys()) - set(tried.touched))


@pytest.mark.parametrize("seed", some_now(range(60), range(5, 60, 10)))
def test_a_move_that_some_times_allow_is_allowed_and_gets_the_cheapest(seed: int) -> None:
    _, week, plan = planned(seed)
    for n, job in enumerate(week.jobs):
        for crew in week.crews:
            found = cheapest_by_half(week, plan, n, STEP, near=ANY, crew=crew.id)
            for day in range(week.days):
                costs = [cents for half, cents in found.items() if half[0] == day]
                tried = by_hand(week, plan, Put(job.id, crew.id, day))
                assert tried.allowed == bool(costs), (job.id, crew.id, day, tried.breaches)
                if costs:
                    assert tried.plan.cost.total == min(costs)


@pytest.mark.parametrize("seed", some_now(range(60), range(5, 60, 10)))
def test_a_hole_is_filled_by_what_saves_most_there(seed: int) -> None:
    _, week, plan = planned(seed)
    for n, job in enumerate(week.jobs):
        if any(s.job == job.id for r in plan.routes for s in r.stops):
            less = plan_without(week, plan, [job.id])
            assert audit(week, less).ok
            assert all(job.id not in (s.job, s.assist) for r in less.routes for s in r.stops)
            continue
        for crew in week.crews:
            costs = cheapest_by_half(week, plan, n, STEP, crew=crew.id)
            for day in range(week.days):
                here = [cents for half, cents in costs.items() if half[0] == day and cents < plan.cost.total]
                found = fillings(week, plan, [(crew.id, day)], [job.id])
                assert [f.plan.cost.total for f in found] == ([min(here)] if here else [])
