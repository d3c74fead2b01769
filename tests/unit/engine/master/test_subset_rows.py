"""Odd sets of rows cut off fractions, never a plan: the bound stays under every plan, the best plan stays in reach."""

from __future__ import annotations

import random
import time
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler import build, plan_week
from scheduler.engine.master import enumeration, relaxation, rows
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.master.subset_row_cuts import broken, broken_sets, spread
from scheduler.engine.model.arrays import Ints
from scheduler.engine.search.choosing import Choosing
from tests.benchmarks.make_weeks import make_week
from tests.brute import cheapest
from tests.weeks import small_week

SEEDS = range(22)


class Crowded(set[int]):
    """Crew days that stay crowded, whatever the widest beam shows."""

    def discard(self, element: object, /) -> None:
        """Keep it."""


@pytest.mark.parametrize("crowded", [False, True])
def test_no_cut_raises_the_bound_above_a_best_plan(crowded: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor where labels forget jobs and sets, on days of more labels than are extended."""
    monkeypatch.setattr(enumeration, "ROOM", 1)  # everything is priced
    monkeypatch.setattr(rows, "LEAST_BROKEN", 1e-6)
    cut, raised, forgotten = 0, 0, 0
    for seed in SEEDS:
        week = small_week(random.Random(seed), jobs=7, crews=3, days=1)
        week = replace(week, follows=())  # more that can be combined
        model = build(week)
        if not model.crew_days:
            continue
        relax = Relaxation(model, 0, lambda: None, None)
        if crowded:
            relax.crowded = Crowded(relax.lead)
        relax.run()
        before = relax.bound
        while relax.tighten():
            pass
        forgotten += int((~relax.rows.odd_memory).sum())
        best = cheapest(week)
        assert relax.bound <= best.cost.total + 1e-6
        cut += len(relax.rows.odd_sets)
        raised += relax.bound > before + 1
        gap = best.cost.total - relax.bound + relax.rounding + 1
        assert relax.under(gap, 100_000, 100_000)
        number = {job.id: n for n, job in enumerate(week.jobs)}
        crew_days = {(week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
        for route in best.routes:
            k = int(model.group[crew_days[route.crew, route.day]])
            place = relax.pool.find(k, [number[stop.job] for stop in route.stops])
            assert relax.pool.reduced(relax.dual)[place] <= gap
    assert cut >= 6
    assert raised >= 2
    assert (forgotten > 0) == crowded


def larger_alone(ptr: Ints, flat: Ints, value: Any, rows: int, least: float) -> Ints:
    return spread(*broken_sets(ptr, flat, value, rows, least), 40, 4)


def test_larger_sets_raise_the_bound_never_above_a_plan_proven_without_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(rows, "broken", larger_alone)
    monkeypatch.setattr(rows, "LEAST_BROKEN", 1e-3)
    large, raised = 0, 0
    for seed in (2, 3):
        week = make_week("mixed", 24, 3, seed=seed)
        relax = Relaxation(build(week), 0, lambda: None, None)
        relax.run()
        before = relax.bound
        while relax.tighten():
            pass
        large += len(relax.rows.odd_sets)
        raised += relax.bound > before + 1
        monkeypatch.setattr(Choosing, "tighten", lambda search: setattr(search, "more_cuts", False))  # proven without
        plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1, with_because=False)
        assert plan.bound == plan.cost.total
        assert relax.bound <= plan.cost.total + 1e-6
    assert large >= 2
    assert raised >= 1


def test_columns_that_leave_the_program_come_back_once_prices_ask_for_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "broken", larger_alone)
    monkeypatch.setattr(rows, "LEAST_BROKEN", 1e-3)
    left = 0
    for seed in (2, 3):
        model, value = build(make_week("mixed", 24, 3, seed=seed)), list[float]()
        for inside in (10**9, 0):  # none leaves; all do that can
            monkeypatch.setattr(relaxation, "MOST_INSIDE", inside)
            relax = Relaxation(model, 0, lambda: None, None)
            relax.run()
            relax.tighten()
            value.append(relax.value)
            reduced = relax.pool.reduced(relax.dual)
            assert reduced.min() > -0.01
            assert abs(reduced[relax.primal > 1e-6]).max() < 0.01
        assert value[1] == pytest.approx(value[0], abs=0.01)
        left += len(relax.pool) - len(relax.inside)
    assert left > 100


def test_an_odd_circle_of_routes_is_cut_off() -> None:
    rows, value = 5, np.full(5, 0.5)
    flat = np.array([row for c in range(rows) for row in (c, (c + 1) % rows)])
    found = broken(np.arange(0, 11, 2), flat, value, rows + 1, 0.02)
    assert found.tolist() == [[0, 1, 2, 3, 4, -1, -1, -1, -1]]


def test_every_set_found_is_broken_by_what_is_said() -> None:
    chance, met = np.random.default_rng(5), 0
    for _ in range(60):
        rows, count = 12, 16
        stands = chance.random((count, rows)) < 0.3
        stands[~stands.any(axis=1), 0] = True
        value = chance.choice([0.5, 1 / 3, 0.25], count)
        value /= max(1.0, float((value @ stands).max()))  # no row takes more than one route
        ptr = np.cumsum([0, *stands.sum(axis=1)])
        found, excess = broken_sets(ptr, np.nonzero(stands)[1], value, rows, 0.01)
        for n, held in enumerate(found):
            held = held[held >= 0]
            assert len(held) % 2 == 1
            assert len(set(held.tolist())) == len(held) >= 5
            halves = stands[:, held].sum(axis=1) // 2
            # what the rows lack is no route's: the sum over routes alone is broken by as much
            assert float(halves @ value) == pytest.approx(len(held) // 2 + excess[n], abs=1e-9)
            met += 1
    assert met >= 5


def test_odd_sets_are_spread_over_the_rows() -> None:
    found = np.array([[0, 1, 2], [0, 1, 3], [0, 2, 3], [4, 5, 6]])
    taken = spread(found, np.array([0.1, 0.4, 0.3, 0.2]), most=3, of_one=2)
    assert taken.tolist() == [[0, 1, 3], [0, 2, 3], [4, 5, 6]]
    assert spread(found[:0], np.zeros(0), most=3, of_one=2).shape == (0, 3)
