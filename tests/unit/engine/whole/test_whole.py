"""The model of the whole week: what is said of the order of stops, among given sets, shuts no plan out."""

from __future__ import annotations

import random
from itertools import chain, combinations

import msgspec
import pytest

from scheduler import build
from scheduler.engine.model.arrays import Model
from scheduler.engine.whole.week import Sets, WholeModel
from scheduler.week import Week2, checked
from tests.weeks2 import small_week2

DEAR = 500_000
ALONE = None, 1, 0, lambda: False, lambda _: None, lambda _: None  # seconds, workers, seed, stopped, better, proven


def least(model: Model, sets: dict[int, Sets] | None, under: int | None = None) -> tuple[int | None, float]:
    """Return the cost of the cheapest plan (None: there is none) and what the solver proves of any."""
    whole = WholeModel(model, list(range(len(model.crew_days))), {}, sets)
    if under is not None:
        whole.under(under)
    found = whole.solve(*ALONE)
    return None if found.times is None else found.cost, found.bound


def every_set(model: Model, k: int) -> Sets:
    """Return every set of up to four items of a crew day, of which nothing is known."""
    items = model.cand_job[model.cand_ptr[k] : model.cand_ptr[k + 1]].tolist()
    return {frozenset(s): (0, 0) for s in chain.from_iterable(combinations(items, n) for n in range(1, 5))}


def with_short_cuts(week: Week2, rng: random.Random) -> Week2:
    """Return the week with drives of which many are shorter past another place than straight on."""
    minutes = tuple(
        tuple(0 if a == b else rng.choice((0, 0, 400)) for b in range(len(row)))
        for a, row in enumerate(week.travel.minutes)
    )
    made = checked(msgspec.structs.replace(week, travel=msgspec.structs.replace(week.travel, minutes=minutes)))
    assert isinstance(made, Week2)
    return made


@pytest.mark.parametrize("seed", [111, 366, 397])
def test_every_order_of_stops_stays_possible_among_given_sets(seed: int) -> None:
    rng = random.Random(seed)
    model = build(with_short_cuts(small_week2(rng, jobs=4, crews=2, days=1), rng))
    cost, bound = least(model, None)
    assert cost == bound
    assert least(model, {k: every_set(model, k) for k in range(len(model.crew_days))}) == (cost, bound)


@pytest.mark.parametrize("seed", [0, 54, 57])
def test_crews_that_meet_twice_do_so_in_one_order_and_no_plan_is_lost(seed: int) -> None:
    model = build(small_week2(random.Random(seed), jobs=4, crews=2, days=1))
    model.skip_cost = model.skip_cost + DEAR  # so that both jobs with an assist are done
    free = list(range(len(model.crew_days)))
    found = WholeModel(model, free, {}, {k: every_set(model, k) for k in free}).solve(*ALONE)
    done = {i for items in found.routes.values() for i in items}
    assert sum(int(model.assist_of[i] >= 0) for i in done) == 2
    assert (found.cost, found.bound) == least(model, None)


def test_there_is_nothing_under_the_least_cost() -> None:
    model = build(small_week2(random.Random(3), jobs=3, crews=2, days=1))
    cost, _ = least(model, None)
    assert cost is not None
    assert least(model, None, under=cost) == (None, float("inf"))
    assert least(model, None, under=cost + 1) == (cost, cost)
