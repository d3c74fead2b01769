"""A day with a second crew's stop or a second load: played for its odds, and expected while it is under way."""

from __future__ import annotations

from msgspec.structs import replace

from scheduler import plan_without
from scheduler.plan import Plan2, Route2, Stop2, loading_for_some
from scheduler.reports.odds import Doubts, Odds, odds
from scheduler.reports.promises import stated_plan
from scheduler.reports.sheet import sheet
from scheduler.under_way.expected import Taps, day_plan, expected_day
from scheduler.week import Week, Window, week_from_data
from tests.unit.test_audit_second import week_data

SURE = Doubts(median_min={}, p80_factor={}, drive_p80_factor=1.0, lost={}, kit_late={})


def met() -> tuple[Week, Plan2]:
    """Oak does alder from 8:00 to 10:00; elm does birch at 9:10 after it has helped there from 8:30 to 9:00."""
    week = week_from_data(week_data())
    crews = [crew.id for crew in week.crews]
    alder, birch = week.jobs[0].id, week.jobs[1].id
    own = Route2(crews[0], 0, 460, 625, 0, None, (Stop2(job=alder, start=480, end=600),))
    minutes = week.jobs[1].minutes
    helping = Route2(
        crews[1], 0, 490, 550 + minutes + 35, 0, None,
        (Stop2(assist=alder, start=510, end=540), Stop2(job=birch, start=550, end=550 + minutes)),
    )  # fmt: skip
    plan = stated_plan(week, "by hand", (own, helping), ())
    assert isinstance(plan, Plan2)
    return week, plan


def test_a_day_that_helps_on_its_way_goes_as_planned_where_nothing_is_uncertain() -> None:
    week, plan = met()
    played = odds(week, plan, SURE, plays=20, seed=1)
    assert {visit.done for visit in played.visits.values()} == {1.0}
    for route in plan.routes:
        assert played.days[route.crew, 0].back_p80 <= route.back


def test_a_drive_from_the_lift_is_not_taken_for_one_from_the_yard() -> None:
    week, plan = met()
    slow = replace(week, travel=replace(week.travel, minutes=((0, 20, 30), (25, 0, 70), (35, 12, 0))))
    played = odds(slow, plan, SURE, plays=20, seed=1)
    begin = played.visits[week.jobs[1].id].begin_p80
    assert begin is not None
    assert begin >= 540 + 70  # from the hill, where it has helped until 9:00


LATE_BIRCH = Doubts({"birch": 100.0}, {}, 1.0, {}, {})  # forty minutes longer than planned


def played(oak: Route2, elm: Route2) -> Odds:
    week = week_from_data(week_data())
    plan = stated_plan(week, "by hand", (oak, elm), ())
    found = odds(week, plan, LATE_BIRCH, plays=3, seed=1)
    assert {visit.done for visit in found.visits.values()} == {1.0}
    return found


def test_a_lift_begins_when_the_second_crew_comes_and_the_job_is_done_so_much_later() -> None:
    """Elm leaves birch at 9:40 and not at 9:00: it is at the hill at 9:52, alder could have waited until 9:20."""
    oak = Route2("oak", 0, 480, 645, 0, None, (Stop2(job="alder", start=500, end=620),))
    elm = Route2("elm", 0, 450, 607, 0, None, (
        Stop2(job="birch", start=480, end=540), Stop2(assist="alder", start=552, end=582)))  # fmt: skip
    found = played(oak, elm)
    assert found.visits["alder"].begin_p80 == 500
    assert found.days["elm", 0].back_p80 == 592 + 30 + 25
    assert found.days["oak", 0].back_p80 == 500 + 120 + (592 - 560) + 25


def test_a_second_crew_waits_until_the_job_has_begun_and_comes_home_so_much_later() -> None:
    """Oak leaves birch at 9:40 and begins alder at 9:52, when elm has been there for forty minutes."""
    oak = Route2("oak", 0, 450, 697, 0, None, (
        Stop2(job="birch", start=480, end=540), Stop2(job="alder", start=552, end=672)))  # fmt: skip
    elm = Route2("elm", 0, 532, 607, 0, None, (Stop2(assist="alder", start=552, end=582),))
    found = played(oak, elm)
    assert found.days["oak", 0].back_p80 == 592 + 120 + 25
    assert found.days["elm", 0].back_p80 == 592 + 30 + 25


def test_the_rest_of_the_day_is_expected_by_way_of_the_lift() -> None:
    week, plan = met()
    helping = plan.routes[1]
    day = day_plan(week, helping)
    assert day is not None
    assert [job.id for job in day.jobs] == [week.jobs[1].id]
    found = expected_day(day, {}, now=480)
    assert [one.job for one in found.visits] == [week.jobs[1].id]
    late = expected_day(day, {}, now=480, out=540)  # left at 9:00: there at 9:20, on from there at 9:50
    assert late.visits[0].start >= 540 + 20 + 30 + 10
    there = expected_day(day, {week.jobs[1].id: Taps(here=600)}, now=610, out=490)
    assert there.visits[0].state == "there"


def test_the_week_sheet_tells_visits_from_lifts() -> None:
    week, plan = met()
    cells = {cell.crew: cell for cell in sheet(week, plan).cells}
    helping = cells[plan.routes[1].crew]
    assert [entry.is_visit for entry in helping.entries] == [False, True]
    assert len(helping.visits) == 1


