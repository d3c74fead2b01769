"""One small week for each because: it is named, and undoing just its rule in the document lets the job be planned."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.skipped import CODES, promise_reasons, reasons
from scheduler.plan import Because, Plan
from scheduler.week import Week, week_from_data
from tests.brute import cheapest
from tests.undo import PRICES, can_go, dearer_to_skip, is_planned, job_of, price_of, undone, with_job

DAYS = 2
JOB: dict[str, Any] = {
    "place": "hill", "yard": None, "minutes": 100, "hands": 2, "weight_kg": 50, "box_mm": 4000, "boxes": 1,
    "skills": [], "equipment": {}, "parts": {}, "ready_day": 0, "due_day": None, "late_cents": 0, "skip_cents": 90_000,
    "booked": None, "windows": [{"day": d, "start": 480, "end": 900, "risk_cents": 0} for d in range(DAYS)],
}  # fmt: skip
CREW: dict[str, Any] = {
    "yard": "yard", "hands": 2, "skills": ["roof-mount"], "onboard": {}, "day_cents": 5_000, "minute_cents": 100,
    "overtime_minute_cents": 40, "km_cents": 100, "vehicle": {"payload_kg": 200, "rack_mm": 5000, "boxes": 3},
    "shifts": [{"day": 0, "start": 480, "end": 660, "overtime": 0}],
}  # fmt: skip
BOOKED = {
    "crew": "oak", "day": 0, "start": 500, "hold": "firm", "move_cents": 0, "retime_cents": 0, "recrew_cents": 0,
}  # fmt: skip


def a_week(*jobs: dict[str, Any], crews: list[dict[str, Any]] | None = None, **more: Any) -> Week:
    """Monday's only crew, oak, has three hours; the hill is 20 minutes away, so one job of 100 minutes fits."""
    return week_from_data({
        "format": "week/1", "id": "by-hand", "start_date": "2027-03-15", "days": DAYS, "timezone": "America/Denver",
        "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", "hill", "moor")],
        "travel": {"minutes": [[0, 20, 100], [20, 0, 90], [100, 90, 0]],
                   "metres": [[0, 9_000, 60_000], [9_000, 0, 50_000], [60_000, 50_000, 0]]},
        "rest": None, "yards": [{"id": y, "place": "yard"} for y in ("yard", "depot")],
        "crews": [{**CREW, "id": f"crew-{n}", **crew} for n, crew in enumerate(crews or [{"id": "oak"}])],
        "helpers": [], "equipment": [], "stock": [], "follows": [], "broken_cents": 40_000,
        "jobs": [{**JOB, "id": "alder", **jobs[0]}, *({**JOB, **job} for job in jobs[1:])], **more,
    })  # fmt: skip


