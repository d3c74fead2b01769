"""Moves by hand on small weeks with every rule in play: what is told of them is what auditor and price say."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from scheduler import Fixed, Lock, Off, Put, Spot, by_hand, locked, plan_week
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import is_kept, outings, price, visits
from scheduler.week import Week
from tests.plans import good_plan
from tests.weeks import small_week


@st.composite
def planned(draw: st.DrawFn) -> tuple[Week, Plan, random.Random]:
    """A week with jobs and crews, its cheapest plan, and chance for what follows."""
    rng = random.Random(draw(st.integers(0, 2**32 - 1)))
    week = small_week(rng, rng.randint(2, 5), rng.choice((1, 2)), rng.choice((1, 2)))
    return week, good_plan(week), rng


def any_move(rng: random.Random, week: Week, plan: Plan) -> Put | Off:
    """A move that may be senseless but names only what is in the week."""
    job, crew, day = rng.choice(week.jobs).id, rng.choice(week.crews).id, rng.randrange(week.days)
    if rng.random() < 0.15:
        return Off(job)
    here = next((r for r in plan.routes if (r.crew, r.day) == (crew, day)), None)
    stops = [] if here is None else [stop.job for stop in here.stops if stop.job != job]
    position = rng.choice((None, None, rng.randint(0, len(stops))))
    return Put(job, crew, day, rng.choice((None, None, 5 * rng.randint(80, 170))), position)


def any_locks(rng: random.Random, week: Week, plan: Plan) -> dict[str, Lock]:
    """Some visits of the plan locked where they are, with or without their start."""
    return {
        stop.job: Lock(route.crew, route.day, rng.choice((None, stop.start)))
        for route in plan.routes
        for stop in route.stops
        if rng.random() < 0.3
    }


@settings(max_examples=100, deadline=None)
@given(planned())
def test_what_a_move_is_told_to_come_to_is_what_auditor_and_price_say(drawn: tuple[Week, Plan, random.Random]) -> None:
    week, plan, rng = drawn
    hand, locks = any_move(rng, week, plan), any_locks(rng, week, plan)
    tried = by_hand(week, plan, hand, locks)
    verdict = audit(week, tried.plan)
    assert [b for b in tried.breaches if b.rule != "lock"] == list(verdict.broken_rules)
    before, after = price(week, plan.routes), price(week, tried.plan.routes)
    assert tried.plan.cost == after
    for kind in before.__struct_fields__:
        assert getattr(tried.change, kind) == getattr(after, kind) - getattr(before, kind)
    assert not {"cost", "bound", "same_week", "known", "once", "one_route", "booking", "service"} & {
        b.rule for b in verdict.broken_rules
    }


@settings(max_examples=100, deadline=None)
@given(planned())
def test_routes_that_a_move_does_not_touch_stay_to_the_minute(drawn: tuple[Week, Plan, random.Random]) -> None:
    week, plan, rng = drawn
    hand = any_move(rng, week, plan)
    tried = by_hand(week, plan, hand, any_locks(rng, week, plan))
    old, new = ({(r.crew, r.day): r for r in p.routes} for p in (plan, tried.plan))
    for at in old.keys() | new.keys():
        if at not in tried.touched:
            assert old[at] == new[at]
    here = {(r.crew, r.day) for r in plan.routes if any(stop.job == hand.job for stop in r.stops)}
    assert set(tried.touched) == here | ({(hand.crew, hand.day)} if isinstance(hand, Put) else set())
    # No other visit changes crew, day or its place among the others.
    for at in tried.touched:
        was, now = ([s.job for s in r.stops if s.job != hand.job] if (r := d.get(at)) else [] for d in (old, new))
        assert was == now


@settings(max_examples=80, deadline=None)
@given(planned())
def test_locked_visits_keep_their_start_wherever_it_can_be_kept(drawn: tuple[Week, Plan, random.Random]) -> None:
    week, plan, rng = drawn
    hand, locks = any_move(rng, week, plan), any_locks(rng, week, plan)
    tried = by_hand(week, plan, hand, locks)
    done = visits(outings(week, tried.plan.routes))
    if tried.allowed:
        for job, lock in locks.items():
            assert (done[job].crew, done[job].day) == lock[:2]
            assert lock.start in (None, done[job].start)
    if isinstance(hand, Put) and hand.start is not None and (at := done.get(hand.job)) is not None:
        assert at.start == hand.start


@settings(max_examples=60, deadline=None)
@given(planned())
def test_a_visit_of_the_cheapest_plan_put_where_it_is_costs_nothing_and_elsewhere_saves_nothing(
    drawn: tuple[Week, Plan, random.Random],
) -> None:
    week, plan, rng = drawn
    for route in plan.routes:
        for stop in route.stops:
            tried = by_hand(week, plan, Put(stop.job, route.crew, route.day))
            assert tried.allowed
            assert tried.change.total == 0
    tried = by_hand(week, plan, any_move(rng, week, plan))
    if tried.allowed:
        assert tried.change.total >= 0


@settings(max_examples=60, deadline=None)
@given(planned())
def test_promises_are_told_just_where_one_is_newly_broken(drawn: tuple[Week, Plan, random.Random]) -> None:
    week, plan, rng = drawn
    tried = by_hand(week, plan, any_move(rng, week, plan))
    before, after = (visits(outings(week, p.routes)) for p in (plan, tried.plan))
    lost = {
        job.id
        for job in week.jobs
        if job.booked is not None
        and job.booked.hold != "soft"
        and is_kept(job.booked, before.get(job.id))
        and not is_kept(job.booked, after.get(job.id))
    }
    assert {b.job for b in tried.promises} == lost
    assert lost <= set(tried.plan.broken)


@settings(max_examples=50, deadline=None)
@given(planned())
def test_locks_said_to_be_kept_have_a_plan_and_others_have_none(drawn: tuple[Week, Plan, random.Random]) -> None:
    """The engine, told the same, finds a plan just where nothing was said against the locks.

    Where a locked job follows one without a lock, or the other way round, only a plan as a whole can tell: left out.
    """
    week, plan, rng = drawn
    week = replace(week, follows=())
    locks = any_locks(rng, week, plan)
    for job in week.jobs:
        if rng.random() < 0.2:
            start = rng.choice((None, 5 * rng.randint(85, 160)))
            locks[job.id] = Lock(rng.choice(week.crews).id, rng.randrange(week.days), start)
    fixed = Fixed(
        visits={job: Spot(k.crew, k.day, k.start) for job, k in locks.items() if k.start is not None},
        held={job: (k.crew, k.day) for job, k in locks.items() if k.start is None},
    )
    against = locked(week, locks)
    try:
        made = plan_week(week, seconds=None, clock=lambda: 0.0, fixed=fixed, workers=1)
    except BadInput:
        assert against
    else:
        assert not against, against
        assert audit(week, made).ok
