"""Moves by hand on one small week, whose times can be worked out on paper (`tests.two_crews`)."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from scheduler import BY_HAND, Lock, Off, Put, by_hand, locked, with_reasons
from scheduler.errors import BadInput
from scheduler.plan import Plan, Route
from scheduler.week import Booking, Window, checked
from tests.two_crews import job, planned, week_of


def route_of(plan: Plan, crew_id: str, day: int) -> Route:
    return next(r for r in plan.routes if (r.crew, r.day) == (crew_id, day))


def test_a_visit_put_on_a_crew_that_stays_in_makes_a_route_of_its_own() -> None:
    week = week_of(job("a"), job("b"))
    plan = planned(week)  # both in one round: 10 + 60 + 10 + 60 + 10 = 150 minutes
    assert plan.cost.total == 15_000
    tried = by_hand(week, plan, Put("b", "south", 1))
    assert tried.allowed
    assert tried.change.total == 1_000  # two rounds of 80 minutes
    assert tried.change.crews == 1_000
    made = route_of(tried.plan, "south", 1)
    assert made.back - made.depart == 80
    assert [stop.job for stop in made.stops] == ["b"]


def test_a_start_that_is_asked_for_is_given_and_the_others_make_way() -> None:
    week = week_of(job("a"), job("b"))
    plan = planned(week)
    one = plan.routes[0]
    tried = by_hand(week, plan, Put("b", one.crew, one.day, 600))
    assert tried.allowed
    (route,) = tried.plan.routes
    assert {stop.job: stop.start for stop in route.stops} in ({"a": 530, "b": 600}, {"b": 600, "a": 670})


def test_a_start_outside_the_work_windows_is_told_as_the_auditor_tells_it() -> None:
    week = week_of(job("a", windows=(Window(0, 480, 700, 0),)))
    tried = by_hand(week, planned(week), Put("a", "north", 0, 720))
    assert [b.rule for b in tried.breaches] == ["window"]
    assert "from 12:00 to 13:00, outside its work windows (8:00–11:40)" in tried.breaches[0].sentence


def test_what_breaks_stands_in_as_few_places_as_can_be() -> None:
    """Of seven visits of 60 and 10 minutes from 8:10 on, six end by 15:00: one is outside, the others are not."""
    week = week_of(*(job(f"j{n}", windows=(Window(0, 480, 900, 0),)) for n in range(7)))
    plan = planned(week)
    for route in plan.routes[1:]:
        for stop in route.stops:
            tried = by_hand(week, plan, Put(stop.job, plan.routes[0].crew, 0))
            plan = tried.plan
    assert len(plan.routes) == 1
    assert [b.rule for b in tried.breaches] == ["shift", "window"]


def test_a_day_that_is_far_too_long_is_still_timed_and_told() -> None:
    week = week_of(*(job(f"j{n}", minutes=150) for n in range(4)))
    plan = planned(week)
    routes = {stop.job: (r.crew, r.day) for r in plan.routes for stop in r.stops}
    for name in routes:
        plan = by_hand(week, plan, Put(name, "north", 0)).plan
    tried = by_hand(week, plan, Put("j0", "north", 0))
    assert {"shift", "window"} <= {b.rule for b in tried.breaches}
    assert not {"travel", "once", "known", "cost"} & {b.rule for b in tried.breaches}


def test_a_crew_that_does_not_work_that_day_is_said_not_to() -> None:
    week = week_of(job("a"), job("b"))
    idle = replace(week.crews[1], shifts=week.crews[1].shifts[:1])
    week = checked(replace(week, crews=(week.crews[0], idle)))
    tried = by_hand(week, planned(week), Put("a", "south", 1))
    assert "Crew south on Tue Apr 6 does not work" in tried.breaches[0].sentence


def test_a_visit_taken_off_waits_because_somebody_took_it_off() -> None:
    week = week_of(job("a"), job("b"))
    tried = by_hand(week, planned(week), Off("a"))
    assert tried.allowed
    assert tried.change.skipped == 100_000
    told = with_reasons(week, tried.plan, kept=(BY_HAND,))
    assert [(s.job, [why.code for why in s.because]) for s in told.skipped] == [("a", [BY_HAND])]


def test_reasons_are_asked_anew_where_nobody_took_a_visit_off() -> None:
    """`b` fits in nowhere but in place of `a`; once that is gone, there would be room."""
    short = (Window(0, 480, 560, 0),)
    week = week_of(job("a", windows=short), job("b", windows=short, skip_cents=50_000))
    week = checked(replace(week, crews=week.crews[:1]))
    plan = planned(week)
    assert [(s.job, s.because[0].code) for s in plan.skipped] == [("b", "no_room")]
    told = with_reasons(week, by_hand(week, plan, Off("a")).plan, kept=(BY_HAND,))
    assert {s.job: s.because[0].code for s in told.skipped} == {"a": BY_HAND, "b": "not_tried"}


def test_a_promise_that_a_move_breaks_is_told_apart_from_the_rules() -> None:
    booked = Booking("north", 0, 600, "firm", 0, 0, 0)
    week = week_of(job("a", booked=booked))
    plan = planned(week)
    tried = by_hand(week, plan, Put("a", "north", 1))
    assert tried.allowed
    assert [b.job for b in tried.promises] == ["a"]
    assert "The firm booking of a (north on Mon Apr 5, 10:00) is not kept any more" in tried.promises[0].sentence
    assert tried.plan.broken == ("a",)
    assert tried.change.changes == 50_000
    back = by_hand(week, tried.plan, Put("a", "north", 0))
    assert back.plan.broken == ()
    assert back.change.changes == -50_000


def test_a_lock_keeps_its_visit_and_the_start_of_it() -> None:
    week = week_of(job("a"), job("b"))
    plan = planned(week)
    one = plan.routes[0]
    plan = by_hand(week, plan, Put("a", one.crew, one.day, 720)).plan
    locks = {"a": Lock(one.crew, one.day, 720)}
    moved = by_hand(week, plan, Put("b", one.crew, one.day, position=0), locks)
    assert {s.job: s.start for s in moved.plan.routes[0].stops}["a"] == 720
    assert moved.allowed
    refused = by_hand(week, plan, Off("a"), locks)
    assert [b.rule for b in refused.breaches] == ["lock"]
    assert f"locked to {one.crew} on" in refused.breaches[0].sentence
    same = by_hand(week, plan, Put("a", one.crew, one.day, 720), locks)
    assert same.allowed


def test_locks_that_cannot_be_kept_together_are_told() -> None:
    week = week_of(job("a"), job("b"), job("c", minutes=400))
    assert locked(week, {"a": Lock("north", 0, 600), "b": Lock("north", 0, None)}) == ()
    (breach, *_) = locked(week, {"a": Lock("north", 0, 600), "b": Lock("north", 0, 610)})
    assert breach.rule == "travel"
    assert {"shift", "window"} & {
        b.rule for b in locked(week, {"a": Lock("north", 0, 600), "c": Lock("north", 0, None)})
    }
    (nobody,) = locked(week, {"a": Lock("east", 0, None)})
    assert "locked to east" in nobody.sentence
    assert locked(week, {"gone": Lock("north", 0, None)}) == ()


@pytest.mark.parametrize(
    ("hand", "where"),
    [
        (Put("nobody's", "north", 0), "visit"),
        (Off("nobody's"), "visit"),
        (Put("a", "east", 0), "crew"),
        (Put("a", "north", 2), "day"),
        (Put("a", "north", -1), "day"),
        (Put("a", "north", 0, 1440), "start"),
        (Put("a", "north", 0, None, 5), "position"),
        (Put("a", "north", 0, None, -1), "position"),
    ],
)
def test_what_is_not_in_the_week_is_named(hand: Put | Off, where: str) -> None:
    week = week_of(job("a"), job("b"))
    with pytest.raises(BadInput) as fault:
        by_hand(week, planned(week), hand)
    assert fault.value.where == where


def test_a_plan_of_another_week_is_refused() -> None:
    week = week_of(job("a"))
    with pytest.raises(BadInput, match="is of week"):
        by_hand(week, replace(planned(week), week="another"), Off("a"))
