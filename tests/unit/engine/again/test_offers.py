"""Offers on a week small enough to know by heart (see `test_replan`), and on one of a real size."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from scheduler import Fixed, Spot, offer, plan_week, warm
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.price import price
from scheduler.week import Window, read_week
from tests.unit.engine.again.test_replan import MORNING, job, plan_of, week_of


def test_each_morning_and_afternoon_is_offered_once_the_cheapest_first() -> None:
    free = job("B", (0, (480, 960)), (1, (480, 960)))
    week = week_of(job("A", (0, (480, 600))), free)
    found = offer(week, plan_of(week), "B")
    assert len({(o.day, o.start >= 720) for o in found}) == len(found) == 4
    assert [o.extra_cents for o in found] == sorted(o.extra_cents for o in found)
    assert found[0].as_planned
    assert found[0].extra_cents == 0
    assert found[0].day == 0  # with A, the crew goes out once
    # the second day alone: 27.00, less 10 + 100 minutes and 5 km that B adds to the first day, 11.00 + 2.50
    assert {o.extra_cents for o in found if o.day == 1} == {2_700 - 1_350}
    assert len(offer(week, plan_of(week), "B", best=2)) == 2


def test_starts_that_cost_the_same_are_told_as_a_span() -> None:
    week = week_of(job("A", (0, (500, 700))))
    (only,) = offer(week, plan_of(week), "A")
    assert (only.earliest, only.latest) == (500, 600)


def test_the_window_and_its_risk_belong_to_the_offer() -> None:
    windows = (Window(0, 480, 720, 900), Window(0, 480, 600, 300), Window(1, 480, 720, 0))
    week = week_of(job("A", skip=10_000, windows=windows))
    found = {o.day: o for o in offer(week, plan_of(week), "A")}
    assert found[0].window == windows[1]
    assert found[0].risk_share == pytest.approx(0.03)
    assert found[0].extra_cents - found[1].extra_cents == 300
    assert found[1].risk_share == 0.0
    free = week_of(job("A", skip=0, windows=windows))
    assert offer(free, plan_of(free), "A")[0].risk_share is None


def test_a_job_left_out_saves_what_leaving_it_out_costs() -> None:
    week = week_of(job("A", (0, MORNING), ready_day=None))
    plan = plan_of(week)
    ready = replace(week, jobs=(replace(week.jobs[0], ready_day=0),))
    (only,) = offer(ready, plan, "A")
    assert only.extra_cents == 2_700 - 50_000
    assert not only.as_planned


def test_others_that_stay_leave_no_room_and_others_that_move_do() -> None:
    tight = job("A", (0, (480, 600)), skip=90_000, ready_day=None)
    plan = plan_of(week_of(tight, job("B", (0, (480, 600)), skip=90_000)))
    week = week_of(replace(tight, ready_day=0), job("B", (0, (480, 600)), (1, (480, 600)), skip=90_000))
    assert offer(week, plan, "A") == []
    kept = warm(week, clock=time.monotonic, workers=1)
    (only,) = offer(week, plan, "A", others_may_move=True, kept=kept)
    assert only.proven
    assert only.cost_cents == 2 * 2_700 == plan.cost.total + only.extra_cents
    assert audit(week, only.plan).ok
    assert only.moves.keys() == {"B"}


def test_what_planning_again_would_save_anyway_is_told_beside_the_offer() -> None:
    """Elm goes out on both days for C and D, though one would do; that has nothing to do with A, which Ash does."""
    roof, stone = {"skills": ("roof",)}, {"skills": ("stone",)}
    jobs = (job("A", (0, MORNING), (1, MORNING), **roof), job("D", (0, (480, 960)), **stone))
    apart = week_of(*jobs, job("C", (1, (480, 960)), **stone), crews=("Ash", "Elm"))
    apart = replace(apart, crews=(replace(apart.crews[0], **roof), replace(apart.crews[1], **stone)))
    plan = plan_of(apart)
    week = replace(apart, jobs=(*apart.jobs[:2], job("C", (0, (480, 960)), (1, (480, 960)), **stone)))
    kept = warm(week, clock=time.monotonic, workers=1)
    saving = plan.cost.total - kept.best.cost
    assert saving > 0
    found = offer(week, plan, "A", others_may_move=True, kept=kept)
    assert {o.extra_cents for o in found} == {0}  # each day costs Ash the same
    assert {o.besides_cents for o in found} == {saving}
    assert all(not o.moves and o.cost_cents == plan.cost.total and audit(week, o.plan).ok for o in found)
    assert {o.besides_cents for o in offer(week, plan, "A")} == {0}


def test_what_is_given_up_answers_nothing_any_more_or_what_needs_no_search() -> None:
    week = week_of(job("A", (0, MORNING)), job("B", (0, MORNING), (1, MORNING)))
    plan = plan_of(week)
    given_up = False
    kept = warm(week, clock=time.monotonic, workers=1, stopped=lambda: given_up)
    assert offer(week, plan, "B", others_may_move=True, kept=kept)
    given_up = True
    assert offer(week, plan, "B", others_may_move=True, kept=kept) == []
    never = warm(week, clock=time.monotonic, workers=1, stopped=lambda: True)
    assert not never.ready
    assert not any(one.proven for one in offer(week, plan, "B", others_may_move=True, kept=never))


def test_offers_ask_for_a_job_of_the_week_and_a_plan_that_keeps_its_rules() -> None:
    week = week_of(job("A", (0, MORNING)))
    plan = plan_of(week)
    with pytest.raises(BadInput, match=r'^job: no job has the id "X"$'):
        offer(week, plan, "X")
    with pytest.raises(BadInput, match=r"^plan: breaks a rule"):
        offer(week, replace(plan, routes=()), "A")
    with pytest.raises(TypeError):
        offer(week, plan, "A", others_may_move=True)


def test_a_job_that_nobody_can_take_has_no_offer() -> None:
    week = week_of(job("A", (0, MORNING)), job("B", (0, MORNING), hands=5))
    plan = plan_of(week)
    assert offer(week, plan, "B") == []
    assert offer(week, plan, "B", others_may_move=True, clock=time.monotonic) == []


WEEKS = Path(__file__).parents[3] / "data" / "weeks"


@pytest.mark.slow
def test_an_offer_costs_what_planning_the_week_again_with_that_time_fixed_does() -> None:
    week = read_week((WEEKS / "installs-45x4.week.json").read_bytes())
    kept = warm(week, clock=time.monotonic, workers=1)
    assert kept.best.proven
    plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1)
    for name in ("job-0005", "job-0006", "job-0028"):
        for one in offer(week, plan, name, best=2, others_may_move=True, kept=kept):
            assert one.proven
            fixed = Fixed({name: Spot(one.crew, one.day, one.start)})
            again = plan_week(week, seconds=None, clock=time.monotonic, workers=1, fixed=fixed)
            assert again.bound == again.cost.total == plan.cost.total + one.extra_cents


def test_idle_hours_of_another_crew_are_no_price_of_an_offer() -> None:
    """Elm comes home an hour late, as before a visit was taken off its day: that Ash does A saves none of it."""
    roof, stone = {"skills": ("roof",)}, {"skills": ("stone",)}
    week = week_of(
        job("A", (0, MORNING), (1, MORNING), **roof), job("D", (0, (480, 960)), **stone), crews=("Ash", "Elm")
    )
    week = replace(week, crews=(replace(week.crews[0], **roof), replace(week.crews[1], **stone)))
    tight = plan_of(week)
    routes = tuple(replace(r, back=r.back + 60) if r.crew == "Elm" else r for r in tight.routes)
    idle = replace(tight, routes=routes, cost=price(week, routes))
    assert idle.cost.total > tight.cost.total
    assert audit(week, idle).ok
    before, after = offer(week, tight, "A"), offer(week, idle, "A")
    assert [o.extra_cents for o in before] == [o.extra_cents for o in after]
    assert {o.besides_cents for o in after} == {idle.cost.total - tight.cost.total}
    assert all(next(r for r in o.plan.routes if r.crew == "Elm") in routes for o in after)
