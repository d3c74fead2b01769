"""What the auditor says of plans made by hand, rule by rule, and that no plan, however senseless, stops it."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from scheduler.audit import RULES, audit
from scheduler.judged import Breach
from scheduler.plan import read_plan
from scheduler.price import price
from scheduler.week import week_from_data

JOB: dict[str, Any] = {
    "place": "hill", "yard": "yard", "minutes": 60, "hands": 2, "weight_kg": 50, "box_mm": 4000, "boxes": 1,
    "skills": ["masonry"], "equipment": {"ladder-24": 2}, "parts": {"anchor-1/2": 4}, "ready_day": 0, "due_day": None,
    "late_cents": 0, "skip_cents": 30_000, "booked": None,
    "windows": [{"day": d, "start": 480, "end": 900, "risk_cents": 0} for d in (0, 1)],
}  # fmt: skip
CREW: dict[str, Any] = {
    "yard": "yard", "hands": 2, "skills": ["masonry"], "vehicle": {"payload_kg": 100, "rack_mm": 5000, "boxes": 2},
    "shifts": [{"day": d, "start": 420, "end": 960, "overtime": 30} for d in (0, 1)], "onboard": {"ladder-24": 1},
    "day_cents": 5_000, "minute_cents": 100, "overtime_minute_cents": 40, "km_cents": 75,
}  # fmt: skip
BOOKED = {"crew": "oak", "day": 0, "start": 500, "hold": "firm", "move_cents": 0, "retime_cents": 0, "recrew_cents": 0}
WEEK = {
    "format": "week/1", "id": "by-hand", "start_date": "2027-03-15", "days": 2, "timezone": "America/Denver",
    "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", "hill", "moor")],
    "travel": {"minutes": [[0, 20, 30], [25, 0, 10], [35, 12, 0]], "metres": [[0, 1, 1], [1, 0, 1], [1, 1, 0]]},
    "rest": {"after": 180, "length": 30, "earliest": 540, "latest": 720}, "yards": [{"id": "yard", "place": "yard"}],
    "crews": [CREW | {"id": "oak"}, CREW | {"id": "elm", "skills": []}],
    "helpers": [{"yard": "yard", "day": 0, "count": 1, "day_cents": 18_000}],
    "equipment": [{"id": "ladder-24", "yard": "yard", "count": [1, 1]}],
    "stock": [{"id": "anchor-1/2", "yard": "yard", "on_hand": 6, "arrivals": [{"day": 1, "qty": 2}]}],
    "jobs": [JOB | {"id": "alder", "booked": BOOKED}, JOB | {"id": "birch", "place": "moor", "ready_day": 1},
             JOB | {"id": "cedar", "skills": []}, JOB | {"id": "dogwood", "ready_day": None}],
    "follows": [{"first": "alder", "then": "birch", "min_days": 1, "max_days": 1, "same_crew": True}],
    "broken_cents": 100_000,
}  # fmt: skip
# Day 0: yard 480 → hill 500–560 → yard 585. Day 1: yard 470 → moor 500–560, rest 560–590 there → yard 655.
PLAN: dict[str, Any] = {
    "format": "plan/1", "week": "by-hand", "engine": "hand", "seconds": 0,
    "routes": [
        {"crew": "oak", "day": 0, "depart": 480, "return": 585, "helpers": 0, "rest": None,
         "stops": [{"job": "alder", "start": 500, "end": 560}]},
        {"crew": "oak", "day": 1, "depart": 470, "return": 655, "helpers": 0, "rest": 560,
         "stops": [{"job": "birch", "start": 500, "end": 560}]},
    ],
    "skipped": [{"job": j, "because": [{"code": "kit", "detail": "not complete"}]} for j in ("cedar", "dogwood")],
    "broken": [], "bound": None,
    # crews 2 × 50.00 + (105 + 185) × 1.00; travel 2 × round(2 m); skipped 2 × 300.00
    "cost": {"total": 99_000, "crews": 39_000, "travel": 0, "overtime": 0, "helpers": 0, "risk": 0, "late": 0,
             "changes": 0, "skipped": 60_000},
}  # fmt: skip
Edit = Callable[[Any, Any], object]


def breaches_of(edit: Edit, restate: bool = True) -> tuple[Breach, ...]:
    """Edit week and plan as plain data, restate the cost unless told otherwise, and return what the auditor finds."""
    week_data, plan_data = msgspec.json.decode(msgspec.json.encode((WEEK, PLAN)))
    edit(week_data, plan_data)
    week, plan = week_from_data(week_data), read_plan(json.dumps(plan_data))
    if restate:
        plan = msgspec.structs.replace(plan, cost=price(week, plan.routes))
    return audit(week, plan).broken_rules


def verdict_on(edit: Edit, restate: bool = True) -> list[tuple[str, str]]:
    """Return (rule, sentence) of what `breaches_of` returns."""
    return [(b.rule, b.sentence) for b in breaches_of(edit, restate)]


def test_the_plan_made_by_hand_keeps_every_rule_and_states_its_cost_rightly() -> None:
    verdict = audit(week_from_data(WEEK), read_plan(json.dumps(PLAN)))
    assert verdict.broken_rules == ()
    assert verdict.ok


MON, TUE = "Crew oak on Mon Mar 15", "Crew oak on Tue Mar 16"
REST = f"{TUE} is out 185 minutes and needs a rest of 30 minutes, begun from 9:00 to 12:00, at a stop and uncut by work"


def set_hours(w: Any, *windows: tuple[int, int]) -> None:
    """Give alder these work windows on its first day, besides those of the second."""
    later = w["jobs"][0]["windows"][1:]
    w["jobs"][0]["windows"] = [{"day": 0, "start": a, "end": b, "risk_cents": 0} for a, b in windows] + later


def keep_alders_kit_elsewhere(w: Any, p: Any) -> None:
    w["yards"].append({"id": "annex", "place": "moor"})
    w["jobs"][0]["yard"] = "annex"


def send_a_crew_that_nobody_knows(w: Any, p: Any) -> None:
    p["routes"].append(p["routes"][0] | {"crew": "pine", "stops": [{"job": "cedar", "start": 500, "end": 560}]})
    p["skipped"].pop(0)


def give_the_second_day_to_elm(w: Any, p: Any) -> None:
    w["crews"][1]["skills"] = ["masonry"]
    p["routes"][1].update(crew="elm")


def follow_by_another_crew(w: Any, p: Any) -> None:
    give_the_second_day_to_elm(w, p)
    w["follows"][0].update(same_crew=False)


def both_on_monday(w: Any, p: Any) -> None:
    """Birch on Monday by elm, whatever it needs at hand; it need not be the same crew."""
    give_the_second_day_to_elm(w, p)
    p["routes"][1].update(day=0)
    w["jobs"][1]["ready_day"] = 0
    w["equipment"][0].update(count=[2, 2])
    w["stock"][0].update(on_hand=8)
    w["follows"][0].update(min_days=0, max_days=0, same_crew=False)


def both_on_one_route(w: Any, p: Any, stops: Any, depart: int, back: int) -> None:
    """Alder and birch on oak's Monday, their stops as given; no rest is due and no booking stands."""
    w["rest"] = w["jobs"][0]["booked"] = None
    w["jobs"][1]["ready_day"] = 0
    w["stock"][0].update(on_hand=8)
    w["follows"][0].update(min_days=0, max_days=None)
    made = [{"job": job, "start": start, "end": start + 60} for job, start in stops]
    p["routes"] = [p["routes"][0] | {"depart": depart, "return": back, "stops": made}]


