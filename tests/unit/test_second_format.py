"""What is asked of a week of the second format: shown on the sheet, refused in a sentence where it is not known yet."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from scheduler import fair, offer, warm, with_reasons
from scheduler.errors import BadInput
from scheduler.plan import Cost2, Plan, read_plan
from scheduler.price import price
from scheduler.reports.promises import broken_promises
from scheduler.reports.sheet import sheet
from scheduler.week import Week, read_week, week_from_data
from tests.plans2 import cases2
from tests.weeks import as_data

TINY = Path(__file__).parents[1] / "data" / "weeks" / "v2-tiny-3.week.json"
Ask = Callable[[Week, Plan], Any]
ASKED: dict[str, Ask] = {
    "offer": lambda week, plan: offer(week, plan, week.jobs[0].id, others_may_move=True),
    "warm": lambda week, plan: warm(week, clock=time.monotonic),
    "fair": lambda week, plan: fair(week, plan, 0, seconds=1.0, clock=time.monotonic),
}


def nothing_planned(week: Week) -> Plan:
    because = [{"code": "x", "detail": "x"}]
    cost = dict.fromkeys(Cost2.__struct_fields__, 0)
    skipped = [{"job": job.id, "because": because} for job in week.jobs]
    plan = {"format": "plan/2", "week": week.id, "engine": "hand", "seconds": 0, "routes": [], "skipped": skipped}
    return read_plan(json.dumps(plan | {"broken": [], "cost": cost, "bound": None}))


@pytest.mark.parametrize("question", ASKED)
def test_what_is_for_the_first_format_alone_says_so(question: str) -> None:
    week = read_week(TINY.read_bytes())
    with pytest.raises(BadInput, match=r"^format: is week/2: .* is for week/1 alone so far; plan this week anew$"):
        ASKED[question](week, nothing_planned(week))


def test_a_job_without_a_second_crew_waits_because_of_that() -> None:
    data = as_data(read_week(TINY.read_bytes()))
    whole = week_from_data(data)
    before = {s.job for s in with_reasons(whole, nothing_planned(whole)).skipped if s.because[0].code == "not_tried"}
    lifted = {j["id"] for j in data["jobs"] if j["assist"]} & before
    assert lifted
    for job in data["jobs"]:
        if job["assist"]:
            job["assist"]["hands"] = 99
    week = week_from_data(data)
    after = {s.job for s in with_reasons(week, nothing_planned(week)).skipped if s.because[0].code == "no_second_crew"}
    assert after == lifted


@pytest.mark.usefixtures("compiled")
def test_assists_stand_on_the_sheet_of_the_crew_that_comes() -> None:
    week, plan = next((w, p) for w, p in cases2(3, 20, 0) if any(s.assist for r in p.routes for s in r.stops))
    shown = [(c.crew, c.day, e.job) for c in sheet(week, plan).cells for e in c.entries if "assist" in e.marks]
    assert sorted(shown) == sorted((r.crew, r.day, s.assist) for r in plan.routes for s in r.stops if s.assist)


def test_an_assist_that_leaves_no_room_within_the_job_is_refused() -> None:
    data = as_data(read_week(TINY.read_bytes()))
    job = next(j for j in data["jobs"] if j["assist"])
    job["assist"] |= {"from": 0, "to": job["minutes"] + data["rest"]["length"]}
    with pytest.raises(BadInput, match=r"assist\.to: must leave the .* minutes of the assist within the job's"):
        week_from_data(data)
    job["assist"] |= {"from": 5, "to": 4}
    with pytest.raises(BadInput, match=r"assist\.to: must not come before from \(5\), is 4"):
        week_from_data(data)


@pytest.mark.parametrize("stop", [{"job": "a", "reload": True}, {"reload": False}, {}, {"assist": "a", "job": "b"}])
def test_a_stop_is_of_one_kind(stop: dict[str, Any]) -> None:
    week = read_week(TINY.read_bytes())
    data = as_data(nothing_planned(week))
    stops = [stop | {"start": 500, "end": 510}]
    head = {"crew": "a", "day": 0, "depart": 480, "return": 540, "helpers": 0, "rest": None}
    data["routes"] = [head | {"stops": stops}]
    with pytest.raises(BadInput, match=r"routes\[0\]\.stops\[0\]: must have one of job, assist and reload"):
        read_plan(json.dumps(data))


@pytest.mark.usefixtures("compiled")
def test_a_job_that_the_plan_does_not_know_is_offered_times_and_the_crew_that_assists() -> None:
    whole = read_week(TINY.read_bytes())
    offered = 0
    for lifted in [j for j in whole.jobs if j.assist]:
        plan = nothing_planned(replace(whole, jobs=tuple(j for j in whole.jobs if j != lifted)))
        plan = replace(plan, cost=price(whole, ()), broken=broken_promises(whole, {}))
        for one in offer(whole, plan, lifted.id, best=3):
            offered += 1
            assert one.extra_cents == one.cost_cents - plan.cost.total
            assert one.second is not None
            assert one.second.crew != one.crew
            assert [s.assist for r in one.plan.routes for s in r.stops if r.crew == one.second.crew] == [lifted.id]
            assert one.earliest <= one.start <= one.latest
    assert offered
