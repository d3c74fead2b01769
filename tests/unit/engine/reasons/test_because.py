"""A promise that cannot be kept is told by name, with its reason."""

from __future__ import annotations

import time
from pathlib import Path

import msgspec

from scheduler import plan_week, why_not_kept
from scheduler.week import Booking, read_week

WEEKS = Path(__file__).parents[3] / "data" / "weeks"


def test_a_promise_for_a_day_on_which_its_crew_is_away_is_told_by_name() -> None:
    week = read_week((WEEKS / "installs-12x2.week.json").read_bytes())
    crew = week.crews[0]
    off = msgspec.structs.replace(crew, shifts=tuple(s for s in crew.shifts if s.day != 3))
    told = Booking(crew.id, 3, 600, "firm", 0, 0, 0)
    jobs = (msgspec.structs.replace(week.jobs[1], booked=told), *(j for j in week.jobs if j is not week.jobs[1]))
    week = msgspec.structs.replace(week, crews=(off, *week.crews[1:]), jobs=jobs)
    plan = plan_week(week, seconds=None, clock=time.monotonic)
    assert jobs[0].id in plan.broken
    said = why_not_kept(week, plan)
    assert set(said) == set(plan.broken)
    assert jobs[0].id in said[jobs[0].id]
    assert crew.id in said[jobs[0].id]


def test_where_all_promises_are_kept_nothing_is_said() -> None:
    week = read_week((WEEKS / "installs-45x4.week.json").read_bytes())
    week = msgspec.structs.replace(week, jobs=tuple(msgspec.structs.replace(j, booked=None) for j in week.jobs))
    assert why_not_kept(week, plan_week(week, seconds=None, clock=time.monotonic)) == {}
