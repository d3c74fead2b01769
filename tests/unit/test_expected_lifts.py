"""Two crews that meet at a lift, and a crew that comes by its yard: what one notes moves the rest of both days.

Oak does alder on the hill from 8:00 (480) to 10:00; elm leaves at 8:10, lifts there from 8:30 (510) to 9:00 and does
birch on the moor, ten minutes on, from 9:10 (550) to 10:10. The lift may begin up to an hour after alder has, and takes
half an hour: after it at least 120 - 60 - 30 = 30 minutes of alder are left.
"""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from scheduler.under_way.expected import Expected, ExpectedDay, Taps, day_plan, expected_day
from scheduler.under_way.expected_lifts import CrewNotes, expected_days, waited_min
from tests.unit.reports.test_second_crews_played import loaded_again, met


def days(
    oak: dict[str, Taps], elm: dict[str, Taps], lift: Taps, now: int, out: tuple[int | None, int | None] = (460, 490)
) -> dict[str, ExpectedDay]:
    week, plan = met()
    notes = {}
    for route, noted, left in zip(plan.routes, (oak, elm), out, strict=True):
        day = day_plan(week, route)
        assert day is not None
        notes[route.crew] = CrewNotes(day, noted, left)
    return expected_days(notes, {} if lift == Taps() else {"alder": lift}, now)


def spans(day: ExpectedDay) -> list[tuple[str, str, int, int]]:
    return [(one.kind, one.job, one.start, one.end) for one in day.calls]


def test_a_day_that_goes_as_planned_is_expected_as_planned() -> None:
    found = days({"alder": Taps(here=480)}, {}, Taps(), 495)
    assert spans(found["oak"]) == [("visit", "alder", 480, 600)]
    assert spans(found["elm"]) == [("lift", "alder", 510, 540), ("visit", "birch", 550, 610)]


def test_a_lift_that_is_noted_late_ends_both_crews_work_later() -> None:
    there = days({"alder": Taps(here=480)}, {}, Taps(here=560), 565)
    assert spans(there["elm"]) == [("lift", "alder", 560, 590), ("visit", "birch", 600, 660)]
    assert spans(there["oak"]) == [("visit", "alder", 480, 590 + 30)]
    assert there["oak"].back == 620 + 25
    over = days({"alder": Taps(here=480)}, {}, Taps(here=560, over=575), 580)  # it took a quarter of an hour alone
    assert spans(over["elm"]) == [("lift", "alder", 560, 575), ("visit", "birch", 590, 650)]
    assert spans(over["oak"]) == [("visit", "alder", 480, 605)]


def test_a_lift_that_lasts_takes_as_long_as_it_takes() -> None:
    found = days({"alder": Taps(here=480)}, {}, Taps(here=510, over=600), 600)
    assert spans(found["elm"])[1][2] == 610
    assert spans(found["oak"]) == [("visit", "alder", 480, 630)]


def test_a_second_crew_that_has_not_come_is_waited_for() -> None:
    found = days({"alder": Taps(here=480)}, {}, Taps(), 570, (460, None))  # still in its yard, 20 minutes away
    assert spans(found["elm"])[0] == ("lift", "alder", 590, 620)
    assert spans(found["oak"]) == [("visit", "alder", 480, 650)]


def test_the_second_crew_waits_for_the_jobs_own() -> None:
    found = days({}, {}, Taps(), 530, (530, 490))  # oak leaves at 8:50 and is there at 9:10
    assert spans(found["oak"]) == [("visit", "alder", 550, 670)]
    assert spans(found["elm"]) == [("lift", "alder", 550, 580), ("visit", "birch", 590, 650)]
    early = days({}, {}, Taps(here=535), 536, (530, 490))  # elm is there before oak
    assert spans(early["elm"])[0][:3] == ("lift", "alder", 535)


def test_whose_visit_is_lifted_at_has_begun_it() -> None:
    found = days({}, {}, Taps(here=545), 546)
    assert spans(found["oak"]) == [("visit", "alder", 515, 635)]  # half an hour before, as planned
    assert found["oak"].visits[0].state == "there"
    late = days({"alder": Taps(on_way=530)}, {}, Taps(here=545), 546)
    assert late["oak"].visits[0].start == 530


def test_nobody_drives_to_a_lift_of_a_visit_that_is_over() -> None:
    found = days({"alder": Taps(here=480, over=485)}, {}, Taps(), 486)
    lift, birch = found["elm"].calls
    assert (lift.state, birch.start) == ("passed by", 490 + 30)
    there = days({"alder": Taps(here=480, over=525)}, {}, Taps(), 530)  # told at 8:45 that it is done: so is the lift
    assert spans(there["elm"]) == [("lift", "alder", 510, 525), ("visit", "birch", 540, 600)]