def birch_before_alder(w: Any, p: Any) -> None:
    # yard 470 → 30 → moor 500–560 → 12 → hill 572–632 → 25 → yard 657
    both_on_one_route(w, p, [("birch", 500), ("alder", 572)], 470, 657)


def birch_too_soon_after_alder(w: Any, p: Any) -> None:
    # yard 480 → 20 → hill 500–560 → 10 → moor: not before 570
    both_on_one_route(w, p, [("alder", 500), ("birch", 569)], 480, 664)


def back_too_soon_from_birch(w: Any, p: Any) -> None:
    # yard 480 → 20 → hill 500–560 → 10 → moor 570–630 → 35 → yard: not before 665
    both_on_one_route(w, p, [("alder", 500), ("birch", 570)], 480, 664)


Where = tuple[str | None, int | None, str | None]  # crew, day, job
BROKEN: list[tuple[str, Edit, Where, str]] = [
    ("same_week", lambda w, p: p.update(week="last"), (None, None, None),
     'The plan is for week "last", not for "by-hand"; plan this week anew.'),
    ("known", lambda w, p: p["skipped"].append(p["skipped"][0] | {"job": "x"}), (None, None, "x"),
     'No job of this week is called "x"; take it out of the plan.'),
    ("known", send_a_crew_that_nobody_knows, ("pine", 0, None),
     'No crew of this week is called "pine"; take the route out or give it to another crew.'),
    ("once", lambda w, p: p["skipped"].pop(), (None, None, "dogwood"),
     "Job dogwood is neither on a route nor in the waiting pile; put it in one of them."),
    ("once", lambda w, p: p["skipped"].append(p["skipped"][0] | {"job": "alder"}), (None, None, "alder"),
     "Job alder stands in 2 places, 1 on routes and 1 in the waiting pile; leave it in one."),
    ("shift", lambda w, p: p["routes"][0].update(depart=419, **{"return": 585}), ("oak", 0, None),
     f"{MON} leaves at 6:59, before its shift starts at 7:00."),
    ("shift", lambda w, p: w["crews"][0]["shifts"][0].update(end=554), ("oak", 0, None),
     f"{MON} is back at 9:45, after 9:44, the end of its shift and overtime."),
    ("shift", lambda w, p: p["routes"].append(p["routes"][0] | {"crew": "elm", "stops": []}), ("elm", 0, None),
     "Crew elm on Mon Mar 15 goes out without a stop; take the route out."),
    ("shift", lambda w, p: w["crews"][0]["shifts"].pop(1), ("oak", 1, None),
     f"{TUE} does not work; move its jobs to another day or crew."),
    ("travel", lambda w, p: p["routes"][0].update(depart=481), ("oak", 0, "alder"),
     f"{MON} starts alder at 8:20 but can be there only at 8:21."),
    ("travel", birch_too_soon_after_alder, ("oak", 0, "birch"),
     f"{MON} starts birch at 9:29 but can be there only at 9:30."),
    ("travel", back_too_soon_from_birch, ("oak", 0, None), f"{MON} is back at 11:04 but can be only at 11:05."),
    ("travel", lambda w, p: p["routes"][0].update({"return": 584}), ("oak", 0, None),
     f"{MON} is back at 9:44 but can be only at 9:45."),
    ("service", lambda w, p: p["routes"][0]["stops"][0].update(end=559), ("oak", 0, "alder"),
     f"{MON} has 59 minutes for alder, which takes 60."),
    ("window", lambda w, p: set_hours(w, (480, 559)), ("oak", 0, "alder"),
     f"{MON} does alder from 8:20 to 9:20, outside its work windows (8:00–9:19)."),
    ("window", lambda w, p: set_hours(w, (480, 559), (501, 900)), ("oak", 0, "alder"),
     f"{MON} does alder from 8:20 to 9:20, outside its work windows (8:00–9:19, 8:21–15:00)."),
    ("window", lambda w, p: set_hours(w), ("oak", 0, "alder"),
     f"{MON} does alder from 8:20 to 9:20, a day without a work window for it."),
    ("kit", lambda w, p: w["jobs"][0].update(ready_day=1), ("oak", 0, "alder"),
     f"{MON} has alder, whose kit is complete only on Tue Mar 16."),
    ("kit", lambda w, p: w["jobs"][0].update(ready_day=None), ("oak", 0, "alder"),
     f"{MON} has alder, whose kit is not complete this week."),
    ("skills", lambda w, p: w["jobs"][0]["skills"].append("wiring"), ("oak", 0, "alder"),
     f"{MON} lacks wiring for alder."),
    ("skills", lambda w, p: w["jobs"][0].update(skills=["wiring", "masonry", "roofs"]), ("oak", 0, "alder"),
     f"{MON} lacks wiring, roofs for alder."),
    ("yard", keep_alders_kit_elsewhere, ("oak", 0, "alder"),
     f"{MON} starts from yard yard, but the kit of alder lies at annex."),
    ("hands", lambda w, p: w["jobs"][0].update(hands=3), ("oak", 0, "alder"),
     f"{MON} has 2 people, helpers counted, and alder needs 3."),
    ("helpers", lambda w, p: p["routes"][0].update(helpers=2), (None, 0, None),
     "Yard yard on Mon Mar 15 sends out 2 helpers and has 1."),
    ("helpers", lambda w, p: p["routes"][1].update(helpers=1), (None, 1, None),
     "Yard yard on Tue Mar 16 sends out 1 helper and has 0."),
    ("payload", lambda w, p: w["jobs"][0].update(weight_kg=101), ("oak", 0, None),
     f"{MON} loads 101 kg on a vehicle for 100."),
    ("boxes", lambda w, p: w["jobs"][0].update(boxes=3), ("oak", 0, None),
     f"{MON} loads 3 long boxes on a vehicle for 2."),
    ("rack", lambda w, p: w["jobs"][0].update(box_mm=5001), ("oak", 0, "alder"),
     f"{MON} has a rack for 5000 mm, and the box of alder is 5001 mm long."),
    ("equipment", lambda w, p: w["equipment"][0].update(count=[0, 1]), (None, 0, None),
     "Yard yard on Mon Mar 15 sends out 1 of ladder-24 and has 0."),
    ("equipment", lambda w, p: w["jobs"][1]["equipment"].update(scaffold=1), (None, 1, None),
     "Yard yard on Tue Mar 16 sends out 1 of scaffold and has 0."),
    ("stock", lambda w, p: w["stock"][0].update(on_hand=5), (None, 1, None),
     "Yard yard has used 8 of anchor-1/2 by Tue Mar 16, and only 7 will have been there."),
    ("stock", lambda w, p: w["jobs"][1]["parts"].update(shim=1), (None, 1, None),
     "Yard yard has used 1 of shim by Tue Mar 16, and only 0 will have been there."),
    ("booking", lambda w, p: w["jobs"][0]["booked"].update(start=501), (None, 0, "alder"),
     "The firm booking of alder is not kept and not listed as broken; put it into the list."),
    ("booking", lambda w, p: w["jobs"][0]["booked"].update(hold="day", day=1), (None, 1, "alder"),
     "The day booking of alder is not kept and not listed as broken; put it into the list."),
    ("booking", lambda w, p: p["broken"].append("alder"), (None, 0, "alder"),
     "The firm booking of alder is kept but listed as broken; take it out of the list."),
    ("booking", lambda w, p: p["broken"].append("cedar"), (None, None, "cedar"),
     '"cedar" is listed as a broken booking but has no firm or day booking; take it out of the list.'),
    ("follows", lambda w, p: w["follows"][0].update(min_days=2, max_days=3), ("oak", 1, "birch"),
     "Job birch is to follow alder, at least 2 days later, and they are planned on Mon Mar 15 and Tue Mar 16."),
    ("follows", lambda w, p: w["follows"][0].update(min_days=0, max_days=0), ("oak", 1, "birch"),
     "Job birch is to follow alder, at most 0 days later, and they are planned on Mon Mar 15 and Tue Mar 16."),
    ("follows", lambda w, p: w["follows"][0].update(first="cedar"), ("oak", 1, "birch"),
     "Job birch is to follow cedar, which is not planned this week."),
    ("follows", give_the_second_day_to_elm, ("elm", 1, "birch"),
     "Job birch is to follow alder, with the same crew, and oak does the one, elm the other."),
    ("follows", both_on_monday, ("elm", 0, "birch"),
     "Job birch is to follow alder, on the same day only with the same crew, and oak does the one, elm the other."),
    ("follows", birch_before_alder, ("oak", 0, "birch"),
     "Job birch is to follow alder, but starts at 8:20, before that ends at 10:32."),
    ("rest", lambda w, p: p["routes"][1].update(rest=None), ("oak", 1, None), f"{REST} or driving; none is planned."),
    ("rest", lambda w, p: p["routes"][1].update(rest=559), ("oak", 1, None),  # the service ends at 560
     f"{REST} or driving; the one at 9:19 is not so."),
    ("rest", lambda w, p: p["routes"][1].update(rest=591), ("oak", 1, None),  # 591 + 30 + 35 > 655
     f"{REST} or driving; the one at 9:51 is not so."),
    ("rest", lambda w, p: p["routes"][0].update(rest=560), ("oak", 0, None),
     f"{MON} has a rest at 9:20 where none is due; take it out."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "edit", "where", "says"), BROKEN, ids=[f"{rule}-{n}" for n, (rule, *_) in enumerate(BROKEN)]
)
def test_one_rule_broken_gives_one_breach_that_says_so_and_where(
    rule: str, edit: Edit, where: Where, says: str
) -> None:
    (breach,) = breaches_of(edit)
    assert breach == Breach(rule, says, *where)


