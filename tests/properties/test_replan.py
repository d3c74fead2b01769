"""Re-planning and offers on random small weeks, against everything tried under the same restrictions."""

from __future__ import annotations

import random
import time

import msgspec
import pytest

from scheduler import (
    Event,
    Fixed,
    Half,
    Move,
    Put,
    Spot,
    Told,
    by_hand,
    offer,
    plan_week,
    plan_without,
    replan,
    told_week,
    warm,
)
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import outings, price, visits
from scheduler.week import Week
from tests.held import cheapest_with
from tests.plans import good_plan
from tests.seeds import some_now
from tests.weeks import small_week


def case(seed: int, jobs: int = 5) -> tuple[random.Random, Week, Plan]:
    """A week without jobs that take no time (their order on one day is a question of its own), and its best plan."""
    rng = random.Random(seed)
    week = small_week(rng, jobs=jobs, crews=2, days=2, step=10)
    timed = tuple(msgspec.structs.replace(j, minutes=max(10, j.minutes)) for j in week.jobs)
    week = msgspec.structs.replace(week, jobs=timed)
    return rng, week, good_plan(week)


def spots(week: Week, plan: Plan) -> dict[str, Spot]:
    return {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(week, plan.routes)).items()}


@pytest.mark.parametrize("seed", some_now(range(25), 10))
def test_fixed_visits_stay_and_the_plan_is_the_best_that_keeps_them(seed: int) -> None:
    rng, week, plan = case(seed)
    there = spots(week, plan)
    visits_held = {job: there[job] for job in there if rng.random() < 0.4}
    for job in week.jobs:  # and one visit that nobody has planned, possible or not
        if job.windows and rng.random() < 0.4:
            window = rng.choice(job.windows)
            visits_held[job.id] = Spot(rng.choice(week.crews).id, window.day, window.start)
            break
    # One of the visits is held to its crew and day alone.
    day_held = {job: visits_held.pop(job)[:2] for job in list(visits_held)[:1] if seed % 2}
    fixed = Fixed(visits_held, held=day_held)
    best = cheapest_with(week, fixed)
    if best is None:
        with pytest.raises(BadInput, match=r"^fixed\.job-"):
            plan_week(week, seconds=None, clock=time.monotonic, fixed=fixed)
        return
    made = plan_week(week, seconds=None, clock=time.monotonic, fixed=fixed)
    assert audit(week, made).ok
    assert made.cost.total == made.bound == best.cost.total
    assert {job: spot for job, spot in spots(week, made).items() if job in visits_held} == visits_held
    assert {job: spot[:2] for job, spot in spots(week, made).items() if job in day_held} == day_held


@pytest.mark.parametrize("seed", some_now(range(100, 125), 10))
def test_a_new_plan_is_the_best_that_leaves_what_has_begun(seed: int) -> None:
    rng, week, plan = case(seed)
    there = spots(week, plan)
    moment = (rng.randrange(2), 10 * rng.randrange(42, 70)) if rng.random() < 0.8 else None
    lost = {job: rng.choice((None, 1)) for job in there if rng.random() < 0.2}
    routes = [(r.crew, r.day) for r in plan.routes]
    away = rng.sample(routes, min(len(routes), rng.choice((0, 1))))
    told = Told(rng.choice(("soft", "day")))
    made = replan(week, plan, clock=time.monotonic, freeze_until=moment, lost=lost, away=away, told=told)
    assert audit(made.week, made.plan).ok
    best = cheapest_with(made.week, made.fixed)
    assert best is not None
    assert made.plan.cost.total == made.plan.bound == best.cost.total
    after = spots(made.week, made.plan)
    assert all(after[job] == there[job] for job in made.fixed.visits)
    for job, spot in after.items():
        assert job not in lost or lost[job] is not None
        assert (spot.crew, spot.day) not in away or job in made.fixed.visits
        assert moment is None or (spot.day, spot.start) >= moment or job in made.fixed.visits
    assert {m.job for m in made.moves} == there.keys() | after.keys()
    assert all(m.cause for m in made.moves if m.what != "stays")


@pytest.mark.parametrize("seed", some_now(range(125, 165), 16))
def test_a_cause_of_a_move_holds_when_the_move_is_kept_undone(seed: int) -> None:
    """By hand, in the document: the job goes back to its old time without those it makes room for, not with them."""
    rng, week, plan = case(seed, jobs=7)
    there = spots(week, plan)
    lost = {job: rng.choice((None, 1)) for job in there if rng.random() < 0.3}
    made = replan(week, plan, clock=time.monotonic, lost=lost, workers=1)
    before = told_week(week, Event(there, lost, frozenset(), made.fixed), Told())
    now = msgspec.structs.replace(made.plan, cost=price(before, made.plan.routes), bound=None)
    for move in made.moves:
        if "makes room for" not in move.cause or move.before is None:
            continue
        assert not _goes_back(before, now, move), move
        assert _goes_back(before, plan_without(before, now, set(move.others)), move), move
        for other in move.others:  # none of them too many
            fewer = set(move.others) - {other}
            assert not (fewer and _goes_back(before, plan_without(before, now, fewer), move)), move


def _goes_back(week: Week, plan: Plan, move: Move) -> bool:
    spot = move.before
    assert spot is not None
    starts = (spot.start + shift for shift in range(-30, 31, 5))
    hands = (Put(move.job, spot.crew, spot.day, start) for start in starts if 0 <= start < 1440)
    return any(by_hand(week, plan, hand).allowed for hand in hands)


@pytest.mark.parametrize("seed", some_now(range(200, 210), 3))
def test_offers_with_others_moving_cost_what_the_best_plan_with_that_time_does(seed: int) -> None:
    rng, week, plan = case(seed)
    job = rng.choice(week.jobs)
    kept = warm(week, clock=time.monotonic, workers=1)
    if not kept.model.crew_days:
        return
    found = offer(week, plan, job.id, best=9, others_may_move=True, kept=kept)
    assert [o.extra_cents for o in found] == sorted(o.extra_cents for o in found)
    by_half: dict[Half, int] = {}
    for crew in week.crews:
        for day in range(week.days):
            for start in range(400, 900, 10):
                if any(w.day == day and w.start <= start and start + job.minutes <= w.end for w in job.windows):
                    best = cheapest_with(week, Fixed({job.id: Spot(crew.id, day, start)}))
                    if best is not None:
                        half = Half(day, start >= 720)
                        by_half[half] = min(best.cost.total, by_half.get(half, best.cost.total))
    assert {Half(o.day, o.start >= 720): o.extra_cents for o in found} == {
        half: cost - plan.cost.total for half, cost in by_half.items()
    }
    for o in found:
        assert o.proven
        assert audit(week, o.plan).ok
        assert o.cost_cents == price(week, o.plan.routes).total == plan.cost.total + o.extra_cents


@pytest.mark.parametrize("seed", some_now(range(300, 320), 8))
def test_offers_with_others_staying_move_nobody(seed: int) -> None:
    rng, week, plan = case(seed, jobs=6)
    there = spots(week, plan)
    for job in rng.sample(week.jobs, 2):
        moving = {}
        for o in offer(week, plan, job.id, best=9):
            assert not o.moves
            assert audit(week, o.plan).ok
            assert o.extra_cents == price(week, o.plan.routes).total - plan.cost.total
            assert o.window.start <= o.earliest <= o.start <= o.latest
            moving[o.day, o.start >= 720] = o.extra_cents
        if (was := there.get(job.id)) is not None:  # its own time is among them, and no better plan exists
            assert moving[was.day, was.start >= 720] == 0
            assert min(moving.values()) == 0
