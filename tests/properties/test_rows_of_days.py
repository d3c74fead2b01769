"""Two days of one job go on neighbouring worked days, over a closed day too: beside trying everything."""

from __future__ import annotations

import random

import pytest
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.week import Follow, Week, checked, read_week, rows_in, week_document, with_rows
from tests.brute import cheapest
from tests.seeds import some_now
from tests.weeks import small_week

WORKED = (0, 1, 3)
OVER_THE_GAP = (6, 9, 12, 13, 14, 18)  # of these weeks the cheapest plan goes from day 1 to day 3


def gapped(seed: int) -> Week:
    """Return a random week of four days whose third is closed, with two days of one job of which none is promised."""
    week = small_week(random.Random(seed), jobs=3, crews=2, days=4, yards=1)
    first, then = week.jobs[0].id, week.jobs[1].id
    crews = tuple(replace(crew, shifts=tuple(s for s in crew.shifts if s.day in WORKED)) for crew in week.crews)
    jobs = tuple(
        replace(job, booked=None, skills=(), parts={}, hands=1, ready_day=0, skip_cents=9 * job.skip_cents)
        if job.id in (first, then) else job
        for job in week.jobs
    )  # fmt: skip
    made = checked(replace(week, crews=crews, jobs=jobs, follows=(Follow(first, then, 1, 2, bool(seed % 2)),)))
    return with_rows(made, [(first, then)], WORKED)


def one_day_at_a_time(week: Week) -> int:
    """Return what the cheapest plan costs: of those in which the first day goes on each of the days, or on none."""
    found = []
    (row,) = week.follows
    for day in (*WORKED, None):
        first = replace(week.jobs[0], windows=tuple(w for w in week.jobs[0].windows if w.day == day))
        most = 1 if day is None else row.most(day)
        plain = (Follow(row.first, row.then, 1, most, row.same_crew),)
        found.append(cheapest(replace(week, jobs=(first, *week.jobs[1:]), follows=plain)).cost.total)
    return min(found)


@pytest.mark.parametrize("seed", some_now(range(80), OVER_THE_GAP))
def test_the_plan_is_as_cheap_as_trying_every_first_day(seed: int) -> None:
    week = gapped(seed)
    plan = plan_week(week, seconds=None, clock=lambda: 0.0)
    assert audit(week, plan).ok
    assert plan.cost.total == one_day_at_a_time(week)
    at = {stop.job: route.day for route in plan.routes for stop in route.jobs}
    (row,) = week.follows
    if row.then in at:
        assert (at[row.first], at[row.then]) in ((0, 1), (1, 3))
    assert (at.get(row.first), at.get(row.then)) == (1, 3) or seed not in OVER_THE_GAP


def test_rows_stand_beside_the_document() -> None:
    week = gapped(1)
    pairs, worked = rows_in(week)
    plain = read_week(week_document(week))
    assert rows_in(plain) == ((), ())
    assert with_rows(plain, pairs, worked).follows == week.follows
