"""Why jobs of the second format wait, on the week of `test_audit_second`, whose days are worked out there."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from msgspec.structs import replace

from scheduler import with_reasons
from scheduler.plan import Because
from scheduler.week import week_from_data
from tests.brute2 import cheapest
from tests.undo import dearer_to_skip, is_planned, price_of
from tests.unit.test_audit_second import Data, plan_of, week_data

pytestmark = pytest.mark.usefixtures("compiled")

# Oak does birch alone: on the moor from 8:00 to 9:00.
_BIRCH: Data = {
    "crew": "oak", "day": 0, "depart": 450, "return": 575, "helpers": 0, "rest": None,
    "stops": [{"job": "birch", "start": 480, "end": 540}],
}  # fmt: skip


def because(data: Data, job: str, *routes: Data) -> list[Because]:
    """Return why `job` waits where nothing but `routes` is planned."""
    week = week_from_data(data)
    waits = tuple(j.id for j in week.jobs if all(s.get("job") != j.id for r in routes for s in r["stops"]))
    plan = with_reasons(week, plan_of(week, *routes, skipped=waits))
    return [b for s in plan.skipped if s.job == job for b in s.because]


def codes(told: Iterable[Because]) -> list[str]:
    return [b.code for b in told]


def test_the_hour_that_its_second_crew_lacks_is_named_with_what_every_other_crew_does() -> None:
    data = week_data()
    data["crews"][1]["shifts"] = [s for s in data["crews"][1]["shifts"] if s["day"] != 0]
    told = because(data, "alder", _BIRCH)
    # After birch oak drives home, loads again, and is on the hill at 9:00 + 35 + 15 + 20 minutes = 10:10.
    assert codes(told)[0] == "no_second_crew"
    assert told[0].detail == (
        "Its second crew has no hour on Mon Mar 15: elm does not work; with 1 person there for its lift 10:10–10:40 "
        "it could go with oak on Mon Mar 15."
    )


def test_one_more_load_would_do_where_the_van_holds_one_of_two() -> None:
    data = week_data()
    data["reload"], data["jobs"][0]["assist"] = None, None
    del data["crews"][1]
    told = because(data, "alder", _BIRCH)
    assert "second_load" in codes(told)
    text = next(b.detail for b in told if b.code == "second_load")
    assert text == (
        "One more load would do: the day's kits with this one are 100 kg, and the van of oak may carry 60 and 2 long "
        "boxes, and it takes 1; with a second load from the yard, 30 minutes to take on, it could go with oak on Mon "
        "Mar 15."
    )


def test_a_week_past_its_minutes_is_named_with_how_many_more_would_do() -> None:
    data = week_data()
    data["jobs"][0]["assist"] = None
    data["jobs"][0]["skip_cents"] = 21_000
    data["crews"][0]["weekly"] = {"minutes": 60, "cents": 90}
    del data["crews"][1]
    data["crews"][0]["vehicle"] = {"payload_kg": 100, "rack_mm": 5000, "boxes": 2}
    told = because(data, "alder", _BIRCH)
    assert "over_weekly" in codes(told)
    text = next(b.detail for b in told if b.code == "over_weekly")
    assert " over 1 h in the week of Mon Mar 15 and Sun Mar 21, paid extra; with " in text
    assert " minutes more a week of oak at no extra pay it could go with oak on Mon Mar 15." in text


def test_a_rest_that_would_cut_the_work_is_named() -> None:
    data = week_data()
    # Six hours of work and more than 374 minutes out: a rest is due from 10:00 to 13:00, and the work fills all of it.
    data["jobs"][0] |= {"assist": None, "pausable": False, "minutes": 420, "skip_cents": 90_000}
    data["jobs"][0]["windows"] = [{"day": 0, "start": 480, "end": 935, "risk_cents": 0}]
    told = because(data, "alder")
    assert "rest_within" in codes(told)
    assert "; with the rest taken in the middle of its work it could go with " in next(
        b.detail for b in told if b.code == "rest_within"
    )


def test_a_promise_that_waits_is_told_last_with_why_it_is_not_kept() -> None:
    data = week_data()
    data["crews"][1]["shifts"] = [s for s in data["crews"][1]["shifts"] if s["day"] != 0]
    data["jobs"][0]["booked"] = {
        "crew": "oak", "day": 0, "start": 610, "hold": "day", "move_cents": 0, "retime_cents": 0, "recrew_cents": 0,
    }  # fmt: skip
    week = week_from_data(data)
    plan = replace(plan_of(week, _BIRCH, skipped=("alder",)), broken=("alder",))
    told = with_reasons(week, plan).skipped[0].because
    assert codes(told) == ["no_second_crew", "promise_broken"]
    assert told[1].detail == (
        "The booking of alder for Mon Mar 15 is not kept: its second crew has no hour on Mon Mar 15: "
        "elm does not work; with 1 person there for its lift 10:10–10:40 it could be kept with oak."
    )


def _with_parts(*needs: int) -> Data:
    """A week of crews oak, elm and fir, who alone may do alder, and of 8 anchors; alder, birch and cedar take `needs`.

    Each of the others is worth far more than alder, is done in 60 minutes and fills its crew's day: 150 minutes long.
    """
    data = week_data()
    crew = data["crews"][1] | {"shifts": [{"day": 0, "start": 480, "end": 630, "overtime": 0}]}
    data |= {"rest": None, "reload": None, "crews": [crew | {"id": name} for name in ("oak", "elm")]}
    data["crews"].append(crew | {"id": "fir", "skills": ["masonry"]})
    job = data["jobs"][1] | {"minutes": 60, "skip_cents": 300_000}
    alder = {"id": "alder", "skip_cents": 30_000, "skills": ["masonry"]}
    names = ({"id": "birch"}, {"id": "cedar"})
    data["jobs"] = [job | of | {"parts": {"anchor": n}} for of, n in zip((alder, *names), needs, strict=True)]
    data["stock"] = [{"id": "anchor", "yard": "yard", "on_hand": 8, "arrivals": []}]
    return data


def _out_with(crew: str, job: str) -> Data:
    """The crew's way to the moor and back: 30 and 35 minutes."""
    stops = [{"job": job, "start": 510, "end": 570}]
    return {"crew": crew, "day": 0, "depart": 480, "return": 605, "helpers": 0, "rest": None, "stops": stops}


