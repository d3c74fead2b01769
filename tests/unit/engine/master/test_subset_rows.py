"""Triples cut off fractions, never a plan: the bound stays under every plan, the best plan stays in reach."""

from __future__ import annotations

import random

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.engine.master import enumeration, relaxation
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.master.subset_row_cuts import spread
from tests.brute import cheapest
from tests.weeks import small_week

SEEDS = range(40)


def test_no_cut_raises_the_bound_above_a_best_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(enumeration, "ROOM", 1)  # everything is priced
    monkeypatch.setattr(relaxation, "LEAST_BROKEN", 1e-6)
    cut, raised = 0, 0
    for seed in SEEDS:
        week = small_week(random.Random(seed), jobs=7, crews=3, days=1)
        week = replace(week, follows=())  # more that can be combined
        model = build(week)
        if not model.crew_days:
            continue
        relax = Relaxation(model, 0, lambda: None, None)
        relax.run()
        before = relax.bound
        while relax.tighten():
            pass
        best = cheapest(week)
        assert relax.bound <= best.cost.total + 1e-6
        cut += len(relax.rows.triples)
        raised += relax.bound > before + 1
        gap = best.cost.total - relax.bound + relax.rounding + 1
        assert relax.under(gap, 100_000, 100_000)
        number = {job.id: n for n, job in enumerate(week.jobs)}
        crew_days = {(week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
        for route in best.routes:
            k = int(model.group[crew_days[route.crew, route.day]])
            place = relax.pool.find(k, [number[stop.job] for stop in route.stops])
            assert relax.pool.reduced(relax.dual)[place] <= gap
    assert cut >= 10
    assert raised >= 3


def test_triples_are_spread_over_the_rows() -> None:
    found = np.array([[0, 1, 2], [0, 1, 3], [0, 2, 3], [4, 5, 6]])
    taken = spread(found, np.array([0.1, 0.4, 0.3, 0.2]), most=3, of_one=2)
    assert taken.tolist() == [[0, 1, 3], [0, 2, 3], [4, 5, 6]]
    assert spread(found[:0], np.zeros(0), most=3, of_one=2).shape == (0, 3)