KEPT: list[tuple[str, Edit]] = [
    ("leaves as the shift starts", lambda w, p: p["routes"][0].update(depart=420)),
    ("back as shift and overtime end", lambda w, p: w["crews"][0]["shifts"][0].update(end=555)),
    ("the window is as long as the service", lambda w, p: set_hours(w, (500, 560))),
    ("a helper's hands count", lambda w, p: (w["jobs"][0].update(hands=3), p["routes"][0].update(helpers=1))),
    ("as heavy as the vehicle may carry", lambda w, p: w["jobs"][0].update(weight_kg=100)),
    ("as many boxes as the vehicle takes", lambda w, p: w["jobs"][0].update(boxes=2)),
    ("a box as long as the rack", lambda w, p: w["jobs"][0].update(box_mm=5000)),
    ("no box, whatever its length", lambda w, p: w["jobs"][0].update(boxes=0, box_mm=9000)),
    ("a kit at any yard", lambda w, p: w["jobs"][0].update(yard=None)),
    ("a day booking at another hour", lambda w, p: w["jobs"][0]["booked"].update(hold="day", start=800)),
    ("a soft booking on another day is no promise", lambda w, p: w["jobs"][0]["booked"].update(hold="soft", day=1)),
    ("follows within any time", lambda w, p: w["follows"][0].update(max_days=None)),
    ("follows by another crew", follow_by_another_crew),
    ("no rest up to the limit", lambda w, p: (w["rest"].update(after=185), p["routes"][1].update(rest=None))),
    ("a rest on a day a minute longer", lambda w, p: w["rest"].update(after=184)),
    ("a rest at the earliest minute", lambda w, p: w["rest"].update(earliest=560)),
    ("a rest at the latest minute", lambda w, p: w["rest"].update(earliest=500, latest=560)),
    ("a rest up to the drive home", lambda w, p: p["routes"][1].update(rest=590)),
]  # fmt: skip


