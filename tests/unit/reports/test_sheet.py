"""The week sheet says what the plan says: times, order, marks, money, and why jobs wait."""

from __future__ import annotations

import random
from typing import Any

import msgspec
import pytest

from scheduler.plan import Because, Plan, Route, Skipped, Stop
from scheduler.price import price, undone_cents
from scheduler.reports.gap import gap, hopeless
from scheduler.reports.sheet import Cell, sheet
from scheduler.week import Week, week_from_data
from tests.brute import cheapest
from tests.plans import cases, good_plan
from tests.weeks import as_data, small_week

JOB: dict[str, Any] = {
    "place": "hill", "yard": "yard", "minutes": 60, "hands": 3, "weight_kg": 50, "box_mm": 4000, "boxes": 1,
    "skills": [], "equipment": {"ladder-24": 2, "scaffold": 1}, "parts": {}, "ready_day": 0, "due_day": None,
    "late_cents": 0, "skip_cents": 30_000, "booked": None,
    "windows": [{"day": d, "start": 480, "end": 900, "risk_cents": 0} for d in (0, 1)],
}  # fmt: skip
BOOKED = {
    "crew": "oak",
    "day": 0,
    "start": 500,
    "hold": "firm",
    "move_cents": 700,
    "retime_cents": 5,
    "recrew_cents": 5,
}
WEEK = {
    "format": "week/1", "id": "by-hand", "start_date": "2027-03-15", "days": 2, "timezone": "America/Denver",
    "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", "hill", "moor")],
    "travel": {"minutes": [[0, 20, 30], [25, 0, 10], [35, 12, 0]],
               "metres": [[0, 9_000, 1], [1, 0, 5_000], [16_000, 1, 0]]},
    "rest": {"after": 180, "length": 30, "earliest": 540, "latest": 720}, "yards": [{"id": "yard", "place": "yard"}],
    "crews": [{"id": c, "yard": "yard", "hands": 2, "skills": [], "onboard": {"ladder-24": 1}, "day_cents": 5_000,
               "vehicle": {"payload_kg": 200, "rack_mm": 5000, "boxes": 2}, "minute_cents": 100,
               "shifts": [{"day": d, "start": 420, "end": 700, "overtime": 60} for d in (0, 1)],
               "overtime_minute_cents": 40, "km_cents": 100} for c in ("oak", "elm")],
    "helpers": [{"yard": "yard", "day": d, "count": 1, "day_cents": 9_000} for d in (0, 1)],
    "equipment": [{"id": i, "yard": "yard", "count": [2, 2]} for i in ("ladder-24", "scaffold")], "stock": [],
    "jobs": [
        JOB | {"id": "alder", "booked": BOOKED},
        JOB | {"id": "birch", "place": "moor", "due_day": -1, "booked": BOOKED | {"hold": "day", "crew": "elm"}},
        JOB | {"id": "cedar", "ready_day": None, "booked": BOOKED | {"hold": "soft"}},
        JOB | {"id": "dogwood"},
    ],
    "follows": [], "broken_cents": 100_000,
}  # fmt: skip


def by_hand() -> tuple[Week, Plan]:
    """One route of oak on Monday: yard 470 → alder 500–560 → rest → birch 610–670 → yard 710; two jobs wait."""
    week = week_from_data(WEEK)
    route = Route("oak", 0, 470, 710, 1, 560, (Stop("alder", 500, 560), Stop("birch", 610, 670)))
    pile = (
        Skipped("dogwood", (Because("boxes", "both vans are full"),)),
        Skipped("cedar", (Because("kit", "two brackets are missing"),)),
    )
    plan = Plan("plan/1", "by-hand", "hand", 0.0, (route,), pile, (), price(week, (route,)), 100_000)
    return week, plan


def test_one_crews_day_in_writing() -> None:
    page = sheet(*by_hand())
    (cell,) = page.cells
    assert page.breaches == ()
    assert (page.days, page.crews) == (("Mon Mar 15", "Tue Mar 16"), ("oak", "elm"))
    assert (cell.depart, cell.back, cell.overtime_min, cell.rest, cell.rest_min) == (470, 710, 10, 560, 30)
    assert [(e.job, e.drive_min, e.wait_min, e.start) for e in cell.entries] == [
        ("alder", 20, 10, 500),
        ("birch", 10, 40, 610),
    ]
    assert [e.marks for e in cell.entries] == [("firm",), ("day promised", "other crew", "other time", "1 d late")]
    assert (cell.drive_home_min, cell.drive_min, cell.metres) == (35, 65, 30_000)
    assert (cell.weight_kg, cell.boxes, cell.helpers) == (100, 2, 1)
    assert cell.from_pool == {"ladder-24": 1, "scaffold": 1}  # one of two ladders is on board
    # day 50.00 + 240 min × 1.00 + 30 km × 1.00 + 10 min × 0.40 + one helper 90.00
    assert cell.cents == 5_000 + 24_000 + 3_000 + 400 + 9_000