def test_a_route_of_lifts_alone_is_expected_back_when_the_lift_is_over() -> None:
    week, plan = met()
    alone = replace(plan.routes[1], stops=plan.routes[1].stops[:1])
    day = day_plan(week, alone)
    assert day is not None
    found = expected_day(day, {}, now=530)
    assert found.visits == ()
    assert [(one.kind, one.job, one.start, one.end) for one in found.calls] == [("lift", "alder", 550, 580)]
    assert found.back == 580 + 25
    empty = replace(plan.routes[1], stops=())
    assert day_plan(week, empty) is None


def rested() -> tuple[Week, Plan2]:
    """Oak does alder from 10:00 to 12:30 with half an hour of rest at 11:00 in its middle, then birch from 12:40 on."""
    data = week_data()
    for crew in data["crews"]:
        crew["vehicle"] = crew["vehicle"] | {"payload_kg": 100, "boxes": 2}
    data["jobs"][0]["assist"] = None
    week = week_from_data(data)
    stops = Stop2(job="alder", start=600, end=750), Stop2(job="birch", start=760, end=820)
    plan = stated_plan(week, "by hand", (Route2("oak", 0, 480, 855, 0, 660, stops),), ())
    assert isinstance(plan, Plan2)
    return week, plan


def test_a_rest_in_the_middle_of_a_visit_is_taken_once() -> None:
    week, plan = rested()
    played = odds(week, plan, SURE, plays=20, seed=1)
    assert played.days["oak", 0].back_p80 <= 855
    assert played.visits["alder"].begin_p80 is not None
    assert played.visits["alder"].begin_p80 <= 600  # not after a rest on the way to it
    day = day_plan(week, plan.routes[0])
    assert day is not None
    late = expected_day(day, {"alder": Taps(here=615)}, now=620, out=480)
    assert [(one.job, one.start, one.end) for one in late.visits] == [("alder", 615, 765), ("birch", 775, 835)]
    assert (late.rest, late.back) == (675, 870)
    over = expected_day(day, {"alder": Taps(here=600, over=750)}, now=755, out=480)
    assert over.rest is None
    assert over.back == 755 + 10 + 60 + 35


def test_the_sheet_says_at_which_visit_the_crew_rests() -> None:
    week, plan = rested()
    (cell,) = sheet(week, plan).cells
    assert [entry.rest for entry in cell.entries] == [660, None]


def loaded_again() -> tuple[Week, Plan2]:
    """Oak does alder from 10:00 to 12:00, takes on a load in the yard at 12:55, and does birch from 13:40 on."""
    data = week_data()
    data["jobs"][0]["assist"], data["rest"] = None, None
    week = week_from_data(data)
    stops = Stop2(job="alder", start=600, end=720), Stop2(reload=True, start=775, end=790), Stop2(
        job="birch", start=820, end=880
    )  # fmt: skip
    plan = stated_plan(week, "by hand", (Route2("oak", 0, 580, 915, 0, None, stops),), ())
    assert isinstance(plan, Plan2)
    return week, plan


def test_the_rest_of_the_day_is_expected_by_way_of_the_yard() -> None:
    week, plan = loaded_again()
    day = day_plan(week, plan.routes[0])
    assert day is not None
    assert [job.id for job in day.jobs] == ["alder", "birch"]
    late = expected_day(day, {"alder": Taps(here=640, over=790)}, now=790, out=580)
    # 25 minutes to the yard, 15 there, 30 on to the moor; 35 home.
    assert [(one.job, one.start) for one in late.visits] == [("alder", 640), ("birch", 790 + 25 + 15 + 30)]
    assert late.back == 860 + 60 + 35
    played = odds(week, plan, SURE, plays=20, seed=1)
    assert {visit.done for visit in played.visits.values()} == {1.0}


def test_the_week_sheet_tells_what_is_in_which_load() -> None:
    week, plan = loaded_again()
    (cell,) = sheet(week, plan).cells
    weights = {job.id: (job.weight_kg, job.boxes) for job in week.jobs}
    assert [(load.jobs, load.start, load.end) for load in cell.loads] == [
        (("alder",), None, None), (("birch",), 775, 790)
    ]  # fmt: skip
    assert [(load.weight_kg, load.boxes) for load in cell.loads] == [weights["alder"], weights["birch"]]
    assert [entry.marks for entry in cell.entries] == [(), ("reload",), ()]


def test_a_load_for_nothing_is_left_out() -> None:
    a, b, load = Stop2(job="a", start=0, end=1), Stop2(job="b", start=4, end=5), Stop2(reload=True, start=2, end=3)
    assert loading_for_some([a, load, b]) == (a, load, b)
    assert loading_for_some([load, a, load, load, b, load]) == (a, load, b)
    assert loading_for_some([load, load]) == ()


def test_a_visit_that_may_go_on_other_days_alone_is_taken_out_with_its_load() -> None:
    week, plan = loaded_again()
    jobs = tuple(replace(job, windows=(Window(1, 480, 1000, 0),)) if job.id == "birch" else job for job in week.jobs)
    left = plan_without(replace(week, days=2, jobs=jobs), plan, ["birch"])
    assert [[stop.job for stop in route.stops] for route in left.routes] == [["alder"]]
