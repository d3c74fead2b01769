"""Plans are bounded apart by jobs that they skip and crew days that go out: no bound passes the cheapest plan."""

from __future__ import annotations

import datetime
import math
import random

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.engine.incumbent import Best
from scheduler.engine.master import enumeration
from scheduler.engine.model.build import build
from scheduler.engine.search import choosing
from scheduler.engine.search.branching import Branching
from scheduler.week import Crew, Job, Place, Shift, Travel, Week, Window, Yard, checked
from tests.benchmarks.make_weeks import make_week
from tests.brute import cheapest
from tests.unit.engine.search.test_diving import SEEDS, solved
from tests.weeks import small_week

VAN = replace(make_week("installs", 4, 1, seed=1).crews[0].vehicle, payload_kg=1000, boxes=30)


@pytest.mark.parametrize("priced", [False, True], ids=["listed", "priced"])
def test_branching_on_skipped_jobs_raises_the_bound_and_never_passes_the_cheapest_plan(
    monkeypatch: pytest.MonkeyPatch, priced: bool
) -> None:
    if priced:
        monkeypatch.setattr(enumeration, "ROOM", 1)
    divided, raised = 0, 0
    for seed in (*SEEDS, 87, 112, 118):
        week = replace(small_week(random.Random(seed), jobs=7, crews=3, days=1), follows=())
        if not build(week).crew_days:
            continue
        relax, least = solved(week), cheapest(week).cost.total
        best = Best(relax.model)
        best.cost = least + 1  # as if the cheapest plan were still to be found
        before, value, dual = relax.bound, relax.value, relax.dual.copy()
        tree = Branching(relax, best, lambda _: None)
        for _ in range(20):
            if not tree.able:
                break
            tree.divide()
            divided += 1
            assert best.bound <= least + 0.01
            assert relax.bound == before
            assert np.array_equal(relax.dual[: len(dual)], dual)
            raised += best.bound > before + 0.01
        relax.solve_lp()
        assert relax.value == pytest.approx(value, abs=1) or len(relax.rows.cap) > len(dual)
    assert divided >= 4
    assert raised >= 1


def alike(seed: int) -> Week:
    """Return a week of one day, seven jobs and four crews that are alike, each of them dear to send out."""
    rng = random.Random(seed)
    places = [Place(id=f"p{n}", lat=40 + rng.uniform(-0.2, 0.2), lon=-100 + rng.uniform(-0.2, 0.2)) for n in range(8)]
    rows = tuple(tuple(round(150 * math.hypot(a.lat - b.lat, a.lon - b.lon)) for b in places) for a in places)
    crew = Crew(
        id="", yard="yard", hands=2, skills=(), shifts=(Shift(day=0, start=480, end=1020, overtime=0),),
        vehicle=VAN, onboard={}, day_cents=rng.randint(10_000, 40_000),
        minute_cents=50, overtime_minute_cents=0, km_cents=0,
    )  # fmt: skip
    jobs = tuple(
        Job(
            id=f"job-{n}", place=f"p{n}", yard=None, minutes=rng.randint(120, 260), hands=0, weight_kg=10, box_mm=1000,
            boxes=1, skills=(), equipment={}, parts={}, ready_day=0,
            windows=(Window(day=0, start=480, end=1020, risk_cents=0),), due_day=None, late_cents=0,
            skip_cents=rng.randint(5_000, 90_000), booked=None,
        )
        for n in range(1, 8)
    )  # fmt: skip
    return checked(
        Week(
            format="week/1", id=f"alike-{seed}", start_date=datetime.date(2027, 3, 1), days=1, timezone="UTC",
            places=tuple(places), travel=Travel(minutes=rows, metres=rows), rest=None,
            yards=(Yard(id="yard", place="p0"),), crews=tuple(replace(crew, id=f"crew-{n}") for n in range(4)),
            helpers=(), equipment=(), stock=(), jobs=jobs, follows=(), broken_cents=0,
        )
    )  # fmt: skip


def test_branching_on_crew_days_that_go_out_raises_the_bound_and_never_passes_the_cheapest_plan(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(enumeration, "ROOM", 1)  # everything is priced
    decided, raised, settled = 0, 0, 0
    for seed in range(12):
        week = alike(seed)
        relax, least = solved(week), cheapest(week).cost.total
        best = Best(relax.model)
        best.cost = least + 1
        before = relax.bound
        tree = Branching(relax, best, lambda _: None)
        for _ in range(20):
            if not tree.able:
                break
            fleets = len(tree.open[0].fleets)
            tree.divide()
            decided += fleets > 0
            assert best.bound <= least + 0.01
            raised += fleets > 0 and best.bound > before + 0.01
            settled += tree.settled is not None
            assert tree.open  # the cheapest plan is in one of the nodes
    assert decided >= 5
    assert raised >= 3
    assert settled >= 2


@pytest.mark.parametrize("seed", range(12))
def test_what_is_settled_by_branching_leaves_the_cheapest_plan_in(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """No route is listed at once, so that a proof has to come by branching and what it settles for good."""
    monkeypatch.setattr(enumeration, "ROOM", 1)
    monkeypatch.setattr(choosing, "FEW", 0)
    monkeypatch.setattr(choosing, "MOST_COLUMNS", 1)
    week = alike(seed)
    plan = plan_week(week, seconds=None, clock=lambda: 0.0, workers=1)
    assert plan.cost.total == plan.bound == cheapest(week).cost.total