@pytest.mark.parametrize("edit", [edit for _, edit in KEPT], ids=[name for name, _ in KEPT])
def test_what_is_just_within_a_rule_keeps_it(edit: Edit) -> None:
    assert verdict_on(edit) == []


def test_a_job_may_follow_on_the_same_route_as_soon_as_the_first_is_done() -> None:
    def at_once(w: Any, p: Any) -> None:
        w["travel"]["minutes"][1][2] = 0
        both_on_one_route(w, p, [("alder", 500), ("birch", 560)], 480, 655)

    assert verdict_on(at_once) == []


@pytest.mark.parametrize(
    ("depart", "rest", "kept"), [(510, 540, True), (511, 540, False), (510, 570, True), (510, 571, False)]
)
def test_a_rest_before_the_work_begins_after_the_drive_and_ends_by_the_start(
    depart: int, rest: int, kept: bool
) -> None:
    """Birch at 600: 30 minutes of drive, 30 of rest. At 571 the rest would reach into the work."""

    def later(w: Any, p: Any) -> None:
        p["routes"][1].update({"depart": depart, "rest": rest, "return": 695})
        p["routes"][1]["stops"][0].update(start=600, end=660)

    assert [rule for rule, _ in verdict_on(later)] == ([] if kept else ["rest"])


