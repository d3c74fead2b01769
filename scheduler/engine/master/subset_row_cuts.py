"""Compiled separation of subset-row cuts: of three rows that each take one route, one route can stand in two or more.

M. Jepsen, B. Petersen, S. Spoorendonk, D. Pisinger: Subset-row inequalities applied to the vehicle-routing problem with
time windows, Operations Research 56(2), 2008. Theirs are over rows of customers; here the three may be any rows that
take one route at most: a job, a crew's day, the one helper of a day. Of larger odd sets of rows the halves rounded down
cut as well: A. Caprara, M. Fischetti: {0, 1/2}-Chvatal-Gomory cuts, Mathematical Programming 74, 1996.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

import numpy as np

from scheduler.engine.model.arrays import Ints
from scheduler.engine.model.compiled import compiled

LARGEST_SET = 9  # rows of one cut
MOST_SETS, SETS_OF_A_ROW = 40, 4  # added at once, in all and over one row
SET_TRIES = 4  # sets grown from one row
SET_NOISE = 0.05  # of a route that chance adds to each row, so that another set grows each time


@compiled
def broken_triples(ptr: Any, flat: Any, value: Any, rows: int, least: float) -> tuple[Any, Any]:
    """Return triples of rows of which routes worth more than 1 + least stand in two or more, and by how much."""
    both = np.zeros((rows, rows))
    for r in range(len(value)):
        for a in range(ptr[r], ptr[r + 1]):
            for b in range(ptr[r], ptr[r + 1]):
                if a != b:
                    both[flat[a], flat[b]] += value[r]
    room = 4096
    found = np.empty((room, 3), np.int64)
    excess = np.empty(room)
    n = 0
    for i in range(rows):
        near = np.nonzero(both[i])[0]
        for y in range(len(near)):
            for z in range(y + 1, len(near)):
                # routes in two of three rows are worth more than 1 only where two pairs of the rows meet: i is in both
                j, k = near[y], near[z]
                if both[j, k] > 0.0 and (i > j or i > k):
                    continue  # all three meet: found from the least of them
                total = both[i, j] + both[j, k] + both[i, k]
                if total <= 1.0 + least:
                    continue
                for r in range(len(value)):  # a route in all three was counted three times
                    held = 0
                    for p in range(ptr[r], ptr[r + 1]):
                        if flat[p] == i or flat[p] == j or flat[p] == k:
                            held += 1
                    if held == 3:
                        total -= 2 * value[r]
                if total > 1.0 + least and n < room:
                    low, high = min(i, j, k), max(i, j, k)
                    found[n, 0], found[n, 1], found[n, 2] = low, i + j + k - low - high, high
                    excess[n] = total - 1.0
                    n += 1
    return found[:n], excess[:n]


def broken_sets(ptr: Ints, flat: Ints, value: Any, rows: int, least: float) -> tuple[Ints, Any]:
    """Return odd sets of five and more rows that routes break, -1 after the last row of each, and by how much.

    Of 2k + 1 rows that take one route each, half of the rows in which a route stands, rounded down, comes to k at most
    over the routes of a plan. Twice the excess is 1 less what the rows lack and less the routes that stand in an odd
    number of them: from each row on, the two rows are added that leave the least of both.
    """
    stands = np.zeros((rows, len(value)), dtype=bool)
    stands[flat, np.repeat(np.arange(len(value)), np.diff(ptr))] = True
    lack = np.maximum(0.0, 1.0 - stands @ value)
    open_ = np.nonzero((stands & (value < 1.0 - 1e-6)).any(axis=1))[0]
    alike, which = np.unique(stands[open_], axis=0, return_index=True)  # rows of the same routes say the same
    names = open_[which]
    chance = np.random.default_rng(len(names)).random((SET_TRIES, len(names), len(names))) * SET_NOISE
    column, row = np.nonzero(alike.T)
    within = np.searchsorted(column, np.arange(len(value) + 1))
    found, excess = _grown(within, row, value, lack[names], chance, LARGEST_SET, least)
    sets = np.sort(np.append(names, rows)[found], axis=1)
    return np.where(sets < rows, sets, -1), excess


@compiled
def _grown(ptr: Any, flat: Any, value: Any, lack: Any, chance: Any, largest: int, least: float) -> tuple[Any, Any]:
    """Return the sets grown from each row, once for each of the tables of `chance`, that are broken."""
    tries, rows = chance.shape[0], len(lack)
    most = tries * rows * largest
    found, excess, n = np.full((most, largest), -1), np.empty(most), 0
    for number in range(tries * rows):
        inside, odd, two = np.zeros(rows, np.bool_), np.zeros(len(value), np.bool_), np.full(2, number % rows)
        for size in range(1, largest + 1, 2):
            for t in range(1 if size == 1 else 2):
                inside[two[t]] = True
                for r in range(len(value)):
                    for a in range(ptr[r], ptr[r + 1]):
                        odd[r] ^= flat[a] == two[t]
            weight = lack[inside].sum() + value[odd].sum()
            if size > 3 and weight < 1.0 - 2.0 * least:
                found[n, :size] = np.nonzero(inside)[0]
                excess[n] = 0.5 * (1.0 - weight)
                n += 1
            _best_two(ptr, flat, value, lack, inside, odd, chance[number // rows, number % rows], two)
            if inside[two[0]]:
                break  # none is left
    return found[:n], excess[:n]


@compiled
def _best_two(ptr: Any, flat: Any, value: Any, lack: Any, inside: Any, odd: Any, chance: Any, two: Any) -> None:
    """Write to `two` the rows outside that add least to the odd routes and to the lack; `chance` decides among like."""
    rows = len(lack)
    alone, both = lack + chance, np.zeros((rows, rows))
    for r in range(len(value)):
        more = -value[r] if odd[r] else value[r]
        for a in range(ptr[r], ptr[r + 1]):
            alone[flat[a]] += more
            for b in range(ptr[r], ptr[r + 1]):
                both[flat[a], flat[b]] += more
    best = np.inf
    for i in range(rows):
        for j in range(i + 1, rows):
            if not inside[i] and not inside[j] and alone[i] + alone[j] - 2.0 * both[i, j] < best:
                best = alone[i] + alone[j] - 2.0 * both[i, j]
                two[0], two[1] = i, j


def spread(found: Ints, excess: Any, most: int, of_one: int) -> Ints:
    """Return the most broken of the sets of rows, each once, `most` in all and `of_one` over any one row."""
    often: Counter[int] = Counter()
    taken: dict[tuple[int, ...], int] = {}
    for n in np.argsort(-excess, kind="stable").tolist():
        rows = tuple(r for r in found[n].tolist() if r >= 0)
        if len(taken) < most and rows not in taken and all(often[r] < of_one for r in rows):
            often.update(rows)
            taken[rows] = n
    return found[list(taken.values())]


def broken(ptr: Ints, flat: Ints, value: Any, rows: int, least: float) -> Ints:
    """Return odd sets of rows to cut by, -1 after the last row of each: triples and, if those are few, larger."""
    triples = spread(*broken_triples(ptr, flat, value, rows, least), MOST_SETS, SETS_OF_A_ROW)
    wide = np.full((len(triples), LARGEST_SET), -1)
    wide[:, :3] = triples
    if 2 * len(triples) > MOST_SETS:
        return wide
    return np.concatenate([wide, spread(*broken_sets(ptr, flat, value, rows, least), MOST_SETS, SETS_OF_A_ROW)])


def least_memory(odd_sets: Ints, routes: Iterable[tuple[int, list[int]]], jobs: int) -> Any:
    """Return by odd set and job row, (sets, jobs), where a route that stands in one more row of the set remembers it.

    routes: the row of each one's crew day, and those of its jobs in their order. They count for as many halves of each
    set as if they always remembered; others count for fewer, which is as true, and labels that forget a set make more
    of the others needless. (D. Pecin, A. Pessoa, M. Poggi, E. Uchoa: Improved branch-cut-and-price for capacitated
    vehicle routing, Mathematical Programming Computation 9(1), 2017.)
    """
    memory = np.zeros((len(odd_sets), jobs), dtype=np.bool_)
    known = list(routes)
    for remembered, odd_set in zip(memory, odd_sets.tolist(), strict=True):
        remembered[[row for row in odd_set if 0 <= row < jobs]] = True
        for day, route in known:
            odd, between = day in odd_set, list[int]()
            for row in route:
                if row in odd_set:
                    if odd:
                        remembered[between] = True
                    odd, between = not odd, []
                else:
                    between.append(row)
    return memory
