"""Looking back adds up: every cent has its cause, every minute its use, every promise its fate."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from scheduler.audit import audit
from scheduler.reports.looking_back import COST_KINDS, look_back
from scheduler.week import Week
from tests.plans import good_plan
from tests.weeks import weeks


@settings(max_examples=60, deadline=None)
@given(weeks(), st.booleans())
def test_every_figure_is_the_sum_of_its_parts(week: Week, empty: bool) -> None:
    plan = good_plan(week)
    if empty:
        plan = replace(plan, routes=())
    back = look_back(week, plan)
    if not empty:
        assert back.cost == plan.cost == audit(week, plan).cost
    for kind in COST_KINDS:
        assert sum(cents for *_, cents in back.causes[kind]) == getattr(back.cost, kind)
        assert list(back.causes[kind]) == sorted(back.causes[kind], key=lambda part: (-part[2], part[0]))
    assert sum(getattr(back.cost, kind) for kind in COST_KINDS) == back.cost.total
    stops = [stop for route in plan.routes for stop in route.stops]
    assert sum(crew.work_min for crew in back.crews) == sum(stop.end - stop.start for stop in stops)
    assert sum(crew.out_min for crew in back.crews) == sum(route.back - route.depart for route in plan.routes)
    assert all(crew.other_min >= 0 and crew.days_out <= crew.days for crew in back.crews)
    assert sorted(job for crew in back.crews for job in crew.jobs) == sorted(back.done)
    assert {*back.done, *back.waiting} == {job.id for job in week.jobs}
    assert 0 <= back.drive_share <= 1
    for pool in back.pools:
        assert all(used <= there for used, there in zip(pool.used, pool.there, strict=True))
        assert bool(sum(pool.used)) == bool(pool.jobs)
    # What is promised and not kept is just what the plan says is broken.
    broken = [job for job in back.promised if job not in back.kept]
    if not empty:
        assert broken == list(plan.broken)
