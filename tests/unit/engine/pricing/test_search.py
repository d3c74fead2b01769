"""The compiled searches against plain Python, on crew days of random weeks."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from scheduler import build
from scheduler.engine.local_search.route_cost import NEVER, arrays, route_cost
from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.model.timing import time_route
from scheduler.engine.pricing.columns import Columns
from scheduler.engine.pricing.crew_day import Day, Prices
from scheduler.engine.pricing.search import COMPLETE, FULL
from tests.weeks import small_week

MOST = 5


def models() -> list[Model]:
    made = []
    for seed in range(60):
        model = build(small_week(random.Random(seed), jobs=MOST, crews=2, days=2))
        if model.crew_days:
            made.append(model)
    return made


@pytest.fixture(scope="module")
def drawn() -> list[Model]:
    return models()


def fits(model: Model, k: int, jobs: tuple[int, ...]) -> bool:
    """Whether what the van holds and the follows among these jobs allow the order."""
    if model.weight[list(jobs)].sum() > model.payload[k] or model.boxes[list(jobs)].sum() > model.max_boxes[k]:
        return False
    for first, then, least, *_ in model.follow:
        if first in jobs and then in jobs and (least > 0 or jobs.index(then) < jobs.index(first)):
            return False
    return True


def by_hand(model: Model, k: int) -> dict[tuple[int, ...], int]:
    """Return the least cost of every set of jobs that crew day k can serve, over all orders, by the plain timing."""
    found: dict[tuple[int, ...], int] = {}
    jobs = model.crew_days[k].jobs
    for size in range(1, len(jobs) + 1):
        for order in itertools.permutations(jobs, size):
            if fits(model, k, order) and (timed := time_route(model, k, list(order))):
                key = tuple(sorted(order))
                found[key] = min(timed.cost, found.get(key, timed.cost))
    return found


def as_sets(columns: Columns) -> dict[tuple[int, ...], int]:
    return {
        tuple(sorted(int(j) for j in columns.jobs[columns.ptr[c] : columns.ptr[c + 1]])): int(columns.cost[c])
        for c in range(len(columns))
    }


def sets_of(rows: int) -> Ints:
    """Return all sets of three rows and some of five."""
    five = list(itertools.combinations(range(rows), 5))[::3]
    three = [(*triple, -1, -1) for triple in itertools.combinations(range(rows), 3)]
    return np.array(three + five, np.int64).reshape(-1, 5)


def drawn_prices(model: Model, k: int, day: Day, chance: np.random.Generator) -> Prices:
    """Return prices of all kinds but of weekly minutes, for the pricing of crew day k."""
    odd_sets = sets_of(len(model.service))
    return Prices(
        job=[chance.uniform(0, 40_000, len(c.jobs)) for c in model.crew_days],
        sigma=-chance.uniform(0, 3_000, len(model.crew_days)),
        helper=chance.uniform(0, 4_000, len(model.helper_cap)),
        pool=chance.uniform(0, 4_000, len(model.pool_cap)),
        pair=[np.zeros(0)] * k + [chance.uniform(0, 4_000, len(day.pairs))],
        odd_sets=odd_sets,
        odd_memory=np.ones((len(odd_sets), len(model.service)), np.bool_),
        odd_set=chance.uniform(0, 6_000, len(odd_sets)),
        weekly=np.zeros(0),
    )


def test_every_set_is_found_at_its_least_cost(drawn: list[Model]) -> None:
    for model in drawn:
        for k in range(len(model.crew_days)):
            columns, _, ended, _ = Day(model, k).search(None, 1e15, every_set=True, room=50_000)
            assert ended == COMPLETE
            assert as_sets(columns) == by_hand(model, k)


def test_the_most_negative_route_is_found_whatever_the_prices(drawn: list[Model]) -> None:
    chance = np.random.default_rng(3)
    for model in drawn:
        for k in range(len(model.crew_days)):
            day = Day(model, k)
            prices = drawn_prices(model, k, day, chance)
            _, every, *_ = day.search(prices, 1e15, every_set=True, room=50_000)
            _, few, ended, _ = day.search(prices, 1e15, every_set=False, room=50_000)
            assert ended == COMPLETE
            assert few.min() == pytest.approx(every.min(), abs=1e-6)


@pytest.mark.parametrize(("beam", "room"), [(1, 50_000), (3, 50_000), (0, 3), (0, 12), (4, 20)])
def test_what_a_search_leaves_out_is_bounded(drawn: list[Model], beam: int, room: int) -> None:
    """Whatever cuts it short, no route of the day is cheaper than it says; where nothing does, it says which is."""
    chance, cut = np.random.default_rng(6), 0
    for model in drawn:
        for k in range(len(model.crew_days)):
            day = Day(model, k)
            prices = drawn_prices(model, k, day, chance)
            _, every, *_ = day.search(prices, 1e15, every_set=True, room=50_000)
            _, found, ended, least = day.search(prices, 1e15, every_set=False, room=room, beam=beam, most=1)
            assert least <= every.min() + 1e-6
            if ended == COMPLETE:
                assert least == pytest.approx(every.min(), abs=1e-6)
            cut += ended != COMPLETE and (len(found) == 0 or found.min() > every.min() + 1)
    assert cut > 0  # some missed the cheapest


def test_what_can_no_longer_be_reached_hides_no_route() -> None:
    """On days of narrow windows, some jobs tied in order, by drives that are not always the shortest ways."""
    chance = np.random.default_rng(5)
    for seed in range(100, 125):
        model = build(small_week(random.Random(seed), jobs=7, crews=2, days=2))
        for k in range(len(model.crew_days)):
            first = chance.integers(model.start[k], model.end[k], len(model.opt_lo))
            skewed = np.where(chance.random(model.minutes.shape) < 0.3, 3 * model.minutes, model.minutes)
            narrow = replace(model, opt_lo=first, opt_hi=first + chance.integers(0, 90, len(first)), minutes=skewed)
            day = Day(narrow, k)
            prices = drawn_prices(narrow, k, day, chance)
            _, every, *_ = day.search(prices, 1e15, every_set=True, room=50_000)
            _, few, *_ = day.search(prices, 1e15, every_set=False, room=50_000)
            assert len(few) == len(every) == 0 or few.min() == pytest.approx(every.min(), abs=1e-6)


def test_each_two_of_an_odd_set_cost_its_price(drawn: list[Model]) -> None:
    chance = np.random.default_rng(4)
    for model in drawn:
        rows = len(model.service) + len(model.crew_days)
        odd_sets = sets_of(rows)
        price = chance.uniform(0, 6_000, len(odd_sets))
        for k in range(len(model.crew_days)):
            day = Day(model, k)
            prices = Prices(
                job=[np.zeros(len(c.jobs)) for c in model.crew_days],
                sigma=np.zeros(len(model.crew_days)),
                helper=np.zeros(len(model.helper_cap)),
                pool=np.zeros(len(model.pool_cap)),
                pair=[np.zeros(0)] * k + [np.zeros(len(day.pairs))],
                odd_sets=odd_sets,
                odd_memory=np.ones((len(odd_sets), len(model.service)), np.bool_),
                odd_set=price,
                weekly=np.zeros(0),
            )
            columns, reduced, *_ = day.search(prices, 1e15, every_set=True, room=50_000)
            for c in range(len(columns)):
                held = [*columns.jobs_of(c), len(model.service) + k]
                twos = np.isin(odd_sets, held).sum(axis=1) // 2
                rounding = 0.5 + 1e-6  # of the metres
                assert reduced[c] == pytest.approx(columns.cost[c] + price @ twos, abs=rounding)


def test_a_set_forgotten_on_the_way_costs_nothing_and_the_least_order_is_found(drawn: list[Model]) -> None:
    """Against every order of every set of jobs, with memories drawn by chance; labels that forget jobs find it too."""
    chance, forgot = np.random.default_rng(8), 0
    for model in drawn[:30]:
        own = len(model.service)
        odd_sets = sets_of(own + len(model.crew_days))
        memory = chance.random((len(odd_sets), own)) < 0.5
        price = chance.uniform(0, 6_000, len(odd_sets))
        for k in range(len(model.crew_days)):
            day = Day(model, k)
            day.memory.some[:] = day.memory.bit  # each job remembers itself alone, at first
            prices = Prices(
                job=[chance.uniform(0, 40_000, len(c.jobs)) for c in model.crew_days],
                sigma=np.zeros(len(model.crew_days)),
                helper=np.zeros(len(model.helper_cap)),
                pool=np.zeros(len(model.pool_cap)),
                pair=[np.zeros(0)] * k + [np.zeros(len(day.pairs))],
                odd_sets=odd_sets,
                odd_memory=memory,
                odd_set=price,
                weekly=np.zeros(0),
            )
            prize = dict(zip(model.crew_days[k].jobs, prices.job[k], strict=True))
            least, forgetful = np.inf, not len(model.follow)
            for size in range(1, len(prize) + 1):
                for order in itertools.permutations(prize, size):
                    if fits(model, k, order) and (timed := time_route(model, k, list(order))):
                        halves = [halves_of(odd_set, order, own + k, remembers)
                                  for odd_set, remembers in zip(odd_sets.tolist(), memory, strict=True)]  # fmt: skip
                        least = min(least, timed.cost - sum(prize[j] for j in order) + price @ halves)
            found = day.search(prices, 1e15, every_set=False, room=50_000)
            assert found.least == pytest.approx(least, abs=1)  # of the metres
            for _ in range(10 if forgetful else 0):
                again = day.search(prices, 1e15, every_set=False, room=50_000, forgetful=True)
                assert again.least <= found.least + 1e-6
                assert len(again.columns) > 0 or again.ended != COMPLETE  # there are some
                assert all(
                    len(set(jobs)) == len(jobs) for jobs in map(again.columns.jobs_of, range(len(again.columns)))
                )
                forgot += again.least < found.least - 1
                if again.least >= found.least - 1e-6:
                    break
            else:
                assert not forgetful
    assert forgot > 0


def halves_of(odd_set: list[int], order: Sequence[int], own: int, remembers: Any) -> int:
    """Return for how many twos of an odd set's rows a route counts that forgets the first one on the way."""
    odd, halves = own in odd_set, 0
    for j in order:
        if j in odd_set:
            halves += odd
            odd = not odd
        odd = odd and bool(remembers[j])
    return halves