def test_the_waiting_pile_names_its_because_dearest_first() -> None:
    page = sheet(*by_hand())
    assert [(w.job, w.cents, w.hold, w.hopeless) for w in page.waiting] == [
        ("cedar", 30_700, "soft", True),
        ("dogwood", 30_000, None, False),
    ]
    assert page.waiting[0].because == (Because("kit", "two brackets are missing"),)


def test_the_gap_of_what_a_plan_can_influence() -> None:
    week, plan = by_hand()
    found = gap(week, plan)
    assert (found.hopeless, found.fixed_cents) == (("cedar",), 30_700)
    cost = plan.cost.total
    assert found.of_total == round(100 * (cost - 100_000) / cost, 2)
    assert found.of_influenced == round(100 * (cost - 100_000) / (cost - 30_700), 2)
    none = gap(week, msgspec.structs.replace(plan, bound=None))
    assert (none.of_total, none.of_influenced) == (None, None)
    proven = gap(week, msgspec.structs.replace(plan, bound=cost))
    assert (proven.of_total, proven.of_influenced) == (0, 0)


@pytest.mark.parametrize("seed", range(6))
def test_a_hopeless_job_is_in_no_cheapest_plan_even_where_leaving_it_costs_a_fortune(seed: int) -> None:
    rng = random.Random(seed)
    some = 0
    for _ in range(20):
        data = as_data(small_week(rng, rng.randint(1, 5), 2, 2))
        for job in data["jobs"]:
            job["skip_cents"] = 10_000_000
        week = week_from_data(data)
        done = {stop.job for route in cheapest(week).routes for stop in route.stops}
        never = hopeless(week)
        some += len(never)
        assert not done & never
    assert some > 5


def test_what_follows_a_hopeless_job_is_hopeless() -> None:
    data = as_data(week_from_data(WEEK))
    pairs = [("alder", "birch"), ("cedar", "alder")]
    data["follows"] = [{"first": a, "then": b, "min_days": 0, "max_days": None, "same_crew": False} for a, b in pairs]
    assert hopeless(week_from_data(data)) == {"alder", "birch", "cedar"}


def test_money_and_jobs_on_the_sheet_add_up() -> None:
    rng = random.Random(1)
    for _ in range(40):
        week = small_week(rng, 6, 3, 2)
        plan = good_plan(week)
        page = sheet(week, plan)
        cost = plan.cost
        assert sum(c.cents for c in page.cells) == cost.crews + cost.travel + cost.overtime + cost.helpers
        assert sum(w.cents for w in page.waiting) >= cost.skipped
        planned = [e.job for c in page.cells for e in c.entries]
        assert sorted(planned + [w.job for w in page.waiting]) == sorted(j.id for j in week.jobs)
        assert page.gap.fixed_cents == sum(undone_cents(week, j) for j in week.jobs if j.id in page.gap.hopeless)
        for cell in page.cells:
            moments = [cell.depart]
            for entry in cell.entries:
                moments.append(moments[-1] + entry.drive_min + entry.wait_min)
                assert moments[-1] == entry.start
                moments.append(entry.end)
            assert moments[-1] + cell.drive_home_min <= cell.back


def test_a_sheet_with_days_taken_from_the_plan_before_is_the_sheet_shaped_anew() -> None:
    """What is taken is that of the same route; a route that has changed by a minute is shaped anew."""
    week, plan = by_hand()
    known: dict[Route, Cell] = {}
    assert sheet(week, plan, None, known) == sheet(week, plan)
    (route,) = plan.routes
    assert set(known) == {route}
    mark = msgspec.structs.replace(route, depart=465)
    other = Route("elm", 1, 470, 600, 0, None, (Stop("cedar", 500, 560),))
    moved = msgspec.structs.replace(plan, routes=(mark, other), cost=price(week, (mark, other)))
    anew = sheet(week, moved)
    assert sheet(week, moved, None, known) == anew
    assert set(known) == {mark, other}
    tagged = dict(zip((mark, other), reversed(anew.cells), strict=True))
    assert sheet(week, moved, None, tagged).cells == tuple(reversed(anew.cells))  # it is from there that they are taken


def test_any_plan_can_be_laid_out() -> None:
    for week, plan in cases(seed=3, weeks=30, each=15):
        page = sheet(week, plan)
        assert msgspec.json.encode(page)
        assert {c.crew for c in page.cells} <= set(page.crews)
