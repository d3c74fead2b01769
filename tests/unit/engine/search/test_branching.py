"""Plans that skip a job are bounded apart from those that do not: no bound passes the cheapest plan."""

from __future__ import annotations

import random

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler.engine.incumbent import Best
from scheduler.engine.master import enumeration
from scheduler.engine.model.build import build
from scheduler.engine.search.branching import Branching
from tests.brute import cheapest
from tests.unit.engine.search.test_diving import SEEDS, solved
from tests.weeks import small_week


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