@pytest.mark.parametrize("seed", range(30))
def test_the_later_the_hour_the_later_both_days(seed: int) -> None:
    rng = random.Random(seed)
    oak = {"alder": Taps(here=480 + rng.randrange(60))} if rng.random() < 0.5 else {}
    lift = Taps(here=550 + rng.randrange(60)) if rng.random() < 0.3 else Taps()
    hours = [days(oak, {}, lift, now) for now in range(620, 1000, 13)]
    for sooner, later in pairwise(hours):
        for crew in ("oak", "elm"):
            assert sooner[crew].back <= later[crew].back
            for one, other in zip(sooner[crew].calls, later[crew].calls, strict=True):
                assert one.start <= other.start
                assert one.end <= other.end


def test_a_crew_waits_from_the_latest_minute_of_its_lift_on() -> None:
    assert waited_min(480, Taps(here=530, over=560), to_min=60, minutes=30) == 0
    assert waited_min(480, Taps(here=570, over=600), to_min=60, minutes=30) == 30
    assert waited_min(480, Taps(over=590), to_min=60, minutes=30) == 20  # came at 9:20 at the latest
    assert waited_min(480, Taps(), to_min=60, minutes=30) == 0


def loaded(noted: dict[str, Taps], now: int, load: Taps | None = None) -> list[Expected]:
    """Oak does alder from 10:00 to 12:00, loads in the yard at 12:55 (775) and does birch from 13:40 (820) on."""
    week, plan = loaded_again()
    day = day_plan(week, plan.routes[0])
    assert day is not None
    return list(expected_day(day, noted, now, out=580, loads={2: load or Taps()}).calls)


def test_the_load_itself_is_expected() -> None:
    _, load, birch = loaded({"alder": Taps(here=640, over=790)}, 790)
    assert (load.kind, load.start, load.end, load.state) == ("load", 815, 830, "ahead")
    assert birch.start == 860
    _, load, birch = loaded({"alder": Taps(here=600, over=720)}, 725)
    assert (load.start, load.end) == (745, 760)  # as soon as half an hour before it is planned
    assert birch.start == 790


@pytest.mark.parametrize(
    ("over", "on_way", "start"),
    [
        (720, 722, 722 + 25 + 15 + 30),  # on the way to the yard, since nobody is there after two minutes
        (720, 765, 765 + 30),  # out of the yard with the load
        (None, 765, 765 + 30),  # the same, where nobody said when alder was done
    ],
)
def test_who_is_on_the_way_to_what_is_still_in_the_yard_comes_by_there(
    over: int | None, on_way: int, start: int
) -> None:
    found = loaded({"alder": Taps(here=600, over=over), "birch": Taps(on_way=on_way)}, on_way)
    assert [one.start for one in found if one.job == "birch"] == [start]
    assert [one.state for one in found if one.kind == "load"] == ["over"]


def test_a_load_goes_as_it_is_noted() -> None:
    done = {"alder": Taps(here=600, over=720)}
    _, load, birch = loaded(done, 800, Taps(here=795))
    assert (load.start, load.end, load.state, load.late_min) == (795, 810, "there", 20)
    assert birch.start == 810 + 30
    _, load, birch = loaded(done, 830, Taps(here=795))  # it lasts
    assert (load.end, birch.start) == (830, 860)
    _, load, birch = loaded(done, 806, Taps(here=795, over=805))
    assert (load.start, load.end, load.state) == (795, 805, "over")
    assert (birch.start, birch.state) == (806 + 30, "ahead")
    alder, load, _ = loaded({"alder": Taps(here=600)}, 796, Taps(here=795))  # nobody said when alder was done
    assert (alder.state, alder.end, load.state) == ("over", 795, "there")


def test_who_said_too_early_that_it_is_on_its_way_sets_out_with_the_load() -> None:
    noted = {"alder": Taps(here=600, over=720), "birch": Taps(on_way=722)}
    alder, load, birch = loaded(noted, 796, Taps(here=795))
    assert [alder.state, load.state, birch.state] == ["over", "there", "ahead"]
    assert birch.start == 810 + 30
    _, _, birch = loaded(noted, 815, Taps(here=795, over=812))
    assert (birch.state, birch.start) == ("on the way", 812 + 30)
