"""Compiled: the labels of the route search, and when one makes another needless (dominance)."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.pricing.problem import INF, Duals, PricingProblem

EPSILON = 1e-9  # cents: costs that differ by less are the same


class Labels(NamedTuple):
    """Partial routes that end with a service at `node`, one to an index; index 0 is the crew in the yard.

    early, work, late: the schedule (`scheduler.engine.model.schedule`). `base` is the reduced cost so far without the
    pay for time, `score` what the whole route costs at least; `options` and `metres` are for the exact cost.
    """

    node: Any
    parent: Any
    early: Any
    work: Any
    late: Any
    rested: Any
    base: Any
    score: Any
    alive: Any
    options: Any
    metres: Any
    weight: Any
    boxes: Any
    helpers: Any
    gear: Any  # (labels, pieces)
    seen: Any  # (labels, words)
    past: Any  # (labels, words): the jobs seen and those that can no longer be reached in time
    odd: Any  # (labels, words): odd sets of which the route is in an odd number of rows: the next one costs
    key: Any
    space: Any  # to work in


class Reached(NamedTuple):
    """A label that is not stored yet: its schedule, cost, rest and helpers; what it has seen and taken stand apart."""

    early: int
    work: int
    late: int
    base: float
    rested: int
    helpers: int
    weight: int
    boxes: int


@compiled
def in_the_yard(p: PricingProblem, duals: Duals, room: int) -> Labels:
    """Return space for `room` labels and that of the yard."""
    size, words, kinds = room + 1, p.follows.bit.shape[1], duals.gear.shape[1]
    odd_sets = duals.odd_set.shape[1]
    labels = Labels(
        np.empty(size, np.int16),
        np.empty(size, np.int32),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.int8),
        np.empty(size),
        np.empty(size),
        np.empty(size, np.bool_),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty(size, np.int64),
        np.empty((size, kinds), np.int64),
        np.empty((size, words), np.uint64),
        np.empty((size, words), np.uint64),
        np.empty((size, odd_sets), np.uint64),
        np.empty(size, np.uint64),
        np.empty(size),
    )
    labels.node[0], labels.parent[0], labels.alive[0] = len(p.stops.service), -1, True
    labels.early[0], labels.work[0], labels.late[0], labels.rested[0] = p.hours.start, 0, p.hours.latest, 0
    labels.base[0], labels.score[0] = 0.0, -INF  # nothing is known of what follows
    labels.options[0], labels.metres[0], labels.weight[0], labels.boxes[0], labels.helpers[0] = 0, 0, 0, 0, 0
    labels.gear[0], labels.seen[0], labels.past[0], labels.key[0] = 0, 0, 0, 0
    labels.odd[0] = duals.odd_set_start
    return labels


@inlined
def equal(a: Any, b: Any) -> bool:
    """Say whether two sets are the same."""
    same = True
    for w in range(len(a)):
        same &= a[w] == b[w]
    return same


@inlined
def sum_of(price: Any, word: int, bits: Any) -> float:
    """Return the sum of the prices whose bits stand in a word of a set."""
    total, place = 0.0, 64 * word
    while bits:
        if bits & np.uint64(1):
            total += price[place]
        bits >>= np.uint64(1)
        place += 1
    return total


@inlined
def dominates(
    labels: Labels,
    x: int,
    other: Reached,
    other_seen: Any,
    other_past: Any,
    other_gear: Any,
    other_odd: Any,
    same_set: bool,
    p: PricingProblem,
    duals: Duals,
) -> bool:
    """Say whether label x makes the other one, at the same job, needless: whatever follows costs x no more.

    As a function of the minute t at which the last service ends, a label has cost base + minute * max(work, t - late).
    That of x must not exceed the other's for any t from the other's earliest on: enough at that minute and in the
    limit. `same_set`: only the same sets of jobs are compared; else x may have served what the other cannot reach.
    """
    # of the same set every timing is wanted that is cheaper or out for less: compared by pay, and by minutes below
    every_way = same_set and p.rates.weekly
    minute = float(p.rates.pay) if every_way else p.rates.minute
    if labels.early[x] > other.early or labels.rested[x] < other.rested:
        return False
    base = labels.base[x]
    flat = base - minute * labels.late[x]
    other_flat = other.base - minute * other.late
    if flat > other_flat + EPSILON:
        return False
    now = max(flat, base + minute * labels.work[x] - minute * other.early)
    other_now = max(other_flat, other.base + minute * other.work - minute * other.early)
    if now > other_now + EPSILON:
        return False
    step = (other.early - p.hours.start) // p.loads.width
    if labels.weight[x] > max(other.weight, p.loads.spare_weight[step]):
        return False
    if labels.boxes[x] > max(other.boxes, p.loads.spare_boxes[step]):
        return False
    if every_way or (p.hours.rests and labels.rested[x] == 0):
        # x must be out no longer than the other, so that it needs no rest wherever that does not
        shortest = max(other.work, other.early - other.late)
        if labels.late[x] < other.late or labels.work[x] > shortest:
            return False
    if same_set:
        return equal(labels.seen[x], other_seen)
    for w in range(len(other_seen)):
        if labels.seen[x, w] & ~other_past[w]:
            return False
        if (labels.seen[x, w] ^ other_seen[w]) & p.follows.firsts[w]:
            return False
    # x may have paid for fewer pieces and helpers: it may have to pay for them later
    owed = 0.0
    for e in range(len(other_gear)):
        owed += duals.gear_price[e] * max(0, other_gear[e] - labels.gear[x, e])
    owed += (p.rates.helper + duals.helper) * max(0, other.helpers - labels.helpers[x])
    # and it may be where the next job of an odd set costs, while the other is not
    for w in range(len(other_odd)):
        half = labels.odd[x, w] & ~other_odd[w]
        if half:
            owed += sum_of(duals.odd_set_price, w, half)
    if owed == 0.0:
        return True
    return bool(now + owed <= other_now + EPSILON and flat + owed <= other_flat + EPSILON)


@inlined
def as_reached(labels: Labels, x: int) -> Reached:
    """Return a stored label as one that another may dominate."""
    return Reached(
        labels.early[x],
        labels.work[x],
        labels.late[x],
        labels.base[x],
        int(labels.rested[x]),
        labels.helpers[x],
        labels.weight[x],
        labels.boxes[x],
    )


@inlined
def nth(value: Any, begin: int, stop: int, n: int, space: Any) -> float:
    """Return the value of rank n, from 0, among value[begin:stop], by Hoare's quickselect in `space`."""
    low, high = 0, stop - begin - 1
    for x in range(high + 1):
        space[x] = value[begin + x]
    while low < high:
        pivot = space[(low + high) >> 1]
        a, b = low, high
        while a <= b:
            while space[a] < pivot:
                a += 1
            while space[b] > pivot:
                b -= 1
            if a <= b:
                space[a], space[b] = space[b], space[a]
                a += 1
                b -= 1
        if n <= b:
            high = b
        elif n >= a:
            low = a
        else:
            break
    return float(space[n])
