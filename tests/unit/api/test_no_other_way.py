"""Why there is no other way to go on with a crew's day: what is noted of it, or of one that it meets, does not fit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.running.changes import no_other_way
from scheduler.under_way.calls import CrewUnderWay
from scheduler.under_way.expected import Taps, day_plan
from scheduler.under_way.expected_lifts import CrewNotes, expected_days
from scheduler.under_way.ways import TodayNow, ways
from tests.unit.reports.test_second_crews_played import met

CALLED = {"oak": "Oakham", "elm": "Elmley"}


def today(oak: dict[str, Taps], elm: dict[str, Taps], lift: Taps, now: int) -> TodayNow:
    """Oak does alder from 8:00 to 10:00; elm is there for the lift at 8:30 and does birch afterwards."""
    week, plan = met()
    notes, lifts = {}, {} if lift == Taps() else {"alder": lift}
    for route, noted in zip(plan.routes, (oak, elm), strict=True):
        day = day_plan(week, route)
        assert day is not None
        notes[route.crew] = CrewNotes(day, noted, route.depart)
    days = expected_days(notes, lifts, now)
    crews = {name: CrewUnderWay(one.plan, one.noted, one.out, None, days[name]) for name, one in notes.items()}
    return TodayNow(week, plan, 0, crews, now, {}, lifts=lifts)


@pytest.mark.parametrize("crew", ["oak", "elm"])
@pytest.mark.parametrize(
    ("alder", "there"), [(Taps(here=530), "from 8:50 on"), (Taps(here=530, over=534), "8:50–8:54")]
)
def test_a_lift_that_was_over_before_the_crew_of_the_job_came_is_told_to_both(
    crew: str, alder: Taps, there: str
) -> None:
    late = today({"alder": alder}, {}, Taps(here=500, over=520), 535)
    assert ways(late, crew) == ()
    assert no_other_way(late, crew, CALLED) == (
        f"By what is noted the second crew was at alder 8:20–8:40 and its own crew {there}, never together: ask them, "
        "and have what is wrong taken back on the day sheet."
    )


def test_that_a_crew_which_is_met_drove_on_is_told_by_its_name() -> None:
    fine = today({"alder": Taps(here=480)}, {"birch": Taps(here=550)}, Taps(here=510, over=540), 560)
    assert no_other_way(fine, "elm", CALLED) == "Nothing else that can still be changed keeps the rules."
    silent = today({}, {}, Taps(), 560)
    passed = [replace(one, state="passed by") for one in silent.crews["oak"].day.visits]
    oak = replace(silent.crews["oak"], day=replace(silent.crews["oak"].day, calls=tuple(passed)))
    gone = replace(silent, crews={**silent.crews, "oak": oak})
    assert ways(gone, "elm") == ()
    assert no_other_way(gone, "elm", CALLED) == (
        "Oakham noted nothing of alder and drove on: ask first, and note how it went."
    )
