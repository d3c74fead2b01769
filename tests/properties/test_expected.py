"""The rest of a day on random small weeks: no rule of the plan is broken to be quicker, and later is later."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from msgspec.structs import replace

from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.expected import DayPlan, ExpectedDay, Taps, day_plan, expected_day
from tests.plans import good_plan
from tests.weeks import small_week


def plans(seed: int) -> tuple[random.Random, list[DayPlan]]:
    rng = random.Random(seed)
    week = small_week(rng, jobs=6, crews=2, days=1, step=10)
    week = replace(week, jobs=tuple(replace(job, minutes=max(10, job.minutes)) for job in week.jobs))
    found = [day_plan(week, route) for route in good_plan(week).routes]
    return rng, [one for one in found if one is not None]


def notes(rng: random.Random, plan: DayPlan) -> dict[str, Taps]:
    """Some of the day noted in order, each stop no sooner than the one before."""
    clock, found = plan.route.depart, {}
    begun = rng.randrange(len(plan.jobs) + 1)
    for n, job in enumerate(plan.jobs[:begun]):
        on_way = clock + rng.randrange(30)
        here = on_way + rng.randrange(60)
        over = here + rng.randrange(1, 120)
        found[job.id] = Taps(on_way, here, over)
        if n == begun - 1:
            found[job.id] = rng.choice([Taps(on_way), Taps(on_way, here), found[job.id]])
        clock = over
    return found


def newest(noted: dict[str, Taps]) -> int:
    return max((m for one in noted.values() for m in (one.on_way, one.here, one.over) if m is not None), default=0)


def starts(day: ExpectedDay) -> dict[str, int]:
    return {one.job: one.start for one in day.visits}


@pytest.mark.parametrize("seed", range(60))
def test_what_is_not_begun_keeps_windows_drives_lengths_and_told_times(seed: int) -> None:
    rng, days = plans(seed)
    for plan in days:
        noted = notes(rng, plan)
        now = newest(noted) + rng.randrange(120)
        day = expected_day(plan, noted, now, out=plan.route.depart if noted else None)
        jobs = {job.id: n for n, job in enumerate(plan.jobs, 1)}
        assert {one.job for one in day.visits} == set(jobs)
        free, place = now, 0
        for one in day.visits:
            job, planned = plan.jobs[jobs[one.job] - 1], plan.route.stops[jobs[one.job] - 1]
            if one.state in ("over", "there"):
                assert one.start == noted[one.job].here
            else:
                assert one.end - one.start == job.minutes
                assert one.start >= now
                if one.state == "ahead":
                    assert one.start >= max(free, now) + plan.drive_min[place][jobs[one.job]]
                firm = job.booked is not None and job.booked.hold == "firm"
                assert one.start >= planned.start - (0 if firm else RETIME_FROM_MIN)
                held = [w for w in job.windows if w.day == plan.route.day and w.start <= one.start and one.end <= w.end]
                assert bool(held) == one.in_window
                if not one.in_window:  # then no later one holds it either
                    wide = [w for w in job.windows if w.day == plan.route.day and w.end - w.start >= job.minutes]
                    assert all(w.end < one.end for w in wide)
            assert one.late_min == one.start - planned.start
            free, place = one.end, jobs[one.job]
        assert day.back >= free + plan.drive_min[place][0]
        last = plan.shift.end + plan.shift.overtime
        assert day.past_min == max(0, day.back - last)


@pytest.mark.parametrize("seed", range(60))
def test_the_rest_is_kept_between_visits_and_never_during_one(seed: int) -> None:
    _, days = plans(seed)
    for plan in days:
        for now in range(0, 1200, 45):
            day = expected_day(plan, {}, now)
            if plan.rest is None:
                assert day.rest is None
                continue
            if day.back - plan.route.depart > plan.rest.after + plan.rest.length:
                assert day.rest is not None
            if day.rest is not None:
                assert day.rest >= plan.rest.earliest
                until = day.rest + plan.rest.length
                assert all(one.end <= day.rest or until <= one.start for one in day.visits)
                assert until <= day.back


@pytest.mark.parametrize("seed", range(60))
def test_the_later_the_hour_the_later_everything_that_follows(seed: int) -> None:
    rng, days = plans(seed)
    for plan in days:
        noted = notes(rng, plan)
        out = plan.route.depart if noted else None
        hours = [expected_day(plan, noted, newest(noted) + step, out=out) for step in range(0, 600, 7)]
        for sooner, later in pairwise(hours):
            assert sooner.back <= later.back
            assert all(starts(sooner)[job] <= start for job, start in starts(later).items())
            assert {v.job for v in later.visits if v.in_window} <= {v.job for v in sooner.visits if v.in_window}


@pytest.mark.parametrize("seed", range(60))
def test_a_visit_that_ends_later_makes_nothing_earlier(seed: int) -> None:
    rng, days = plans(seed)
    for plan in days:
        noted = notes(rng, plan)
        ended = [job for job, one in noted.items() if one.over is not None]
        if not ended or any(one.on_way is not None and one.over is None for one in noted.values()):
            continue
        last, now, before = ended[-1], newest(noted), None
        for more in range(0, 300, 11):
            one = noted[last]
            assert one.over is not None
            later = {**noted, last: Taps(one.on_way, one.here, one.over + more)}
            day = expected_day(plan, later, now + 300, out=plan.route.depart)
            if before is not None:
                assert before.back <= day.back
                assert all(starts(before)[job] <= start for job, start in starts(day).items())
            before = day


@pytest.mark.parametrize("seed", range(20))
def test_a_day_of_which_nothing_is_late_goes_at_most_half_an_hour_sooner_than_planned(seed: int) -> None:
    _, days = plans(seed)
    for plan in days:
        day = expected_day(plan, {}, now=0)
        assert all(-RETIME_FROM_MIN <= one.late_min <= 0 and one.in_window for one in day.visits)
        assert day.back <= plan.route.back


def test_nobody_comes_more_than_half_an_hour_before_the_minute_that_was_told() -> None:
    early = 0
    for seed in range(20):
        rng, days = plans(seed)
        for plan in days:
            free = [job for job in plan.jobs if job.booked is None or job.booked.hold != "firm"]
            posted = {stop.job: stop.start for stop in plan.route.stops}
            told = {job.id: posted[job.id] + rng.randrange(RETIME_FROM_MIN) for job in free}
            bare, day = expected_day(plan, {}, 0), expected_day(plan, {}, 0, told=told)
            early += any(one.start < told.get(one.job, 0) - RETIME_FROM_MIN for one in bare.visits)
            assert all(one.start >= told.get(one.job, 0) - RETIME_FROM_MIN for one in day.visits)
    assert early  # by the planned minute alone somebody would
