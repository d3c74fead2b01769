"""Compiled separation of subset-row cuts: of three rows that each take one route, one route can stand in two or more.

M. Jepsen, B. Petersen, S. Spoorendonk, D. Pisinger: Subset-row inequalities applied to the vehicle-routing problem with
time windows, Operations Research 56(2), 2008. Theirs are over rows of customers; here the three may be any rows that
take one route at most: a job, a crew's day, the one helper of a day.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from scheduler.engine.model.arrays import Ints
from scheduler.engine.model.compiled import compiled


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


def spread(found: Ints, excess: Any, most: int, of_one: int) -> Ints:
    """Return the most broken of the triples of rows, `most` in all and `of_one` over any one row."""
    often: Counter[int] = Counter()
    taken: list[list[int]] = []
    for n in np.argsort(-excess, kind="stable"):
        triple = [int(r) for r in found[n]]
        if len(taken) < most and all(often[r] < of_one for r in triple):
            often.update(triple)
            taken.append(triple)
    return np.array(taken, dtype=np.int64).reshape(-1, 3)