def routes_of(model: Model, plan: Plan) -> dict[int, list[int]]:
    crew_days = {(model.week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
    number = {job.id: n for n, job in enumerate(model.week.jobs)}
    return {crew_days[r.crew, r.day]: [number[s.job] for s in r.stops] for r in plan.routes}


def because_of(week: Week, job: str = "alder") -> tuple[Because, ...]:
    model = build(week)
    return reasons(model, routes_of(model, cheapest(week)))[week.jobs.index(job_of(week, job))]


OAKS = [{"id": "oak"}, {"id": "elm", "day_cents": 5_100}]
ELSEWHERE = {"id": "birch", "skip_cents": 300_000}
ALONE: dict[str, tuple[Week, str]] = {
    "kit_not_ready": (a_week({"ready_day": 1}), "only on Tue Mar 16, too late: a crew could do it on Mon Mar 15"),
    "no_work_window": (
        a_week({"windows": [{"day": 1, "start": 480, "end": 900, "risk_cents": 0}]}),
        "Tue Mar 16 8:00–15:00, when no crew can take its 100 minutes; one on Mon Mar 15 would do",
    ),
    "no_skills": (a_week({"skills": ["roof-mount", "masonry"]}), "has masonry"),
    "no_van": (a_week({"weight_kg": 260, "box_mm": 5_500}), "oak, the nearest to it, has a rack for 5,000 mm"),
    "no_hands": (a_week({"hands": 3}), "It needs 3 people; the most there can be is 2, oak with 0 helpers on Mon"),
    "ladder_out": (a_week({"equipment": {"ladder-24": 1}}), "with 1 more of ladder-24 in yard yard on Mon Mar 15"),
    "stock_out": (
        a_week(
            {"parts": {"anchor": 8}},
            stock=[{"id": "anchor", "yard": "yard", "on_hand": 3, "arrivals": [{"day": 1, "qty": 9}]}],
        ),
        "5 more of anchor (it needs 8) would do",
    ),
    "out_of_reach": (
        a_week({"place": "moor"}),
        "oak on Mon Mar 15 would be home at 13:00 at the earliest (100 minutes there, 100 of work and 100 back); "
        "its day ends at 11:00",
    ),
    "other_yard": (a_week({"yard": "depot"}), "kit lies at yard depot, whose crews cannot do it; oak of yard could"),
}  # fmt: skip
IN_PLAN: dict[str, tuple[Week, str]] = {
    "ladder_out": (
        a_week(
            {"equipment": {"ladder-24": 1}},
            {**ELSEWHERE, "equipment": {"ladder-24": 2}},
            crews=OAKS,
            equipment=[{"id": "ladder-24", "yard": "yard", "count": [2, 0]}],
        ),
        "ladder-24 is out on Mon Mar 15: yard yard has 2, oak has 2; with 1 more it could go with elm",
    ),
    "stock_out": (
        a_week(
            {"parts": {"anchor": 4}},
            {**ELSEWHERE, "parts": {"anchor": 6}},
            crews=OAKS,
            stock=[{"id": "anchor", "yard": "yard", "on_hand": 8, "arrivals": []}],
        ),
        "It needs 4 of anchor, and 2 are left at yard yard by Mon Mar 15 (8 in all; birch takes 6); with 2 more",
    ),
    "no_helper": (
        a_week(
            {"hands": 3},
            {**ELSEWHERE, "hands": 3},
            crews=OAKS,
            helpers=[{"yard": "yard", "day": 0, "count": 1, "day_cents": 500}],
        ),
        "It needs 3 people, elm has 2, and of 1 helper at yard yard on Mon Mar 15 oak has 1; with 1 more it could go",
    ),
    "follows": (
        a_week({}, {**ELSEWHERE, "ready_day": None}, follows=[
            {"first": "birch", "then": "alder", "min_days": 0, "max_days": None, "same_crew": False}]),
        "It follows birch, which is not planned.",
    ),
    "van_full": (
        a_week({"minutes": 30, "boxes": 2}, {**ELSEWHERE, "minutes": 30, "boxes": 2}),
        "The van of oak is full on Mon Mar 15: with this job it would load 4 long boxes where it takes 3.",
    ),
    # 5,000 for the day, 140 minutes at 100, 18 km at 100: 20,800, against 20,000 for leaving it out
    "dearer": (a_week({"skip_cents": 20_000}), "oak on Mon Mar 15, costs 8.00 more than leaving it out."),
    # the two are alike in all but their price: 3,000.00 against 900.00
    "no_room": (
        a_week({}, ELSEWHERE),
        "No room: it would push out birch (oak on Mon Mar 15), 2,100.00 worse.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("code", ALONE)
def test_a_rule_that_keeps_the_job_off_whatever_else_is_planned(code: str) -> None:
    week, words = ALONE[code]
    (because,) = because_of(week)
    assert because.code == code
    assert words in because.detail
    assert not can_go(week, "alder")
    assert is_planned(cheapest(undone(week, "alder", [code])), "alder")


@pytest.mark.parametrize("code", IN_PLAN)
def test_a_rule_that_keeps_the_job_out_of_this_plan(code: str) -> None:
    week, words = IN_PLAN[code]
    (because,) = because_of(week)
    assert because.code == code
    assert words in because.detail
    if code not in PRICES:
        assert is_planned(cheapest(undone(week, "alder", [code])), "alder")
        return
    price = price_of(because)
    assert not is_planned(cheapest(dearer_to_skip(week, "alder", price - 1)), "alder")
    assert is_planned(cheapest(dearer_to_skip(week, "alder", price + 1)), "alder")


def test_no_crew_at_all() -> None:
    (because,) = because_of(a_week({}, crews=[{"id": "oak", "shifts": []}]))
    assert because.code == "no_crew"


def test_either_of_two_rules_undone_frees_the_job() -> None:
    """Of two crews one lacks the skill and the other the hands."""
    week = a_week(
        {"skills": ["masonry"]}, crews=[{"id": "oak"}, {"id": "elm", "skills": ["masonry"], "hands": 1}]
    )  # fmt: skip
    told = because_of(week)
    assert [b.code for b in told] == ["no_skills", "no_hands"]
    for because in told:
        assert "at once" not in because.detail
        assert can_go(undone(week, "alder", [because.code]), "alder")


def test_two_rules_at_once() -> None:
    week = a_week({"skills": ["masonry"], "hands": 3})
    told = because_of(week)
    assert [b.code for b in told] == ["no_skills", "no_hands"]
    assert told[-1].detail.endswith("All of these stand in the way at once: undoing one is not enough.")
    assert not any(can_go(undone(week, "alder", [b.code]), "alder") for b in told)
    assert can_go(undone(week, "alder", [b.code for b in told]), "alder")


def test_a_job_that_another_crew_would_have_to_leave_its_parts() -> None:
    """Elm is free, but more anchors alone would not pay for its day; birch's are there, and birch is dearer."""
    stock = [{"id": "anchor", "yard": "yard", "on_hand": 8, "arrivals": []}]
    crews = [{"id": "oak"}, {"id": "elm", "skills": ["masonry"], "day_cents": 5_100}]
    alder = {"parts": {"anchor": 4}, "skip_cents": 20_000, "skills": ["masonry"]}
    week = a_week(alder, {**ELSEWHERE, "parts": {"anchor": 6}}, crews=crews, stock=stock)
    (because,) = because_of(week)
    assert because.code == "no_room"
    assert "with elm on Mon Mar 15, but only with the parts of birch (oak on Mon Mar 15)" in because.detail
    assert is_planned(cheapest(dearer_to_skip(week, "alder", price_of(because) + 1)), "alder")


def test_a_search_stopped_too_soon_says_so() -> None:
    week = a_week({})
    (because,) = reasons(build(week), {})[0]
    assert because.code == "not_tried"
    assert "with oak on Mon Mar 15 it would save 692.00" in because.detail  # 900.00 less 208.00


def promise(week: Week, job: str = "alder") -> str:
    model = build(week)
    plan = cheapest(week)
    found = promise_reasons(model, routes_of(model, plan))
    assert [week.jobs[j].id for j in found] == list(plan.broken)
    return found[week.jobs.index(job_of(week, job))].detail


FIRM = "The firm booking of alder (oak on Mon Mar 15, 8:20) is not kept: "
DAY = "The booking of alder for Mon Mar 15 is not kept: "
ON_DAY = {**BOOKED, "hold": "day"}
TUESDAY = {"id": "elm", "shifts": [{"day": 1, "start": 480, "end": 660, "overtime": 0}]}


@pytest.mark.parametrize(
    ("week", "words"),
    [
        (a_week({"booked": BOOKED}, crews=[{"id": "oak", "shifts": []}, TUESDAY]),
         FIRM + "oak does not work that day."),
        (a_week({"booked": BOOKED, "ready_day": 1}, crews=[{"id": "oak"}, TUESDAY]),
         FIRM + "its kit is complete only on Tue Mar 16."),
        (a_week({"booked": BOOKED, "windows": [{"day": 0, "start": 505, "end": 900, "risk_cents": 0}]}),
         FIRM + "customer, daylight and weather leave no work window that holds 8:20–10:00 that day."),
        (a_week({"booked": BOOKED, "skills": ["masonry"]}), FIRM + "oak lacks masonry."),
        (a_week({"booked": {**BOOKED, "start": 490}}),
         "oak on Mon Mar 15 is there at 8:20 at the earliest, 10 minutes too late for 8:10."),
        (a_week({"booked": ON_DAY}, crews=[TUESDAY, {"id": "oak", "shifts": []}]), DAY + "no crew works that day."),
        (a_week({"booked": ON_DAY, "hands": 3}, crews=[{"id": "oak"}, {"id": "elm", "hands": 1}]),
         DAY + "no crew that works that day can do it, and as to the nearest to it, it needs 3 people"),
        (a_week({"booked": ON_DAY}, ELSEWHERE), DAY + "no room: it would push out birch, and keeping it costs"),
        (a_week({"booked": ON_DAY, "skip_cents": 0}, broken_cents=20_000),
         DAY + "keeping it costs 8.00 more than changing it (oak on Mon Mar 15)."),
    ],
)  # fmt: skip
def test_a_broken_promise_by_name_with_its_reason(week: Week, words: str) -> None:
    assert words in promise(week)


def test_a_firm_booking_whose_hours_a_dearer_job_has() -> None:
    """Oak's morning goes to birch; alder is done on Tuesday, and its firm booking is broken."""
    both = {"shifts": [{"day": d, "start": 480, "end": 660, "overtime": 0} for d in range(DAYS)]}
    birch = {**ELSEWHERE, "windows": [{"day": 0, "start": 480, "end": 900, "risk_cents": 0}]}
    week = a_week({"booked": BOOKED}, birch, crews=[{"id": "oak", **both}])
    assert is_planned(cheapest(week), "alder")
    told = promise(week)
    # kept: 400.00 for breaking it and Tuesday's 208.00 saved, birch's 3,000.00 lost, and birch's 208.00 become alder's
    assert told == FIRM + "no room: it would push out birch, and keeping it costs 2,392.00 more."
    cheaper = with_job(week, "birch", lambda j: replace(j, skip_cents=300_000 - 239_201))
    assert not cheapest(cheaper).broken


def test_a_skipped_job_tells_its_broken_promise_too() -> None:
    told = because_of(a_week({"booked": ON_DAY, "skills": ["masonry"]}))
    assert [b.code for b in told] == ["no_skills", "promise_broken"]
    assert told[-1].detail == DAY + "oak lacks masonry."


def test_every_code_has_a_sentence_for_the_legend() -> None:
    assert {*ALONE, *IN_PLAN, "no_crew", "no_second_crew", "not_tried", "promise_broken"} == set(CODES)
    assert all(sentence.endswith(".") for sentence in CODES.values())
