"""How soon one job can follow another, against every order tried."""

from __future__ import annotations

import itertools

import numpy as np

from scheduler.engine.model.soonest import soonest


def test_the_least_over_all_orders_of_what_lies_between() -> None:
    chance = np.random.default_rng(2)
    for _ in range(20):
        minutes, service = chance.integers(1, 60, (5, 5)), chance.integers(1, 20, 5)
        np.fill_diagonal(minutes, 0)
        least = soonest(minutes, service)
        for a, b in itertools.permutations(range(5), 2):
            others = [j for j in range(5) if j not in (a, b)]
            ways = [w for n in range(4) for w in itertools.permutations(others, n)]
            assert least[a, b] == min(
                sum(minutes[x, y] for x, y in itertools.pairwise((a, *w, b))) + sum(service[j] for j in w) for w in ways
            )


def test_drives_that_keep_the_triangle_inequality_stay() -> None:
    spots = np.random.default_rng(3).integers(0, 100, (8, 2))
    minutes = np.abs(spots[:, None] - spots[None, :]).sum(axis=2)
    assert (soonest(minutes, np.full(8, 5)) == minutes).all()
