"""One small week for each because: it is named, and undoing just its rule in the document lets the job be planned."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.skipped import CODES, promise_reasons, reasons
from scheduler.plan import Because, Plan
from scheduler.week import Week, week_from_data, with_names
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
    "kit_not_ready": (a_week({"ready_day": 1}), "only on Tue Mar 16; with its kit complete by Mon Mar 15 it could go"),
    "no_work_window": (
        a_week({"windows": [{"day": 1, "start": 480, "end": 900, "risk_cents": 0}]}),
        "Tue Mar 16 8:00–15:00, when no crew can take its 100 minutes; with a work window Mon Mar 15 8:20–10:00",
    ),
    "no_skills": (
        a_week({"skills": ["roof-mount", "masonry"]}),
        "No crew has masonry; with masonry among the skills of oak",
    ),
    "no_van": (a_week({"weight_kg": 260, "box_mm": 5_500}), "The van of oak has a rack for 5,000 mm"),
    "no_hands": (a_week({"hands": 3}), "and there are 0 helpers at yard yard on Mon Mar 15; with 1 more helper"),
    "ladder_out": (a_week({"equipment": {"ladder-24": 1}}), "with 1 more of ladder-24 it could go with oak on Mon"),
    "stock_out": (
        a_week(
            {"parts": {"anchor": 8}},
            stock=[{"id": "anchor", "yard": "yard", "on_hand": 3, "arrivals": [{"day": 1, "qty": 9}]}],
        ),
        "with 5 more of anchor it could go with oak on Mon Mar 15",
    ),
    "out_of_reach": (
        a_week({"place": "moor"}),
        "oak on Mon Mar 15 would be home at 13:00 at the earliest (100 minutes there, 100 of work and 100 back); "
        "its day ends at 11:00; with 120 minutes more at the end of the day of oak it could go",
    ),
    "other_yard": (a_week({"yard": "depot"}), "at yard depot, and oak is of yard; with its kit at yard yard it"),
}  # fmt: skip
IN_PLAN: dict[str, tuple[Week, str]] = {
    "ladder_out": (
        a_week(
            {"equipment": {"ladder-24": 1}},
            {**ELSEWHERE, "equipment": {"ladder-24": 2}},
            crews=OAKS,
            equipment=[{"id": "ladder-24", "yard": "yard", "count": [2, 0]}],
        ),
        "yard yard has 2, oak has 2 out, and it needs 1 of ladder-24; with 1 more of ladder-24 it could go with elm",
    ),
    "stock_out": (
        a_week(
            {"parts": {"anchor": 4}},
            {**ELSEWHERE, "parts": {"anchor": 6}},
            crews=OAKS,
            stock=[{"id": "anchor", "yard": "yard", "on_hand": 8, "arrivals": []}],
        ),
        "and 2 are left at yard yard by Mon Mar 15 (8 in all; birch takes 6); with 2 more of anchor",
    ),
    "no_helper": (
        a_week(
            {"hands": 3},
            {**ELSEWHERE, "hands": 3},
            crews=OAKS,
            helpers=[{"yard": "yard", "day": 0, "count": 1, "day_cents": 500}],
        ),
        "It needs 3 people, elm has 2, and too few are left of 1 helper at yard yard on Mon Mar 15: oak has 1 out; "
        "with 1 more",
    ),
    "follows": (
        a_week({}, {**ELSEWHERE, "ready_day": None}, follows=[
            {"first": "birch", "then": "alder", "min_days": 0, "max_days": None, "same_crew": False}]),
        "It follows birch, which is not planned; with that order given up it could go with oak on Mon Mar 15.",
    ),
    "van_full": (
        a_week({"minutes": 30, "boxes": 2}, {**ELSEWHERE, "minutes": 30, "boxes": 2}),
        "The van of oak is full on Mon Mar 15: with this job it would load 4 long boxes where it takes 3; with a van",
    ),
    # 5,000 for the day, 140 minutes at 100, 18 km at 100: 20,800, against 20,000 for leaving it out
    "dearer": (a_week({"skip_cents": 20_000}), "oak on Mon Mar 15, costs $8.00 more than letting it wait; nothing"),
    # the two are alike in all but their price: 3,000.00 against 900.00
    "no_room": (
        a_week({}, ELSEWHERE),
        "No room: it would push out birch (oak on Mon Mar 15), $2,100.00 worse; nothing cheaper was found with",
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
    assert [b.code for b in told] == ["no_hands", "no_skills"]  # a helper can be had
    for because in told:
        assert "at once" not in because.detail
        assert can_go(undone(week, "alder", [because.code]), "alder")


def test_a_crew_of_two_names_is_one_crew() -> None:
    """Of two crews one lacks the skill and the other the hands; both are called after their people."""
    crews = [{"id": "oak", "skills": []}, {"id": "elm", "hands": 1, "skills": ["masonry"]}]
    week = with_names(a_week({"skills": ["masonry"]}, crews=crews), {"oak": "Lea and Bo", "elm": "Max & Kim"})
    told = " ".join(b.detail for b in because_of(week))
    assert "It needs 2 people, the crew Max & Kim has 1" in told
    assert "The crew Lea and Bo lacks masonry" in told


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
    assert "with elm on Mon Mar 15, but only with the parts of birch (with oak on Mon Mar 15)" in because.detail
    assert is_planned(cheapest(dearer_to_skip(week, "alder", price_of(because) + 1)), "alder")


def test_a_job_that_two_crews_would_have_to_leave_their_parts() -> None:
    """As above, but it takes what both birch and cedar have, which go with two crews."""
    stock = [{"id": "anchor", "yard": "yard", "on_hand": 8, "arrivals": []}]
    crews = [{"id": "oak"}, {"id": "elm", "skills": ["masonry"], "day_cents": 5_100}, {"id": "fir", "day_cents": 4_900}]
    alder = {"parts": {"anchor": 8}, "skip_cents": 20_000, "skills": ["masonry"]}
    others = ({**ELSEWHERE, "id": name, "parts": {"anchor": 4}} for name in ("birch", "cedar"))
    week = a_week(alder, *others, crews=crews, stock=stock)
    (because,) = because_of(week)
    assert because.code == "no_room"
    parts = "the parts of birch (with oak on Mon Mar 15) and cedar (with fir on Mon Mar 15)"
    assert f"with elm on Mon Mar 15, but only with {parts}, which are worth more: $5,594.00" in because.detail
    assert is_planned(cheapest(dearer_to_skip(week, "alder", price_of(because) + 1)), "alder")


def test_all_that_is_short_is_told_together() -> None:
    """Two parts and two tools: one of them alone is of no use, so none is told alone."""
    needs = {"parts": {"anchor": 4, "lag": 12, "sealant": 2}, "equipment": {"ladder-24": 2, "scaffold": 1}}
    stock = [
        {"id": p, "yard": "yard", "on_hand": n, "arrivals": []} for p, n in (("anchor", 9), ("lag", 2), ("sealant", 1))
    ]
    week = a_week(needs, stock=stock, equipment=[{"id": "ladder-24", "yard": "yard", "count": [1, 0]}])
    told = because_of(week)
    assert [b.code for b in told] == ["ladder_out", "stock_out"]
    assert (
        "with 1 more of ladder-24, 1 more of scaffold, 10 more of lag and 1 more of sealant it could go"
        in told[0].detail
    )
    assert "It needs 12 of lag, and 2 are left" in told[1].detail
    assert "anchor" not in told[0].detail + told[1].detail


def test_what_comes_after_the_kit_is_told_with_it() -> None:
    """With its kit there, the only crew that could go would still lack the ladder that another has."""
    birch = {**ELSEWHERE, "equipment": {"ladder-24": 1}}
    pool = [{"id": "ladder-24", "yard": "yard", "count": [1, 0]}]
    week = a_week({"ready_day": 1, "equipment": {"ladder-24": 1}}, birch, crews=OAKS, equipment=pool)
    told = because_of(week)
    assert [b.code for b in told[:2]] == ["kit_not_ready", "ladder_out"]  # the others: oak's day longer
    assert "with its kit complete by Mon Mar 15 and 1 more of ladder-24 it could go with elm" in told[0].detail
    assert not any("at once" in b.detail for b in told)  # with birch planned otherwise the kit alone might do


def test_the_rest_is_named_where_it_is_what_binds() -> None:
    """The day is long enough and the window too: it is the rest that has no place."""
    shifts = [{"day": 0, "start": 480, "end": 960, "overtime": 0}]
    rest = {"after": 300, "length": 30, "earliest": 630, "latest": 690}
    windows = [{"day": 0, "start": 500, "end": 830, "risk_cents": 0}]
    (because,) = because_of(
        a_week({"minutes": 320, "windows": windows}, crews=[{"id": "oak", "shifts": shifts}], rest=rest)
    )
    assert because.code == "out_of_reach"
    assert because.detail.startswith("320 minutes leave no place for the rest that is due past 300 minutes out")


def test_the_end_of_a_shift_is_not_the_weather() -> None:
    """The window is open till 15:00 on Monday; oak goes home at 11:00."""
    (because,) = because_of(a_week({"minutes": 160}))
    assert because.code == "out_of_reach"
    assert "its day ends at 11:00; with 20 minutes more at the end of the day of oak" in because.detail


def test_both_prices_of_a_job_without_room() -> None:
    """Pushing birch out costs what birch is worth; with all planned again birch goes with elm, whose day costs more."""
    elm = {"id": "elm", "skills": [], "day_cents": 9_000}
    birch = {"id": "birch", "skip_cents": 60_000}
    week = a_week({"skills": ["roof-mount"], "skip_cents": 22_000}, birch, crews=[{"id": "oak"}, elm])
    (because,) = because_of(week)
    # pushed out: 60,000 less 22,000; planned again: elm's 24,800 for birch, less alder's 22,000
    assert because.detail == (
        "No room: it would push out birch (oak on Mon Mar 15), $380.00 worse; "
        "with everything planned again, at most $28.00."
    )
    assert is_planned(cheapest(dearer_to_skip(week, "alder", 2_801)), "alder")
    assert not is_planned(cheapest(dearer_to_skip(week, "alder", 2_799)), "alder")


def test_a_waiting_job_that_would_go_first_is_counted_in() -> None:
    """Two jobs lack the same part, and the dearer of them would take what is bought for the other."""
    part = {"parts": {"anchor": 4}, "minutes": 60}
    stock = [{"id": "anchor", "yard": "yard", "on_hand": 0, "arrivals": []}]
    week = a_week(part, {**part, "id": "birch", "skip_cents": 300_000}, crews=OAKS, stock=stock)
    (because,) = because_of(week)
    assert "with 8 more of anchor it could go with" in because.detail
    assert because.detail.endswith("birch counted in, which would go first.")


def test_all_jobs_that_would_go_first_are_named() -> None:
    """With masons in it oak's day has room for the two short jobs or the long one, and the two are worth more."""
    masonry = {"skills": ["masonry"]}
    short = {**masonry, "minutes": 50, "skip_cents": 80_000}
    week = a_week(masonry, {**short, "id": "birch"}, {**short, "id": "cedar"})
    (because,) = because_of(week)
    # alder alone takes oak's day at what the two take: 140 minutes; it saves 900.00 and they 1,600.00
    assert because.detail.endswith(
        "it could go with oak on Mon Mar 15, but birch and cedar, which wait for it too and save $700.00 more, "
        "would go first."
    )
    masons = undone(week, "birch", ["no_skills"])
    masons = undone(undone(masons, "cedar", ["no_skills"]), "alder", ["no_skills"])
    assert not is_planned(cheapest(masons), "alder")
    assert is_planned(cheapest(dearer_to_skip(masons, "alder", 70_001)), "alder")