def test_a_beam_may_miss_routes_but_never_makes_one_up(drawn: list[Model]) -> None:
    for model in drawn[:20]:
        for k in range(len(model.crew_days)):
            columns, *_ = Day(model, k).search(None, 1e15, every_set=False, room=50_000, beam=2)
            every = by_hand(model, k)
            for jobs, cost in as_sets(columns).items():
                assert cost >= every[jobs]


def test_too_little_room_is_said(drawn: list[Model]) -> None:
    model = max(drawn, key=lambda m: max(len(c.jobs) for c in m.crew_days))
    k = max(range(len(model.crew_days)), key=lambda n: len(model.crew_days[n].jobs))
    _, _, ended, _ = Day(model, k).search(None, 1e15, every_set=True, room=2)
    assert ended == FULL


def test_quick_timing_agrees_with_the_plain_one(drawn: list[Model]) -> None:
    for model in drawn:
        week = arrays(model)
        for k in range(len(model.crew_days)):
            for order in itertools.permutations(model.crew_days[k].jobs, min(3, len(model.crew_days[k].jobs))):
                timed = time_route(model, k, list(order))
                helpers = max(0, max(int(model.job_hands[j]) for j in order) - int(model.hands[k]))
                if helpers and model.helper_row[k] < 0:
                    continue
                quick = route_cost(week, k, np.array(order, dtype=np.int64), len(order), helpers)
                assert quick == (timed.cost if timed else NEVER)
