"""The cost of one small week, worked out by hand in the comments."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from scheduler.plan import Cost, Route, Stop
from scheduler.price import change_cents, is_kept, outings, price, undone_cents, visits
from scheduler.week import Booking, Week, week_from_data
from tests.weeks import as_data

_JOB: dict[str, Any] = {
    "place": "hill", "yard": None, "minutes": 60, "hands": 2, "weight_kg": 50, "box_mm": 4000, "boxes": 1, "skills": [],
    "equipment": {}, "parts": {}, "ready_day": 0, "due_day": 0, "late_cents": 700, "skip_cents": 30_000, "booked": None,
    "windows": [{"day": 0, "start": 480, "end": 700, "risk_cents": 400},
                {"day": 0, "start": 500, "end": 600, "risk_cents": 150},
                {"day": 1, "start": 480, "end": 900, "risk_cents": 0}],
}  # fmt: skip
_CREW: dict[str, Any] = {
    "yard": "yard", "hands": 2, "skills": [], "vehicle": {"payload_kg": 100, "rack_mm": 5000, "boxes": 2},
    "shifts": [{"day": 0, "start": 420, "end": 660, "overtime": 60},
               {"day": 1, "start": 420, "end": 900, "overtime": 0}], "onboard": {},
    "day_cents": 5_000, "minute_cents": 100, "overtime_minute_cents": 40, "km_cents": 75,
}  # fmt: skip
_SOFT = {
    "crew": "oak",
    "day": 0,
    "start": 540,
    "hold": "soft",
    "move_cents": 900,
    "retime_cents": 60,
    "recrew_cents": 50,
}


def hand_week() -> Week:
    """Two crews, two days, three jobs: alder (soft booking with oak), birch (day booking) and cedar (firm)."""
    jobs = [
        _JOB | {"id": "alder", "booked": _SOFT},
        _JOB | {"id": "birch", "place": "moor", "booked": _SOFT | {"hold": "day"}},
        _JOB | {"id": "cedar", "booked": _SOFT | {"hold": "firm"}},
    ]
    return week_from_data({
        "format": "week/1", "id": "by-hand", "start_date": "2027-03-15", "days": 2, "timezone": "America/Denver",
        "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", "hill", "moor")],
        "travel": {"minutes": [[0, 20, 30], [25, 0, 10], [35, 12, 0]],
                   "metres": [[0, 15_100, 30_000], [15_200, 0, 8_000], [30_100, 8_100, 0]]},
        "rest": None, "yards": [{"id": "yard", "place": "yard"}],
        "crews": [_CREW | {"id": "oak"}, _CREW | {"id": "elm"}],
        "helpers": [{"yard": "yard", "day": 0, "count": 2, "day_cents": 18_000}],
        "equipment": [], "stock": [], "jobs": jobs, "follows": [], "broken_cents": 100_000,
    })  # fmt: skip


def stop(job: str, start: int) -> Stop:
    return Stop(job, start, start + 60)


def test_nothing_planned_costs_every_skip_and_every_change() -> None:
    # skipped 3 × 300.00; alder's soft booking moved 9.00; birch's and cedar's broken, 1000.00 each
    assert price(hand_week(), ()) == Cost(290_900, 0, 0, 0, 0, 0, 0, 200_900, 90_000)


def test_a_full_day_kind_by_kind() -> None:
    route = Route("oak", 0, 480, 700, 1, None, (stop("alder", 500), stop("birch", 610)))
    # crews: 50.00 + 220 min × 1.00                                        = 270.00
    # travel: 15.1 + 8.0 + 30.1 km = 53.2 km × 0.75 = 39.90                =  39.90
    # overtime: 700 − 660 = 40 min × 0.40                                  =  16.00
    # helpers: 1 × 180.00                                                  = 180.00
    # risk: alder 500–560 is in both windows, the lesser counts 1.50; birch 610–670 is in the first, 4.00
    # late: both on their due day                                          =   0
    # changes: alder 40 min before 540, retimed 0.60; birch 70 min after, 0.60; cedar broken 1000.00
    # skipped: cedar 300.00
    assert price(hand_week(), [route]) == Cost(181_260, 27_000, 3_990, 1_600, 18_000, 550, 0, 100_120, 30_000)


def test_half_a_cent_of_travel_is_rounded_up_route_by_route() -> None:
    # there and back 15,100 + 15,200 m = 30,300 m × 75 = 2,272,500: 2272.5 cents → 2273, twice
    day_0 = Route("oak", 0, 480, 600, 0, None, (stop("alder", 500),))
    day_1 = Route("elm", 1, 480, 600, 0, None, (stop("cedar", 500),))
    assert price(hand_week(), [day_0, day_1]).travel == 2 * 2_273


def test_a_hair_under_half_a_cent_of_travel_is_dropped() -> None:
    """One kilometre there and 499 m back at a cent a kilometre: 1.499 cents."""
    data = as_data(hand_week())
    data["travel"]["metres"] = [[0, 1_000, 0], [499, 0, 0], [0, 0, 0]]
    for crew in data["crews"]:
        crew["km_cents"] = 1
    route = Route("oak", 0, 480, 600, 0, None, (stop("alder", 500),))
    assert price(week_from_data(data), [route]).travel == 1
    data["travel"]["metres"][1][0] = 500
    assert price(week_from_data(data), [route]).travel == 2


def test_a_day_late_and_another_crew() -> None:
    route = Route("elm", 1, 480, 600, 0, None, (stop("alder", 500),))
    cost = price(hand_week(), [route])
    assert (cost.late, cost.risk) == (700, 0)
    assert cost.changes == 900 + 200_000  # moved to another day: the crew then no longer counts


@pytest.mark.parametrize(
    ("hold", "crew", "day", "start", "kept", "cents"),
    [
        ("soft", "oak", 0, 540, True, 0),
        ("soft", "oak", 0, 570, True, 0),  # 30 minutes are not more than 30
        ("soft", "oak", 0, 571, True, 60),
        ("soft", "oak", 0, 509, True, 60),
        ("soft", "elm", 0, 571, True, 110),
        ("soft", "oak", 1, 540, False, 900),
        ("day", "elm", 0, 700, True, 110),
        ("day", "oak", 1, 540, False, 5_000),
        ("firm", "oak", 0, 540, True, 0),
        ("firm", "oak", 0, 541, False, 5_000),
        ("firm", "elm", 0, 540, False, 5_000),
        ("firm", "oak", 1, 540, False, 5_000),
    ],
)
def test_what_a_change_of_a_booking_costs(hold: str, crew: str, day: int, start: int, kept: bool, cents: int) -> None:
    booking = msgspec.convert(_SOFT | {"hold": hold}, type=Booking)
    (out,) = outings(hand_week(), [Route(crew, day, 400, 800, 0, None, (stop("alder", start),))])
    visit = visits([out])["alder"]
    assert is_kept(booking, visit) == kept
    assert change_cents(booking, visit, broken_cents=5_000) == cents
    assert not is_kept(booking, None)


def test_routes_that_cannot_go_out_cost_nothing() -> None:
    week = hand_week()
    nonsense = [
        Route("nobody", 0, 0, 100, 5, None, (stop("alder", 0),)),
        Route("oak", 7, 0, 100, 5, None, (stop("alder", 0),)),
        Route("oak", 0, 0, 100, 5, None, ()),
        Route("oak", 0, 0, 100, 5, None, (stop("nothing", 0),)),
    ]
    assert price(week, nonsense) == price(week, ())


def test_a_route_after_one_that_cannot_go_out_costs_what_it_costs_alone() -> None:
    goes = Route("oak", 0, 480, 700, 1, None, (stop("alder", 500), stop("birch", 610)))
    stays = Route("nobody", 0, 480, 700, 0, None, (stop("cedar", 500),))
    assert price(hand_week(), (stays, goes)) == price(hand_week(), (goes,))
    assert [out.route for out in outings(hand_week(), (stays, goes))] == [goes]


def test_what_leaving_a_job_out_costs_is_what_the_price_of_the_week_says() -> None:
    # alder: skip 300.00, its soft booking moved 9.00; birch and cedar: skip 300.00, a broken promise 1000.00 each
    week = hand_week()
    assert [undone_cents(week, job) for job in week.jobs] == [30_900, 130_000, 130_000]
    assert sum(undone_cents(week, job) for job in week.jobs) == price(week, ()).total
    unbooked = msgspec.structs.replace(week.jobs[0], booked=None)
    assert undone_cents(week, unbooked) == 30_000
