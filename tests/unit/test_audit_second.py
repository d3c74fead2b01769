"""The second format's rests within a service, second crews, reloads and weekly minutes: judged and priced by hand.

The rules are those of the interchange format's second page (rest within a service, assist, reload, weekly minutes);
the numbers are worked out in the comments.
"""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest

from scheduler.audit import audit
from scheduler.plan import Cost2, Plan, read_plan
from scheduler.price import price
from scheduler.week import Week, week_from_data

Data = dict[str, Any]
_SHIFTS = [{"day": day, "start": 420, "end": 900, "overtime": 60} for day in (0, 6, 7, 14)]
_CREW: Data = {
    "yard": "yard", "hands": 2, "skills": [], "vehicle": {"payload_kg": 60, "rack_mm": 5000, "boxes": 1},
    "shifts": _SHIFTS, "onboard": {}, "day_cents": 5_000, "minute_cents": 100, "overtime_minute_cents": 40,
    "km_cents": 75,
}  # fmt: skip
_JOB: Data = {
    "yard": None, "hands": 2, "weight_kg": 50, "box_mm": 4000, "boxes": 1, "skills": [], "equipment": {}, "parts": {},
    "ready_day": 0, "due_day": None, "late_cents": 0, "skip_cents": 30_000, "booked": None,
    "windows": [{"day": 0, "start": 480, "end": 900, "risk_cents": 0}],
}  # fmt: skip


def week_data() -> Data:
    """Two crews; alder (two hours on the hill, may be paused, a second crew for half an hour) and birch on the moor."""
    assist = {"minutes": 30, "from": 0, "to": 60, "hands": 1, "skills": []}
    return {
        "format": "week/2", "id": "by-hand", "start_date": "2027-03-15", "days": 15, "timezone": "America/Denver",
        "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", "hill", "moor")],
        "travel": {"minutes": [[0, 20, 30], [25, 0, 10], [35, 12, 0]],
                   "metres": [[0, 15_100, 30_000], [15_200, 0, 8_000], [30_100, 8_100, 0]]},
        "rest": {"after": 374, "length": 30, "earliest": 600, "latest": 780, "within": True},
        "reload": {"minutes": 15}, "yards": [{"id": "yard", "place": "yard"}],
        "crews": [_CREW | {"id": "oak", "weekly": {"minutes": 400, "cents": 50}},
                  _CREW | {"id": "elm", "weekly": None}],
        "helpers": [], "equipment": [], "stock": [],
        "jobs": [_JOB | {"id": "alder", "place": "hill", "minutes": 120, "pausable": True, "assist": assist},
                 _JOB | {"id": "birch", "place": "moor", "minutes": 60, "pausable": False, "assist": None}],
        "follows": [], "broken_cents": 100_000,
    }  # fmt: skip


# Oak leaves at 8:00, does alder from 10:00, rests in it from 11:00 to 11:30, and so ends it at 12:30; it drives 10
# minutes, does birch from 12:40 to 13:40 and is back 35 minutes later: 375 minutes out. It loads both at once only
# where its van carries 100 kg. Elm comes to the hill from 10:30 to 11:00, when oak begins to rest.
_OAK: Data = {
    "crew": "oak", "day": 0, "depart": 480, "return": 855, "helpers": 0, "rest": 660,
    "stops": [{"job": "alder", "start": 600, "end": 750}, {"job": "birch", "start": 760, "end": 820}],
}  # fmt: skip
_ELM: Data = {
    "crew": "elm", "day": 0, "depart": 600, "return": 685, "helpers": 0, "rest": None,
    "stops": [{"assist": "alder", "start": 630, "end": 660}],
}  # fmt: skip


def large(week: Data) -> Week:
    """Return the week with vans that carry both jobs at once."""
    for crew in week["crews"]:
        crew["vehicle"] = {"payload_kg": 100, "rack_mm": 5000, "boxes": 2}
    return week_from_data(week)