@pytest.mark.parametrize(
    ("needs", "others"),
    [
        ((4, 6, 2), "birch (with oak on Mon Mar 15), which is"),  # cedar's two would not do
        ((4, 2, 6), "cedar (with elm on Mon Mar 15), which is"),
        ((8, 4, 4), "birch (with oak on Mon Mar 15) and cedar (with elm on Mon Mar 15), which are"),
    ],
)
def test_who_would_have_to_leave_their_parts_on_other_routes_is_named(needs: tuple[int, int, int], others: str) -> None:
    """Fir's day is empty, and all 8 anchors go with the others, which cost as much to leave out."""
    data = _with_parts(*needs)
    told = because(data, "alder", _out_with("oak", "birch"), _out_with("elm", "cedar"))
    (price,) = [b for b in told if b.code == "no_room"]
    assert f"It could go with fir on Mon Mar 15, but only with the parts of {others} worth more: " in price.detail
    week = week_from_data(data)
    assert is_planned(cheapest(dearer_to_skip(week, "alder", price_of(price) + 1), 5), "alder")
    assert not is_planned(cheapest(dearer_to_skip(week, "alder", price_of(price) - 1), 5), "alder")


def test_the_smallest_set_is_told_though_the_cheapest_place_needs_more() -> None:
    """Oak, near by, lacks four things, and none of them is needless; fir, far away and dearer, lacks three."""
    data = week_data()
    data |= {"rest": None, "reload": None, "places": [*data["places"], {"id": "ridge", "lat": 40, "lon": -105}]}
    data["travel"] = {
        "minutes": [[0, 20, 30, 90], [25, 0, 10, 90], [35, 12, 0, 90], [90, 90, 90, 0]],
        "metres": [[0, 15_100, 30_000, 90_000], [15_200, 0, 8_000, 90_000], [30_100, 8_100, 0, 90_000], [90_000] * 4],
    }
    data["travel"]["metres"][3][3] = 0
    data["yards"].append({"id": "ridge", "place": "ridge"})
    small = {"payload_kg": 10, "rack_mm": 5000, "boxes": 1}
    oak, elm = data["crews"]
    data["crews"] = [
        oak | {"vehicle": small, "skills": [], "weekly": None},
        elm | {"id": "fir", "yard": "ridge", "skills": ["masonry"]},
    ]
    data["jobs"] = [
        data["jobs"][0]
        | {
            "assist": None,
            "skills": ["masonry"],
            "yard": "yard",
            "ready_day": None,
            "windows": [],
            "skip_cents": 90_000,
        }
    ]
    told = because(data, "alder")
    assert codes(told) == ["kit_not_ready", "other_yard", "no_work_window"]
    assert told[0].detail.startswith("Its kit will not be complete this week; with its kit complete by ")
    assert " it could go with fir on " in told[0].detail
    assert told[-1].detail.endswith(" With the other visits as they are, nothing less would do.")
