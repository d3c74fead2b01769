"""Compiled: complete routes of one crew day, of each set of jobs the cheapest."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.model.schedule import home
from scheduler.engine.pricing.kept import heads_for, slot_of
from scheduler.engine.pricing.labels import EPSILON, Labels, equal, nth
from scheduler.engine.pricing.problem import Duals, PricingProblem, Wanted


class Found(NamedTuple):
    """For each route its last label, reduced cost, cents and minutes out; `head` and `chain` find the set again.

    `count` is how many there are, and at how many the threshold is lowered next; `threshold` what routes must be under.
    """

    label: Any
    reduced: Any
    cost: Any
    out: Any
    head: Any
    chain: Any
    count: Any  # (2,)
    threshold: Any  # (1,)


@compiled
def none_found(wanted: Wanted) -> Found:
    """Return the place for as many routes as there may be labels."""
    count, threshold = np.zeros(2, np.int64), np.empty(1)
    count[1], threshold[0] = 2 * wanted.most, wanted.threshold
    return Found(
        np.empty(wanted.room, np.int32),
        np.empty(wanted.room),
        np.empty(wanted.room, np.int64),
        np.empty(wanted.room, np.int64),
        np.full(heads_for(wanted.room), -1, np.int32),
        np.empty(wanted.room, np.int32),
        count,
        threshold,
    )


@inlined
def go_home(found: Found, labels: Labels, c: int, p: PricingProblem, duals: Duals, most: int, by_set: bool) -> None:
    """Take note of the route that goes home after label c, where it can, is wanted, and is its set's cheapest.

    That is by cents where `by_set`, else by reduced cost: where odd sets are forgotten it hangs on the order.
    Where minutes out have a price of their own and `by_set`, a set keeps each way that is cheaper or out for less.
    """
    yard, node = len(p.stops.service), labels.node[c]
    back, whole = home(labels.early[c], labels.work[c], labels.late[c], p.stops.minutes[node, yard])
    if back > p.hours.latest or (p.hours.rests and labels.rested[c] == 0 and whole > p.hours.rest.after):
        return
    late = max(0, back - p.hours.end)
    reduced = labels.base[c] + p.stops.way[node, yard] + p.rates.minute * whole + p.rates.overtime * late
    reduced = reduced + p.rates.day - duals.crew_day
    if reduced >= found.threshold[0]:
        return
    metres = labels.metres[c] + p.stops.metres[node, yard]
    cost = labels.options[c] + p.rates.day + p.rates.pay * whole + int(p.rates.overtime) * late
    cost += (p.rates.km * metres + 500) // 1000 + labels.helpers[c] * p.rates.helper
    at = slot_of(labels.key[c], len(found.head))
    old = found.head[at]
    while old >= 0:
        same = labels.key[found.label[old]] == labels.key[c]
        if same and (not by_set or equal(labels.seen[found.label[old]], labels.seen[c])):  # else part may be forgotten
            if not (p.rates.weekly and by_set):
                better = cost < found.cost[old] if by_set else reduced < found.reduced[old] - EPSILON
                if better:
                    found.label[old], found.reduced[old], found.cost[old], found.out[old] = c, reduced, cost, whole
                return
            if found.cost[old] <= cost and found.out[old] <= whole:
                return
            if cost <= found.cost[old] and whole <= found.out[old]:
                found.label[old], found.reduced[old], found.cost[old], found.out[old] = c, reduced, cost, whole
                return
        old = found.chain[old]
    n = found.count[0]
    found.label[n], found.reduced[n], found.cost[n], found.out[n] = c, reduced, cost, whole
    found.chain[n] = found.head[at]
    found.head[at] = n
    n += 1
    found.count[0] = n
    if most and n >= found.count[1]:
        found.threshold[0] = min(found.threshold[0], nth(found.reduced, 0, n, most - 1, labels.space) + EPSILON)
        found.count[1] = n + most


@compiled
def routes_of(found: Found, labels: Labels) -> tuple[Any, Any, Any, Any, Any, Any]:
    """Return the routes' jobs in visiting order, flat with pointers; cents, helpers, reduced cost and minutes out."""
    count = found.count[0]
    ptr = np.zeros(count + 1, np.int64)
    for r in range(count):
        stops = 0
        label = found.label[r]
        while label > 0:
            stops += 1
            label = labels.parent[label]
        ptr[r + 1] = ptr[r] + stops
    jobs = np.empty(ptr[count], np.int16)
    helpers = np.empty(count, np.int64)
    for r in range(count):
        label = found.label[r]
        helpers[r] = labels.helpers[label]
        place = ptr[r + 1]
        while label > 0:
            place -= 1
            jobs[place] = labels.node[label]
            label = labels.parent[label]
    return jobs, ptr, found.cost[:count].copy(), helpers, found.reduced[:count].copy(), found.out[:count].copy()
