"""What routes are to be expected to cost beyond their plan, against the odds of the whole week and by hand."""

from __future__ import annotations

import time

import pytest
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.plan import Plan
from scheduler.reports.odds import Doubts, odds
from scheduler.reports.recourse import Recourse
from scheduler.week import Booking, Week
from tests.benchmarks.make_weeks import make_week
from tests.one_a_day import one_a_day

LATE = 3_000


@pytest.fixture(scope="module")
def week() -> Week:
    return make_week("mixed", 24, 3, seed=5)


@pytest.fixture(scope="module")
def plan(week: Week) -> Plan:
    return plan_week(week, seconds=2.0, clock=time.process_time, workers=1, with_because=False)


def doubts(week: Week, p80: float, drives: float) -> Doubts:
    return Doubts({job.id: float(job.minutes) for job in week.jobs}, {job.id: p80 for job in week.jobs}, drives, {}, {})


def told(week: Week, plan: Plan, hold: str) -> Week:
    at = {s.job: (r.crew, r.day, s.start) for r in plan.routes for s in r.stops}
    jobs = tuple(replace(j, booked=Booking(*at[j.id], hold, 0, 0, 0)) if j.id in at else j for j in week.jobs)  # type: ignore[arg-type]
    return replace(week, jobs=jobs, broken_cents=LATE)


def test_the_routes_add_up_to_what_the_odds_give_the_week(week: Week, plan: Plan) -> None:
    promised = told(week, plan, "firm")
    beyond = sum(map(Recourse(promised, doubts(week, 1.4, 1.2), 0, plays=4_000), plan.routes))
    played = odds(promised, plan, doubts(week, 1.4, 1.2), plays=4_000, seed=9)
    assert beyond > 10_000
    assert beyond == pytest.approx(played.mean_cents - (plan.cost.total - plan.cost.risk), rel=0.06)


def test_where_nothing_is_in_doubt_nothing_is_to_be_expected(week: Week, plan: Plan) -> None:
    assert sum(map(Recourse(week, doubts(week, 1.0, 1.0), LATE), plan.routes)) == pytest.approx(0.0)


def test_a_day_promised_bears_lateness_that_an_hour_does_not(week: Week, plan: Plan) -> None:
    spread = doubts(week, 1.4, 1.2)
    firm, day, soft, nothing = (
        sum(map(Recourse(w, spread, LATE), plan.routes))
        for w in (told(week, plan, "firm"), told(week, plan, "day"), told(week, plan, "soft"), week)
    )
    # begun sooner where no hour is promised, a soft one and none are late at the same price
    assert day < min(firm, soft)
    assert soft == pytest.approx(nothing, rel=0.01)  # some of the week had been told another hour


def test_a_slow_crew_is_to_be_expected_late(week: Week) -> None:
    plan = one_a_day(week, seconds=0.0)
    spread = doubts(week, 1.1, 1.1)
    usual = Recourse(week, spread, LATE)
    slow = Recourse(week, spread, LATE, {crew.id: 1.5 for crew in week.crews})
    assert all(slow(route) > usual(route) for route in plan.routes)


def test_the_same_route_has_the_same_every_time(week: Week, plan: Plan) -> None:
    recourse = Recourse(week, doubts(week, 1.4, 1.2), LATE)
    assert [recourse(route) for route in plan.routes] == [recourse(route) for route in plan.routes]