@pytest.mark.parametrize(
    ("rest", "kept"),
    [(559, False), (560, True), (620, True), (621, False), (629, False), (630, True), (690, True), (691, False)],
)
def test_a_rest_between_two_stops_lies_before_or_after_the_drive(rest: int, kept: bool) -> None:
    """Alder ends at 560, birch begins at 720, 70 minutes away: rest at alder by 620 + 30 + 70, at birch from 630 on."""

    def between(w: Any, p: Any) -> None:
        after = {"after": 180, "length": 30, "earliest": 480, "latest": 900}
        w["travel"]["minutes"][1][2] = 70
        both_on_one_route(w, p, [("alder", 500), ("birch", 720)], 480, 815)
        w["rest"] = after
        p["routes"][0]["rest"] = rest

    assert [rule for rule, _ in verdict_on(between)] == ([] if kept else ["rest"])


def test_breaches_that_come_together() -> None:
    def give_the_second_day_to_elm_without_the_skill(w: Any, p: Any) -> None:
        p["routes"][1].update(crew="elm")

    assert [rule for rule, _ in verdict_on(give_the_second_day_to_elm_without_the_skill)] == ["skills", "follows"]

    def send_both_on_one_day(w: Any, p: Any) -> None:
        p["routes"].append(p["routes"][0] | {"stops": [{"job": "cedar", "start": 500, "end": 560}]})
        p["skipped"].pop(0)

    twice, *_ = breaches_of(send_both_on_one_day)
    assert (twice.crew, twice.day, twice.job) == ("oak", 0, None)
    assert verdict_on(send_both_on_one_day) == [
        ("one_route", "Crew oak on Mon Mar 15 has 2 routes; a crew goes out once a day."),
        ("equipment", "Yard yard on Mon Mar 15 sends out 2 of ladder-24 and has 1."),
        ("stock", "Yard yard has used 8 of anchor-1/2 by Mon Mar 15, and only 6 will have been there."),
        ("stock", "Yard yard has used 12 of anchor-1/2 by Tue Mar 16, and only 8 will have been there."),
    ]

    def leave_the_crew_off(w: Any, p: Any) -> None:
        w["crews"][0]["shifts"].pop(1)

    assert [rule for rule, _ in verdict_on(leave_the_crew_off)] == ["shift"]


