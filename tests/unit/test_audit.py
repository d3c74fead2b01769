"""What the auditor says of plans made by hand, rule by rule, and that no plan, however senseless, stops it."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from scheduler.audit import RULES, audit
from scheduler.plan import Because, Cost, Plan, Route, Skipped, Stop, plan_from_data
from scheduler.price import price
from scheduler.week import Week, week_from_data
from tests.weeks import as_data, small_week

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


def verdict_on(edit: Edit, restate: bool = True) -> list[tuple[str, str]]:
    """Edit week and plan as plain data, restate the cost unless told otherwise, and return (rule, sentence) pairs."""
    week_data, plan_data = msgspec.json.decode(msgspec.json.encode((WEEK, PLAN)))
    edit(week_data, plan_data)
    week, plan = week_from_data(week_data), plan_from_data(plan_data)
    if restate:
        plan = msgspec.structs.replace(plan, cost=price(week, plan.routes))
    return [(b.rule, b.sentence) for b in audit(week, plan).broken_rules]


def test_the_plan_made_by_hand_keeps_every_rule_and_states_its_cost_rightly() -> None:
    verdict = audit(week_from_data(WEEK), plan_from_data(PLAN))
    assert verdict.broken_rules == ()
    assert verdict.ok


BROKEN: list[tuple[str, Edit, str]] = [
    ("same_week", lambda w, p: p.update(week="last"), 'is for week "last", not for "by-hand"'),
    ("known", lambda w, p: p["skipped"].append(p["skipped"][0] | {"job": "x"}), 'No job of this week is called "x"'),
    ("once", lambda w, p: p["skipped"].pop(), "Job dogwood is neither on a route nor in the waiting pile"),
    ("once", lambda w, p: p["skipped"].append(p["skipped"][0] | {"job": "alder"}), "1 times on routes and 1 times"),
    ("shift", lambda w, p: p["routes"][0].update(depart=419, **{"return": 585}), "leaves at 6:59, before its shift"),
    ("shift", lambda w, p: w["crews"][0]["shifts"][0].update(end=554), "back at 9:45, after 9:44"),
    ("shift", lambda w, p: p["routes"].append(p["routes"][0] | {"crew": "elm", "stops": []}), "without a stop"),
    ("travel", lambda w, p: p["routes"][0].update(depart=481), "starts alder at 8:20 but can be there only at 8:21"),
    ("travel", lambda w, p: p["routes"][0].update({"return": 584}), "back at 9:44 but can be only at 9:45"),
    ("service", lambda w, p: p["routes"][0]["stops"][0].update(end=559), "has 59 minutes for alder, which takes 60"),
    ("window", lambda w, p: w["jobs"][0]["windows"][0].update(end=559), "outside its work windows (8:00–9:19)"),
    ("window", lambda w, p: w["jobs"][0]["windows"].pop(0), "a day without a work window"),
    ("kit", lambda w, p: w["jobs"][0].update(ready_day=1), "whose kit is complete only on Tue Mar 16"),
    ("kit", lambda w, p: w["jobs"][0].update(ready_day=None), "whose kit is not complete this week"),
    ("skills", lambda w, p: w["jobs"][0]["skills"].append("wiring"), "Crew oak on Mon Mar 15 lacks wiring for alder."),
    ("hands", lambda w, p: w["jobs"][0].update(hands=3), "has 2 hands, helpers counted, and alder needs 3"),
    ("helpers", lambda w, p: p["routes"][0].update(helpers=2), "Mon Mar 15 sends out 2 helpers and has 1."),
    ("helpers", lambda w, p: p["routes"][1].update(helpers=1), "Tue Mar 16 sends out 1 helpers and has 0."),
    ("payload", lambda w, p: w["jobs"][0].update(weight_kg=101), "loads 101 kg on a vehicle for 100"),
    ("boxes", lambda w, p: w["jobs"][0].update(boxes=3), "loads 3 long boxes on a vehicle for 2"),
    ("rack", lambda w, p: w["jobs"][0].update(box_mm=5001), "rack for 5000 mm, and the box of alder is 5001 mm"),
    ("equipment", lambda w, p: w["equipment"][0].update(count=[0, 1]), "sends out 1 of ladder-24 and has 0"),
    ("equipment", lambda w, p: w["jobs"][1]["equipment"].update(scaffold=1), "1 of scaffold and has 0"),
    ("stock", lambda w, p: w["stock"][0].update(on_hand=5), "used 8 of anchor-1/2 by Tue Mar 16, and only 7"),
    ("booking", lambda w, p: w["jobs"][0]["booked"].update(start=501), "firm booking of alder is not kept and not"),
    ("booking", lambda w, p: p["broken"].append("alder"), "firm booking of alder is kept but listed as broken"),
    ("booking", lambda w, p: p["broken"].append("cedar"), '"cedar" is listed as a broken booking but has no'),
    ("follows", lambda w, p: w["follows"][0].update(min_days=2, max_days=3), "at least 2 days later"),
    ("follows", lambda w, p: w["follows"][0].update(min_days=0, max_days=0), "at most 0 days later"),
    ("follows", lambda w, p: w["follows"][0].update(first="cedar"), "cedar, which is not planned this week"),
    ("rest", lambda w, p: p["routes"][1].update(rest=None), "185 minutes and needs a rest of 30 minutes"),
    ("rest", lambda w, p: p["routes"][1].update(rest=559), "the one at 9:19 is not so"),  # the service ends at 560
    ("rest", lambda w, p: p["routes"][1].update(rest=591), "the one at 9:51 is not so"),  # 591 + 30 + 35 > 655
    ("rest", lambda w, p: p["routes"][0].update(rest=560), "has a rest at 9:20 where none is due"),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "edit", "says"), BROKEN, ids=[f"{r}-{n}" for n, (r, _, _) in enumerate(BROKEN)])
def test_one_rule_broken_gives_one_breach_that_says_so(rule: str, edit: Edit, says: str) -> None:
    found = verdict_on(edit)
    assert [name for name, _ in found] == [rule]
    assert says in found[0][1]


def test_breaches_that_come_together() -> None:
    def give_the_second_day_to_elm(w: Any, p: Any) -> None:
        p["routes"][1].update(crew="elm")

    assert [rule for rule, _ in verdict_on(give_the_second_day_to_elm)] == ["skills", "follows"]

    def send_both_on_one_day(w: Any, p: Any) -> None:
        p["routes"].append(p["routes"][0] | {"stops": [{"job": "cedar", "start": 500, "end": 560}]})
        p["skipped"].pop(0)

    assert [rule for rule, _ in verdict_on(send_both_on_one_day)] == ["one_route", "equipment", "stock", "stock"]

    def leave_the_crew_off(w: Any, p: Any) -> None:
        w["crews"][0]["shifts"].pop(1)

    assert [rule for rule, _ in verdict_on(leave_the_crew_off)] == ["shift"]


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
    assert breach[0] == "bound"


def test_breaches_say_where_they_are() -> None:
    week = week_from_data(WEEK)
    data = as_data(plan_from_data(PLAN))
    data["routes"][0]["depart"] = 481
    plan = plan_from_data(data)
    (breach,) = audit(week, msgspec.structs.replace(plan, cost=price(week, plan.routes))).broken_rules
    assert (breach.rule, breach.crew, breach.day, breach.job) == ("travel", "oak", 0, "alder")


def test_every_rule_has_a_word_on_it() -> None:
    for name, rule in RULES.items():
        assert rule.__name__ == name
        assert rule.__doc__
        assert rule.__doc__.endswith(".")


@pytest.mark.parametrize("seed", range(150))
def test_no_plan_however_senseless_stops_it(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week(rng, rng.randint(0, 5), rng.randint(0, 3), rng.randint(1, 3))
    names = [j.id for j in week.jobs] + ["", "nothing", "\x00"]
    crews = [c.id for c in week.crews] * 3 + ["", "nobody"]

    def number() -> int:
        return rng.choice((0, 1, -1, 480, 600, 700, 10_000_000, -10_000_000, rng.randint(0, 1440)))

    def stop() -> Stop:
        return Stop(rng.choice(names), number(), number())

    routes = tuple(
        Route(
            rng.choice(crews), rng.choice((0, 0, 1, -1, 400, 10_000_000)), number(), number(),
            rng.choice((0, 1, 1_000_000)), rng.choice((None, number())),
            tuple(stop() for _ in range(rng.randint(0, 4))),
        )
        for _ in range(rng.randint(0, 8))
    )  # fmt: skip
    skipped = tuple(Skipped(rng.choice(names), (Because("x", "y"),)) for _ in range(rng.randint(0, 4)))
    broken = tuple(rng.sample(names, rng.randint(0, 2)))
    plan = Plan(
        "plan/1", rng.choice((week.id, "w")), "x", 0.0, routes, skipped, broken, Cost(*[number()] * 9), number()
    )
    verdict = audit(week, plan)
    assert len(verdict.broken_rules) >= 1
    assert msgspec.json.encode(verdict)
    assert verdict == audit(week, plan)


def test_a_week_of_640_jobs_is_judged_at_once() -> None:
    week = large_week()
    routes = tuple(
        Route(f"crew-{n % 40}", n // 40 % 5, 420, 900, 0, 600, tuple(
            Stop(week.jobs[k].id, 450 + 100 * i, 510 + 100 * i) for i, k in enumerate(range(n, len(week.jobs), 200))
        ))
        for n in range(200)
    )  # fmt: skip
    plan = Plan("plan/1", week.id, "x", 0.0, routes, (), (), price(week, routes), None)
    best = min(_seconds(lambda: audit(week, plan)) for _ in range(5))
    assert best < 0.1


def large_week() -> Week:
    places = [f"p{n}" for n in range(640)]
    rows = [[0 if a == b else 20 for b in range(641)] for a in range(641)]
    crews = [
        CREW | {"id": f"crew-{n}", "shifts": [CREW["shifts"][0] | {"day": d} for d in range(5)]} for n in range(40)
    ]
    windows = [{"day": d, "start": 440, "end": 900, "risk_cents": 10} for d in range(5)]
    return week_from_data(
        WEEK
        | {
            "days": 5,
            "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", *places)],
            "travel": {"minutes": rows, "metres": rows},
            "crews": crews,
            "jobs": [JOB | {"id": p, "place": p, "windows": windows} for p in places],
            "equipment": [{"id": "ladder-24", "yard": "yard", "count": [9] * 5}],
            "follows": [],
        }
    )


def _seconds(call: Callable[[], object]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start
