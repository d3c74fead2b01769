"""Cuts over routes: all that a fraction breaks are found, and no plan of whole routes breaks any."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler import build
from scheduler.engine.master.integer import select
from scheduler.engine.master.pool import Pool
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.master.subset_row_cuts import broken_triples
from scheduler.engine.model.fixed import NOTHING
from scheduler.engine.search.closing import Closing
from scheduler.week import read_week

WEEKS = Path(__file__).parents[3] / "data" / "weeks"
LEAST = 0.02
ROWS = 7
MANY = 1e9

routes = st.lists(st.tuples(st.sets(st.integers(0, ROWS - 1), max_size=5), st.floats(0.05, 0.6)), max_size=12)


@settings(max_examples=300, deadline=None)
@given(routes)
def test_every_three_rows_that_the_routes_break_are_found(columns: list[tuple[set[int], float]]) -> None:
    load = max([1.0, *(sum(value for rows, value in columns if row in rows) for row in range(ROWS))])
    columns = [(rows, value / load) for rows, value in columns]  # as in a solution: each row at most once
    flat = np.array([row for rows, _ in columns for row in sorted(rows)], dtype=np.int64)
    ptr = np.cumsum([0, *(len(rows) for rows, _ in columns)])
    found, excess = broken_triples(ptr, flat, np.array([value for _, value in columns]), ROWS, LEAST)
    broken = {}
    for triple in itertools.combinations(range(ROWS), 3):
        total = sum(value for rows, value in columns if len(rows & set(triple)) >= 2)
        if total > 1 + LEAST + 1e-9:
            broken[triple] = total - 1
    told = {tuple(t): e for t, e in zip(found.tolist(), excess.tolist(), strict=True) if e > LEAST + 1e-9}
    assert told == pytest.approx(broken)


@pytest.fixture(scope="module")
def listed() -> tuple[Relaxation, Pool]:
    """Return the solved relaxation of a hard week and every route within 20.00 of its prices."""

    def check() -> None:
        pass

    relax = Relaxation(build(read_week((WEEKS / "mixed-45x4.week.json").read_bytes()), fixed=NOTHING), 0, check, None)
    relax.run()
    assert relax.under(2_000, 30_000, 300_000)
    return relax, relax.pool


def test_no_choice_of_whole_routes_breaks_a_cut(listed: tuple[Relaxation, Pool]) -> None:
    relax, pool = listed
    closing = Closing(pool, list(range(len(pool))), lambda: None)
    closing.run(relax.dual, lambda: MANY, 1.0, lambda _: None)
    assert any(cut.most == 1 for cut in closing.cuts)
    assert closing.value > relax.value + 100
    chance = np.random.default_rng(5)
    other = pool.part(np.arange(len(pool)))  # the same routes at other costs: other choices are best
    other.cost = [int(c * chance.uniform(0.3, 1.0)) for c in pool.cost]
    chosen = select(other, closing.kept.tolist(), seconds=None).columns
    assert chosen
    taken = np.isin(closing.kept, chosen)
    assert all(taken[cut.columns] @ cut.weight <= cut.most for cut in closing.cuts)


@pytest.mark.slow
def test_the_steps_grow_to_all_that_a_better_plan_can_be_made_of(listed: tuple[Relaxation, Pool]) -> None:
    relax, pool = listed
    best = select(pool, range(len(pool)), seconds=None)
    closing = Closing(pool, list(range(len(pool))), lambda: None)
    closing.run(relax.dual, lambda: best.cost + 500, 1.0, lambda _: None)
    assert closing.value <= best.cost
    assert len(closing.kept) < len(pool)
    steps = list(closing.steps(lambda: best.cost + 500, 1.0, 50))
    assert all(set(a) <= set(b) for a, b in itertools.pairwise(steps))
    found = select(pool, closing.kept[steps[-1]].tolist(), seconds=None, cuts=closing.limits(steps[-1]))
    assert found.cost == best.cost


@pytest.mark.slow
def test_a_job_that_must_be_done_costs_what_it_does_without_cuts(listed: tuple[Relaxation, Pool]) -> None:
    relax, pool = listed
    best = select(pool, range(len(pool)), seconds=None)
    assert best.columns
    done = {int(j) for c in best.columns for j in pool.jobs[c]}
    left_out = sorted({int(j) for jobs in pool.jobs for j in jobs} - done)
    costs = []
    for job in left_out[:2]:  # some of them: each takes as long as a plan
        plain = select(pool, range(len(pool)), seconds=None, must=job)
        closing = Closing(pool, list(range(len(pool))), lambda: None, must=job)
        closing.run(relax.dual, lambda: MANY, 1.0, lambda _: None)
        found = select(pool, closing.kept.tolist(), seconds=None, cuts=closing.cuts, must=job)
        assert found.cost == plain.cost
        assert relax.value < closing.value <= plain.cost + 1e-3
        assert list(closing.steps(lambda: MANY, 1.0, 1)) != [] or plain.columns is None
        costs.append(plain.cost)
    assert np.isinf(costs).any()  # one goes after a job that none of these routes serves
    assert np.isfinite(costs).any()
