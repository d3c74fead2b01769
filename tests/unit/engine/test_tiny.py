"""The tiny week, as it is worked out by hand in the engine's README."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from scheduler import audit, build, plan_week, tiny_week
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.model.arrays import Model
from scheduler.engine.search.closing import Closing
from scheduler.engine.tiny import BEST_CENTS
from tests.brute import cheapest

README = Path(__file__).parents[3] / "scheduler" / "engine" / "README.md"
RELAXED_CENTS = 70_920
PRICES = {"alder": 15_760, "birch": 15_760, "cedar": 22_840, "elm": 8_080, "fir": 8_080, "gorse": 1_000}


def never() -> None:
    pass


@pytest.fixture(scope="module")
def relaxed() -> Relaxation:
    made = Relaxation(build(tiny_week()), 0, never, None)
    made.run()
    return made


def test_the_best_plan_costs_what_the_hand_says() -> None:
    week = tiny_week()
    plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1)
    assert audit(week, plan).ok
    assert plan.cost.total == plan.bound == cheapest(week).cost.total == BEST_CENTS
    assert [skip.job for skip in plan.skipped] == ["gorse"]
    assert [because.code for because in plan.skipped[0].because] == ["dearer"]
    assert "$60.00 more" in plan.skipped[0].because[0].detail


def test_the_relaxation_and_its_prices_are_those_of_the_page(relaxed: Relaxation) -> None:
    assert relaxed.value == pytest.approx(RELAXED_CENTS)
    assert relaxed.bound == pytest.approx(RELAXED_CENTS, abs=0.01)
    model: Model = relaxed.model
    dual = relaxed.dual
    assert {job.id: round(dual[n]) for n, job in enumerate(model.week.jobs)} == PRICES
    ladders = dual[relaxed.rows.pool_row : relaxed.rows.pool_row + len(model.pool_cap)]
    assert sorted(np.round(ladders).tolist()) == [-600, 0]


def test_cuts_close_the_gap(relaxed: Relaxation) -> None:
    assert relaxed.under(BEST_CENTS - relaxed.value + 1, 10_000, 10_000)
    closing = Closing(relaxed.pool, list(range(len(relaxed.pool))), never)
    bounds: list[float] = []
    closing.run(relaxed.dual, lambda: BEST_CENTS, 1.0, bounds.append)
    assert bounds[0] == pytest.approx(RELAXED_CENTS)
    assert bounds[-1] == pytest.approx(BEST_CENTS)
    first = {job.id: n for n, job in enumerate(relaxed.model.week.jobs)}
    assert tuple(first[name] for name in ("alder", "birch", "cedar")) in closing.triples


def test_the_page_states_these_figures() -> None:
    page = README.read_text()
    for cents in (BEST_CENTS, RELAXED_CENTS, *PRICES.values()):
        assert f"{cents:,}" in page
