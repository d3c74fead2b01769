"""Compiled: what the rest of a crew day costs at least, from any job and minute on."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

INF = 1e18


@numba.njit(cache=True, nogil=True)
def bounds(
    width: int, start: int, end: int, latest: int, tau: Any, way: Any, service: Any, opt_ptr: Any, opt_lo: Any,
    opt_hi: Any,
    value: Any, minute: float, overtime: float, rest: Any,
) -> tuple[Any, Any, Any, Any]:  # fmt: skip
    """Return the least costs-to-go after a service at job i that ends at minute start + b * width.

    go[s, i, b, 0] is the least of all, and goes next to to[s, i, b]; go[s, i, b, 1] the least that goes elsewhere next:
    where a label has served the first one's next job already, the second bounds it. State s = 0: no rest to come, 1:
    one
    rest still to come. The other pair of arrays lets the end slip to any later minute for nothing (a later departure
    from
    the yard pays for it). No completion comes straight back to the job that it left. `way[i, j]` is the price of the
    drive's distance, `value[o]` that of option o less the job's dual price. Waiting costs `minute` like work does.
    """
    n = len(service)
    size = (latest - start) // width + 1
    has_rest = rest[0] < latest
    states = 2 if has_rest else 1
    go = np.full((states, n, size, 2), INF)
    to = np.full((states, n, size), -1, np.int16)
    arrive = np.full((states, n, size + 1, 2), INF)
    then = np.full((states, n, size + 1), -1, np.int16)
    slack = minute * (width - 1)
    least = latest
    from_bucket = np.zeros(n, np.int64)  # no service at j ends before
    to_bucket = np.zeros(n, np.int64)  # no arrival at j after it is in time
    for j in range(n):
        least = min(least, service[j])
        first_arrival, first_start, last_start = latest, latest, 0
        for i in range(n + 1):
            if i != j:
                first_arrival = min(first_arrival, start + tau[i, j])
        for o in range(opt_ptr[j], opt_ptr[j + 1]):
            first_start = min(first_start, opt_lo[o])
            last_start = max(last_start, opt_hi[o])
        from_bucket[j] = max(0, (max(first_arrival, first_start) + service[j] - start) // width)
        to_bucket[j] = (last_start - start) // width
    block = least // width
    if block < 1:  # a job without duration: no order of time to build on; every prize at most once still bounds it
        total = 0.0
        for j in range(n):
            best = 0.0
            for o in range(opt_ptr[j], opt_ptr[j + 1]):
                best = min(best, value[o])
            total += best
        go[:] = total
        return go, to, go, to
    stop = size
    while stop > 0:
        first = max(0, stop - block)
        for s in range(states):
            for j in range(n):
                for b in range(min(stop, to_bucket[j] + 1) - 1, first - 1, -1):
                    t = start + b * width
                    merge(arrive, then, s, j, b, arrive[s, j, b + 1, 0] + minute * width, then[s, j, b + 1],
                          arrive[s, j, b + 1, 1] + minute * width)  # fmt: skip
                    for o in range(opt_ptr[j], opt_ptr[j + 1]):
                        if t <= opt_hi[o]:
                            done = max(t, opt_lo[o]) + service[j]
                            if done <= latest:
                                cost = value[o] + minute * (done - t) - slack
                                d = (done - start) // width
                                merge(arrive, then, s, j, b, cost + go[s, j, d, 0], to[s, j, d], cost + go[s, j, d, 1])
                    if s == 1 and t <= rest[3]:
                        done = max(t, rest[2]) + rest[1]
                        if done <= latest:
                            cost = minute * (done - t) - slack
                            d = (done - start) // width
                            merge(
                                arrive,
                                then,
                                s,
                                j,
                                b,
                                cost + arrive[0, j, d, 0],
                                then[0, j, d],
                                cost + arrive[0, j, d, 1],
                            )
            for i in range(n):
                low = max(first, from_bucket[i])
                if s == 0:
                    for b in range(low, stop):
                        t = start + b * width + tau[i, n]
                        if t <= latest:
                            go[0, i, b, 0] = way[i, n] + minute * tau[i, n] + overtime * max(0, t - end)
                            to[0, i, b] = n
                else:
                    for b in range(low, stop):
                        t = start + b * width
                        if t <= rest[3]:
                            done = max(t, rest[2]) + rest[1]
                            if done <= latest:
                                cost = minute * (done - t) - slack
                                d = (done - start) // width
                                merge(go, to, 1, i, b, cost + go[0, i, d, 0], to[0, i, d], cost + go[0, i, d, 1])
                for j in range(n):
                    if i != j:
                        shift = tau[i, j] // width
                        cost = way[i, j] + minute * tau[i, j] - (slack if width > 1 else 0.0)
                        for b in range(low, min(stop, to_bucket[j] + 1 - shift)):
                            a = arrive[s, j, b + shift, 1 if then[s, j, b + shift] == i else 0] + cost
                            if a < go[s, i, b, 0]:
                                if to[s, i, b] != j:
                                    go[s, i, b, 1] = go[s, i, b, 0]
                                    to[s, i, b] = j
                                go[s, i, b, 0] = a
                            elif a < go[s, i, b, 1] and to[s, i, b] != j:
                                go[s, i, b, 1] = a
        stop = first
    slip, slip_to = go.copy(), to.copy()
    for s in range(states):
        for i in range(n):
            for b in range(size - 2, -1, -1):
                merge(slip, slip_to, s, i, b, slip[s, i, b + 1, 0], slip_to[s, i, b + 1], slip[s, i, b + 1, 1])
    return go, to, slip, slip_to


@numba.njit(cache=True, nogil=True)
def merge(cost: Any, to: Any, s: int, j: int, b: int, first: float, first_to: int, second: float) -> None:
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


@numba.njit(cache=True, nogil=True, inline="always")
def to_go(cost: Any, to: Any, s: int, j: int, b: int, seen: Any) -> float:
    """Return the bound at [s, j, b] for a label that has served `seen`."""
    next_job = to[s, j, b]
    second = 0
    if 0 <= next_job < cost.shape[1] and seen[next_job >> 6] >> np.uint64(next_job & 63) & np.uint64(1):
        second = 1
    bound: float = cost[s, j, b, second]
    return bound