def plan_of(week: Week, *routes: Data, skipped: tuple[str, ...] = ()) -> Plan:
    """Return a plan of `routes` that states what it costs."""
    data: Data = {
        "format": "plan/2", "week": week.id, "engine": "hand", "seconds": 0, "routes": list(routes), "broken": [],
        "skipped": [{"job": job, "because": [{"code": "x", "detail": "x"}]} for job in skipped], "bound": None,
        "cost": dict.fromkeys(Cost2.__struct_fields__, 0),
    }  # fmt: skip
    plan = read_plan(json.dumps(data))
    return msgspec.structs.replace(plan, cost=price(week, plan.routes))


def broken(week: Week, plan: Plan) -> list[tuple[str, str, str | None]]:
    return [(b.rule, b.sentence, b.job) for b in audit(week, plan).broken_rules]


def test_a_day_with_a_rest_within_and_a_second_crew_keeps_every_rule_and_costs_what_it_should() -> None:
    week = large(week_data())
    plan = plan_of(week, _OAK, _ELM)
    assert broken(week, plan) == []
    # crews: 50.00 + 375 min × 1.00 and 50.00 + 85 min × 1.00                          = 560.00
    # travel: 15.1 + 8.0 + 30.1 = 53.2 km × 0.75 = 39.90; 15.1 + 15.2 = 30.3 km: 22.725 =  62.63
    assert plan.cost == Cost2(62_263, 56_000, 6_263, 0, 0, 0, 0, 0, 0, weekly=0)


def test_weekly_minutes_are_summed_over_each_seven_days_and_paid_past_the_crews_own_limit() -> None:
    week = large(week_data())
    lengths = {0: 250, 6: 250, 7: 450, 14: 100}
    routes = [
        _OAK | {"crew": crew, "day": day, "depart": 420, "return": 420 + n, "rest": None, "stops": _OAK["stops"][:1]}
        for crew in ("oak", "elm")
        for day, n in lengths.items()
    ]
    # Days 0 to 6: 250 + 250 − 400 = 100 min; days 7 to 13: 450 − 400 = 50; day 14: none. 150 min × 0.50 = 75.00.
    # Elm has no limit. Crews: eight days out at 50.00, and 2 × 1,050 min × 1.00; 30.3 km on each; birch skipped.
    assert plan_of(week, *routes).cost == Cost2(
        7_500 + 250_000 + 8 * 2_273 + 30_000, 40_000 + 210_000, 8 * 2_273, 0, 0, 0, 0, 0, 30_000, weekly=7_500
    )


def unassisted(**rest: Any) -> Data:
    week = week_data()
    week["jobs"][0]["assist"] = None
    week["rest"] |= rest
    return week


@pytest.mark.parametrize("at", [601, 660, 719])
def test_a_rest_that_begins_after_the_service_and_is_over_before_its_end_lengthens_it(at: int) -> None:
    week = large(unassisted())
    assert broken(week, plan_of(week, _OAK | {"rest": at})) == []


NOT_LONGER = "Crew oak on Mon Mar 15 has 150 minutes for alder, which takes 120."
NO_REST = (
    "Crew oak on Mon Mar 15 is out 375 minutes and needs a rest of 30 minutes, begun from 10:00 to 13:00, at a stop "
    "and uncut by work or driving; the one at {} is not so."
)


@pytest.mark.parametrize(
    ("at", "change", "sentence"),
    [
        (600, {}, NO_REST.format("10:00")),  # begins with the service
        (720, {}, NO_REST.format("12:00")),  # ends with it
        (660, {"within": False}, NO_REST.format("11:00")),
        (660, {"after": 375}, "Crew oak on Mon Mar 15 has a rest at 11:00 where none is due; take it out."),
    ],
)
def test_a_service_is_no_longer_for_a_rest_that_does_not_fall_within_it(at: int, change: Data, sentence: str) -> None:
    week = large(unassisted(**change))
    assert broken(week, plan_of(week, _OAK | {"rest": at})) == [
        ("service", NOT_LONGER, "alder"), ("rest", sentence, None),
    ]  # fmt: skip