def test_a_search_stopped_too_soon_says_so() -> None:
    week = a_week({})
    (because,) = reasons(build(week), {})[0]
    assert because.code == "not_tried"
    assert "with oak on Mon Mar 15 it would save $692.00" in because.detail  # 900.00 less 208.00


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
         FIRM + "oak does not work on Mon Mar 15."),
        (a_week({"booked": BOOKED, "ready_day": 1}, crews=[{"id": "oak"}, TUESDAY]),
         FIRM + "its kit is complete only on Tue Mar 16; with its kit complete by Mon Mar 15 it could be kept"),
        (a_week({"booked": BOOKED, "windows": [{"day": 0, "start": 505, "end": 900, "risk_cents": 0}]}),
         FIRM + "no work window (customer, daylight, weather, crews at work) holds 8:20–10:00 on Mon Mar 15."),
        (a_week({"booked": BOOKED, "skills": ["masonry"]}), 
         FIRM + "no crew has masonry; with masonry among the skills of oak"),
        (a_week({"booked": {**BOOKED, "start": 490}}),
         "oak on Mon Mar 15 cannot be there in time for 8:10 (20 minutes there, 100 of work and 20 back)"),
        (a_week({"booked": ON_DAY}, crews=[TUESDAY, {"id": "oak", "shifts": []}]), DAY + "no crew works that day."),
        (a_week({"booked": ON_DAY, "hands": 3}, crews=[{"id": "oak"}, {"id": "elm", "hands": 1}]),
         DAY + "it needs 3 people, oak has 2, and there are 0 helpers at yard yard on Mon Mar 15; with 1 more helper"),
        (a_week({"booked": ON_DAY}, ELSEWHERE), DAY + "no room: it would push out birch, and keeping it costs"),
        (a_week({"booked": ON_DAY, "skip_cents": 0}, broken_cents=20_000),
         DAY + "keeping it costs $8.00 more than changing it (oak on Mon Mar 15), with everything planned again no "
         "less, as far as was found."),
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
    price = "keeping it costs $2,392.00 more, with everything planned again no less, as far as was found"
    assert told == FIRM + f"no room: it would push out birch, and {price}."
    cheaper = with_job(week, "birch", lambda j: replace(j, skip_cents=300_000 - 239_201))
    assert not cheapest(cheaper).broken


def test_a_skipped_job_tells_its_broken_promise_too() -> None:
    told = because_of(a_week({"booked": ON_DAY, "skills": ["masonry"]}))
    assert [b.code for b in told] == ["no_skills", "promise_broken"]
    assert (
        told[-1].detail == DAY + "no crew has masonry; with masonry among the skills of oak it could be kept with oak."
    )


def test_every_code_has_a_sentence_for_the_legend() -> None:
    second = {"no_second_crew", "second_load", "rest_within", "over_weekly"}  # see `test_second_reasons`
    assert {*ALONE, *IN_PLAN, *second, "no_crew", "not_tried", "promise_broken"} == set(CODES)
    assert all(sentence.endswith(".") for sentence in CODES.values())