@pytest.mark.parametrize(
    ("earliest", "latest", "kept"),
    [(560, 720, True), (561, 720, False), (500, 560, True), (500, 559, False)],
)
def test_a_rest_begins_within_its_hours(earliest: int, latest: int, kept: bool) -> None:
    """Oak's rest on Tuesday begins at 560, at the moor, where nothing else is in its way."""

    def hours(w: Any, p: Any) -> None:
        w["rest"].update(earliest=earliest, latest=latest)

    assert [rule for rule, _ in verdict_on(hours)] == ([] if kept else ["rest"])


def test_rest_is_taken_at_a_stop_never_at_the_yard() -> None:
    def rest_before_the_first_drive(w: Any, p: Any) -> None:
        w["jobs"][1]["windows"][1]["start"] = 0
        p["routes"][1].update(depart=430, rest=540)
        p["routes"][1]["stops"][0].update(start=600, end=660)
        p["routes"][1]["return"] = 695

    assert verdict_on(rest_before_the_first_drive) == []  # at the stop: there from 460 on

    def rest_at_the_yard(w: Any, p: Any) -> None:
        rest_before_the_first_drive(w, p)
        w["travel"]["minutes"][0][2] = 160  # 430 + 160 = 590: at 540 the crew drives, or stands in the yard

    assert [rule for rule, _ in verdict_on(rest_at_the_yard)] == ["rest"]


def test_states_of_cost_and_bound_are_checked() -> None:
    (breach,) = verdict_on(lambda w, p: p["cost"].update(late=1), restate=False)
    assert breach == ("cost", "The plan states 1 cents for late; it is 0.")
    assert verdict_on(lambda w, p: p.update(bound=99_000)) == []
    (breach,) = verdict_on(lambda w, p: p.update(bound=99_001))
    assert breach == ("bound", "The plan states a lower bound of 99001 cents and costs 99000: it is no bound.")


def test_every_rule_has_a_word_on_it() -> None:
    for name, rule in RULES.items():
        assert rule.__name__ == name
        assert rule.__doc__
        assert rule.__doc__.endswith(".")