def test_only_a_job_that_may_be_paused_is_longer_for_a_rest() -> None:
    data = unassisted()
    data["jobs"][0]["pausable"] = False
    week = large(data)
    assert [rule for rule, _, _ in broken(week, plan_of(week, _OAK))] == ["service", "rest"]


def test_a_rest_within_one_service_lengthens_that_one_alone() -> None:
    data = unassisted()
    data["jobs"][1]["pausable"] = True
    week = large(data)
    longer = [_OAK["stops"][0] | {"end": 720}, {"job": "birch", "start": 760, "end": 850}]
    assert broken(week, plan_of(week, _OAK | {"stops": longer, "return": 885, "rest": 770})) == []
    longer[0] = _OAK["stops"][0]
    found = broken(week, plan_of(week, _OAK | {"stops": longer, "return": 885, "rest": 770}))
    assert found == [("service", NOT_LONGER, "alder")]


# With a van for one job oak comes by the yard between the two: 25 minutes back, 15 there, 30 to the moor.
_RELOADED: Data = _OAK | {
    "return": 885, "rest": 720,
    "stops": [{"job": "alder", "start": 600, "end": 720}, {"reload": True, "start": 775, "end": 790},
              {"job": "birch", "start": 820, "end": 880}],
}  # fmt: skip


def reloaded(**stop: int) -> Data:
    """Return oak's day with a reload, changed so; back when birch is done and driven home from."""
    stops = [_RELOADED["stops"][0], _RELOADED["stops"][1] | stop, _RELOADED["stops"][2]]
    return _RELOADED | {"stops": stops, "return": 915}


def test_a_load_is_what_is_taken_on_at_once() -> None:
    week = week_from_data(unassisted())
    assert broken(week, plan_of(week, reloaded())) == []
    at_once = [_RELOADED["stops"][0], _RELOADED["stops"][2]]
    found = broken(week, plan_of(week, reloaded() | {"stops": at_once}))
    assert [rule for rule, _, _ in found] == ["payload", "boxes"]


def test_a_stop_that_cannot_be_reached_in_time_is_named_by_its_kind() -> None:
    week = week_from_data(unassisted())
    found = broken(week, plan_of(week, reloaded(start=744, end=759)))
    where = "Crew oak on Mon Mar 15 starts"
    assert ("travel", f"{where} the reload at 12:24 but can be there only at 12:25.", None) in found
    late = [_RELOADED["stops"][0], _RELOADED["stops"][1], {"job": "birch", "start": 819, "end": 879}]
    found = broken(week, plan_of(week, reloaded() | {"stops": late}))
    assert found == [("travel", f"{where} birch at 13:39 but can be there only at 13:40.", "birch")]
    week = large(week_data())
    found = broken(week, plan_of(week, _OAK, _ELM | {"depart": 611}))
    said = "Crew elm on Mon Mar 15 starts the assist of alder at 10:30 but can be there only at 10:31."
    assert found == [("travel", said, "alder")]


@pytest.mark.parametrize(
    ("form", "answer"), [("week/2", "plan/1"), ("week/1", "plan/2")], ids=["first for second", "second for first"]
)
def test_a_plan_of_the_other_format_is_no_answer(form: str, answer: str) -> None:
    week = large(week_data())
    plan = msgspec.structs.replace(plan_of(week, _OAK, _ELM), format=answer)
    week = msgspec.structs.replace(week, format=form)
    found = [(b.rule, b.sentence) for b in audit(week, plan).broken_rules if b.rule == "same_week"]
    wanted = {"week/1": "plan/1", "week/2": "plan/2"}[form]
    assert found == [("same_week", f"A {form} is answered by a {wanted}, not by a {answer}.")]
