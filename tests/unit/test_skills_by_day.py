"""A crew in which others ride on single days: audited, planned and explained by the skills of the day."""

from __future__ import annotations

import random

from msgspec.structs import replace

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.week import Week, Window, read_week, skills_in, week_document, with_names
from tests.weeks import small_week


def _week() -> Week:
    """One job that needs masonry, on either of two days; its one crew has it on the second alone."""
    base = small_week(random.Random(3), jobs=1, crews=1, days=2, yards=1)
    job = replace(
        base.jobs[0], yard=None, minutes=10, hands=1, weight_kg=1, box_mm=0, boxes=0, equipment={}, parts={},
        ready_day=0, due_day=0, late_cents=5_000, skip_cents=90_000, booked=None, skills=("masonry",),
        windows=tuple(Window(day, 420, 1000, 0) for day in range(2)),
    )  # fmt: skip
    crew = replace(base.crews[0], skills=("masonry", "stucco"))
    return replace(base, jobs=(job,), crews=(crew,), follows=())


def _days(week: Week) -> list[int]:
    plan = plan_week(week, seconds=None, clock=lambda: 0.0)
    assert audit(week, plan).broken_rules == ()
    return [route.day for route in plan.routes]


def test_a_job_goes_to_the_day_on_which_its_skill_rides_along() -> None:
    week = _week()
    name = week.crews[0].id
    assert _days(week) == [0]
    early = plan_week(week, seconds=None, clock=lambda: 0.0)
    rostered = with_names(week, {name: "North"}, {name: {0: ("stucco",)}})
    assert _days(rostered) == [1]
    assert [b.sentence for b in audit(rostered, early).broken_rules if b.rule == "skills"] != []


def test_what_no_day_has_is_said_to_be_missing() -> None:
    week = _week()
    name = week.crews[0].id
    rostered = with_names(week, {name: "North"}, {name: {0: ("stucco",), 1: ()}})
    plan = plan_week(rostered, seconds=None, clock=lambda: 0.0)
    assert plan.skipped[0].because[0].code == "no_skills"


def test_the_document_says_nothing_of_single_days() -> None:
    week = _week()
    name = week.crews[0].id
    rostered = with_names(week, {name: "North"}, {name: {0: ("stucco",)}})
    assert skills_in(rostered) == {name: {0: ("stucco",)}}
    assert read_week(week_document(rostered)) == week
