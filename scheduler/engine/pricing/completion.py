"""Compiled: completion bounds, what the rest of a crew day costs at least from any job and minute on.

Time runs in steps of `width` minutes, backward from the end of the day, so that every service leads to a step that is
done already. State s = 0: no rest to come, 1: one rest still to come. A completion may serve a job again, but does not
come straight back to the one that it left; and where a label has served the first next job of the best completion, the
best that goes elsewhere next bounds it (two-cycle elimination, looked at from the label).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.pricing.problem import INF, Bounds, PricingProblem


class _Tables(NamedTuple):
    """Least costs on arrival at job j, and after its service, at each step; the second of each pair goes elsewhere.

    `arrive` goes next to `then`, `go` next to `to` (n: home). Of job j no service ends before step `first[j]`, and no
    arrival after step `last[j]` is in time. A step may hide `slack` cents of waiting that is not waited.
    """

    arrive: Any  # (states, n, steps + 1, 2)
    then: Any
    go: Any  # (states, n, steps, 2)
    to: Any
    first: Any
    last: Any
    slack: float
    width: int


@compiled
def bounds(p: PricingProblem, option: Any, width: int) -> Bounds:
    """Return the least costs to go after a service at job i that ends at minute start + b * width.

    go[s, i, b, 0] is the least of all, and goes next to to[s, i, b]; go[s, i, b, 1] the least that goes elsewhere next.
    `slip` lets the end slip to any later minute for nothing (a later departure from the yard pays for it). `option[o]`
    is the price of option o less the job's dual price. Waiting costs the crew's minute, like work.
    """
    n = len(p.stops.service)
    steps = (p.hours.latest - p.hours.start) // width + 1
    states = 2 if p.hours.rests else 1
    tables = _Tables(
        np.full((states, n, steps + 1, 2), INF),
        np.full((states, n, steps + 1), -1, np.int16),
        np.full((states, n, steps, 2), INF),
        np.full((states, n, steps), -1, np.int16),
        np.zeros(n, np.int64),
        np.zeros(n, np.int64),
        p.rates.minute * (width - 1),
        width,
    )
    least = _spans(p, tables)
    block = least // width
    if block < 1:  # a job without duration: no order of time to build on; every prize at most once still bounds it
        tables.go[:] = _all_prizes(p, option)
        return Bounds(width, tables.go, tables.to, tables.go, tables.to)
    stop = steps
    while stop > 0:
        first = max(0, stop - block)
        for s in range(states):
            for j in range(n):
                _arrivals(p, tables, option, s, j, first, stop)
            for i in range(n):
                _departures(p, tables, s, i, first, stop)
        stop = first
    slip, slip_to = tables.go.copy(), tables.to.copy()
    for s in range(states):
        for i in range(n):
            for b in range(steps - 2, -1, -1):
                _merge(slip, slip_to, s, i, b, slip[s, i, b + 1, 0], slip_to[s, i, b + 1], slip[s, i, b + 1, 1])
    return Bounds(width, tables.go, tables.to, slip, slip_to)


@compiled
def _spans(p: PricingProblem, tables: _Tables) -> int:
    """Write for each job the first step at which it ends and the last at which it is reached; return the least work."""
    n, least = len(p.stops.service), p.hours.latest
    for j in range(n):
        least = min(least, p.stops.service[j])
        first_arrival, first_start = p.hours.latest, p.hours.latest
        for i in range(n + 1):
            if i != j:
                first_arrival = min(first_arrival, p.hours.start + p.stops.minutes[i, j])
        for o in range(p.stops.ptr[j], p.stops.ptr[j + 1]):
            first_start = min(first_start, p.stops.lo[o])
        ends = max(first_arrival, first_start) + p.stops.service[j]
        tables.first[j] = max(0, (ends - p.hours.start) // tables.width)
        tables.last[j] = (max(0, p.stops.last[j]) - p.hours.start) // tables.width
    return least


@compiled
def _all_prizes(p: PricingProblem, option: Any) -> float:
    total = 0.0
    for j in range(len(p.stops.service)):
        best = 0.0
        for o in range(p.stops.ptr[j], p.stops.ptr[j + 1]):
            best = min(best, option[o])
        total += best
    return total


@inlined
def _arrivals(p: PricingProblem, tables: _Tables, option: Any, s: int, j: int, first: int, stop: int) -> None:
    """Write what it costs at least to be at job j from step `first` on: wait a step, serve it, or rest before it."""
    arrive, then, go, to, width, minute = (
        tables.arrive,
        tables.then,
        tables.go,
        tables.to,
        tables.width,
        p.rates.minute,
    )
    start, latest, rest = p.hours.start, p.hours.latest, p.hours.rest
    for b in range(min(stop, tables.last[j] + 1) - 1, first - 1, -1):
        t = start + b * width
        wait = minute * width
        _merge(arrive, then, s, j, b, arrive[s, j, b + 1, 0] + wait, then[s, j, b + 1], arrive[s, j, b + 1, 1] + wait)
        for o in range(p.stops.ptr[j], p.stops.ptr[j + 1]):
            after = s
            if p.stops.pause[o]:
                if s == 0:
                    continue
                after = 0
            if t <= p.stops.hi[o]:
                done = max(t, p.stops.lo[o]) + p.stops.service[j]
                if p.stops.pause[o]:
                    done += rest.length
                if done <= latest:
                    cost = option[o] + minute * (done - t) - tables.slack
                    d = (done - start) // width
                    _merge(arrive, then, s, j, b, cost + go[after, j, d, 0], to[after, j, d], cost + go[after, j, d, 1])
        if s == 1 and t <= rest.latest:
            done = max(t, rest.earliest) + rest.length
            if done <= latest:
                cost = minute * (done - t) - tables.slack
                d = (done - start) // width
                _merge(arrive, then, 1, j, b, cost + arrive[0, j, d, 0], then[0, j, d], cost + arrive[0, j, d, 1])


@inlined
def _departures(p: PricingProblem, tables: _Tables, s: int, i: int, first: int, stop: int) -> None:
    """Write what it costs at least to go on from job i: home or, with a rest to come, to rest; else to another job."""
    arrive, then, go, to, width, minute = (
        tables.arrive,
        tables.then,
        tables.go,
        tables.to,
        tables.width,
        p.rates.minute,
    )
    start, latest, rest, n = p.hours.start, p.hours.latest, p.hours.rest, len(p.stops.service)
    low = max(first, tables.first[i])
    for b in range(low, stop):
        if s == 0:
            t = start + b * width + p.stops.minutes[i, n]
            if t <= latest:
                late = p.rates.overtime * max(0, t - p.hours.end)
                go[0, i, b, 0] = p.stops.way[i, n] + minute * p.stops.minutes[i, n] + late
                to[0, i, b] = n
        else:
            t = start + b * width
            if t <= rest.latest:
                done = max(t, rest.earliest) + rest.length
                if done <= latest:
                    cost = minute * (done - t) - tables.slack
                    d = (done - start) // width
                    _merge(go, to, 1, i, b, cost + go[0, i, d, 0], to[0, i, d], cost + go[0, i, d, 1])
    for j in range(n):
        if i != j:
            shift = p.stops.minutes[i, j] // width
            cost = p.stops.way[i, j] + minute * p.stops.minutes[i, j] - (tables.slack if width > 1 else 0.0)
            for b in range(low, min(stop, tables.last[j] + 1 - shift)):
                a = arrive[s, j, b + shift, 1 if then[s, j, b + shift] == i else 0] + cost
                if a < go[s, i, b, 0]:
                    if to[s, i, b] != j:
                        go[s, i, b, 1] = go[s, i, b, 0]
                        to[s, i, b] = j
                    go[s, i, b, 0] = a
                elif a < go[s, i, b, 1] and to[s, i, b] != j:
                    go[s, i, b, 1] = a


@compiled
def _merge(cost: Any, to: Any, s: int, j: int, b: int, first: float, first_to: int, second: float) -> None:
    """Take the pair (least, least with another next job) into place [s, j, b] of `cost` and `to`."""
    if first < cost[s, j, b, 0]:
        if to[s, j, b] != first_to:
            cost[s, j, b, 1] = min(cost[s, j, b, 0], second)
            to[s, j, b] = first_to
        elif second < cost[s, j, b, 1]:
            cost[s, j, b, 1] = second
        cost[s, j, b, 0] = first
    elif to[s, j, b] != first_to:
        cost[s, j, b, 1] = min(cost[s, j, b, 1], first)
    elif second < cost[s, j, b, 1]:
        cost[s, j, b, 1] = second


@inlined
def least_to_go(bounds: Bounds, loose: bool, s: int, j: int, b: int, seen: Any) -> float:
    """Return the bound at [s, j, b] for a label that has served `seen`; `loose`: its end may still slip."""
    cost, to = (bounds.slip, bounds.slip_to) if loose else (bounds.go, bounds.to)
    next_job = to[s, j, b]
    second = 0
    if 0 <= next_job < cost.shape[1] and seen[next_job >> 6] >> np.uint64(next_job & 63) & np.uint64(1):
        second = 1
    return float(cost[s, j, b, second])
