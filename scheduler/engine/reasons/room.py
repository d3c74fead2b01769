"""Where a job that is not planned could still go: every place in every route, alone or in place of planned jobs.

Compiled. The rest of the plan stays as it is; what a place would break of the things that routes share comes as bits,
so that one rule at a time can be thought away. Costs are those of `scheduler.engine.search.route_cost`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.model.compiled import compiled
from scheduler.engine.search.route_cost import NEVER, helpers_for, route_cost
from scheduler.engine.search.state import book, parted

LADDER, STOCK, HELPER, FOLLOW, LOAD = 1, 2, 4, 8, 16
BESIDE, INSTEAD, CLEARED = 0, 1, 2  # no job displaced; one or any two of a route; three or more in a row
MOST_ORDERED = 6  # stops of a route of which every order is tried where no place in the present order will do


@compiled
def releases(w: Any, s: Any, j: int, rows: Any) -> Any:
    """Return by row of `places` (extra, job): what the cheapest job of another route would cost that frees its place.

    The job is -1 where none does. Only what routes share is freed so: `rows` are of no other hindrance.
    """
    found = np.empty((len(rows), 2), np.int64)
    found[:, 0], found[:, 1] = NEVER, -1
    seq = np.empty(s.seq.shape[1] + 1, np.int64)
    for other in range(len(s.at)):
        from_day = s.at[other]
        if from_day < 0:
            continue
        position = 0
        while s.seq[from_day, position] != other:
            position += 1
        if needed(w.follow, s.at, s.seq[from_day], position, -1, position, j):
            continue
        size, helpers = s.size[from_day], s.helpers[from_day]
        book(w, s, from_day, -1)
        for t in range(position, size - 1):
            s.seq[from_day, t] = s.seq[from_day, t + 1]
        s.size[from_day] = size - 1
        s.helpers[from_day] = helpers_for(w, from_day, s.seq[from_day], size - 1)
        book(w, s, from_day, 1)
        cost = NEVER
        for n in range(len(rows)):
            k = rows[n, 0]
            if k == from_day or w.yard_of[k] != w.yard_of[from_day]:
                continue
            for t in range(s.size[k]):
                seq[t] = s.seq[k, t]
            seq[s.size[k]] = j
            if hindered(w, s, k, seq, s.size[k] + 1, j):
                continue
            if cost == NEVER:
                cost = 0
                if size > 1:
                    cost = route_cost(w, from_day, s.seq[from_day], size - 1, s.helpers[from_day])
                if cost == NEVER:
                    break
            extra = rows[n, 4] + cost - s.cost[from_day] + w.skip[other]
            if extra < found[n, 0]:
                found[n, 0], found[n, 1] = extra, other
        book(w, s, from_day, -1)
        for t in range(size - 1, position, -1):
            s.seq[from_day, t] = s.seq[from_day, t - 1]
        s.seq[from_day, position] = other
        s.size[from_day], s.helpers[from_day] = size, helpers
        book(w, s, from_day, 1)
    return found


@compiled
def hindered(w: Any, s: Any, k: int, seq: Any, size: int, j: int) -> int:
    """Return the bits of what keeps route k from becoming `seq[:size]`, job j being new; time is not looked at."""
    bits = 0
    kg, box = 0, 0
    for t in range(size):
        kg += w.weight[seq[t]]
        box += w.boxes[seq[t]]
    if kg > w.payload[k] or box > w.max_boxes[k]:
        bits |= LOAD
    extra = helpers_for(w, k, seq, size)
    if extra > s.helpers[k]:
        row = w.helper_row[k]
        if row < 0 or s.helped[row] + extra - s.helpers[k] > w.helper_cap[row]:
            bits |= HELPER
    for i in range(w.need.shape[1]):
        most, had = w.onboard[k, i], w.onboard[k, i]
        for t in range(size):
            most = max(most, w.need[seq[t], i])
        for t in range(s.size[k]):
            had = max(had, w.need[s.seq[k, t], i])
        if most > had:
            row = w.pool_row[k, i]
            if row < 0 or s.pooled[row] + most - had > w.pool_cap[row]:
                bits |= LADDER
    y = w.yard_of[k]
    for q in range(w.uses.shape[1]):
        more = 0
        for t in range(size):
            more += w.uses[seq[t], q]
        for t in range(s.size[k]):
            more -= w.uses[s.seq[k, t], q]
        if more > 0:
            for d in range(w.day_of[k], w.stock_cap.shape[2]):
                if s.used[y, q, d] + more > w.stock_cap[y, q, d]:
                    bits |= STOCK
    for f in range(len(w.follow)):
        if w.follow[f, 1] == j:
            at = s.at[w.follow[f, 0]]
            if at < 0 or parted(w.follow, w.day_of, w.crew_of, f, at, k):
                bits |= FOLLOW
        elif w.follow[f, 0] == j:
            at = s.at[w.follow[f, 1]]
            if at >= 0 and parted(w.follow, w.day_of, w.crew_of, f, k, at):
                bits |= FOLLOW
    return bits


@compiled
def in_order(follow: Any, seq: Any, size: int, free: int) -> bool:
    """Say whether all jobs of one route stand after those that they follow; job `free` (-1: none) need not."""
    for f in range(len(follow)):
        if follow[f, 0] == free or follow[f, 1] == free:
            continue
        late = False
        for t in range(size):
            if seq[t] == follow[f, 1]:
                late = True
            elif seq[t] == follow[f, 0] and late:
                return False
    return True


@compiled
def cheapest_order(w: Any, k: int, kept: Any, size: int, j: int, free: int, every: bool, found: Any) -> int:
    """Return the least cost of route k serving `kept[:size]` and j, or NEVER: j in every place, then every order.

    every: whether every order is tried also where there is a place in the present one. The order goes into `found`.
    """
    helpers = max(helpers_for(w, k, kept, size), w.hands[j] - w.crew_hands[k])
    if w.helper_row[k] < 0:
        helpers = 0  # hired where there are none: at no price
    trial = np.empty(size + 1, np.int64)
    best = NEVER
    position = 0
    while True:
        if position <= size:
            for t in range(size):
                trial[t if t < position else t + 1] = kept[t]
            trial[position] = j
            position += 1
        elif position == size + 1:
            if (
                (best < NEVER and not every)
                or not 2 <= size < MOST_ORDERED
                or w.start[k] + least_minutes(w.minutes, w.place, w.service, w.yard_place[k], trial) > w.latest[k]
            ):
                return best
            for a in range(1, size + 1):  # by number: the first order in the dictionary
                for b in range(a, 0, -1):
                    if trial[b] < trial[b - 1]:
                        trial[b], trial[b - 1] = trial[b - 1], trial[b]
            position += 1
        elif not next_order(trial):
            return best
        if in_order(w.follow, trial, size + 1, free):
            cost = route_cost(w, k, trial, size + 1, helpers)
            if cost < best:
                best = cost
                found[: size + 1] = trial


@compiled
def next_order(seq: Any) -> bool:
    """Turn `seq` into the next order in the dictionary, and say whether there was one."""
    a = len(seq) - 2
    while a >= 0 and seq[a] >= seq[a + 1]:
        a -= 1
    if a < 0:
        return False
    b = len(seq) - 1
    while seq[b] <= seq[a]:
        b -= 1
    seq[a], seq[b] = seq[b], seq[a]
    a, b = a + 1, len(seq) - 1
    while a < b:
        seq[a], seq[b] = seq[b], seq[a]
        a, b = a + 1, b - 1
    return True


@compiled
def least_minutes(minutes: Any, place: Any, service: Any, yard: int, jobs: Any) -> int:
    """Return the minutes of `jobs` in any order at least: each service, the shortest way to each, and home."""
    total, home = 0, NEVER
    for a in jobs:
        way = minutes[yard, place[a]]
        for b in jobs:
            if b != a:
                way = min(way, minutes[place[b], place[a]])
        total += way + service[a]
        home = min(home, minutes[place[a], yard])
    return total + home


@compiled
def has_follow(follow: Any, at: Any, j: int) -> bool:
    """Say whether job j follows a job, or a planned one follows it."""
    found = False
    for f in range(len(follow)):
        found = found or follow[f, 1] == j or (follow[f, 0] == j and at[follow[f, 1]] >= 0)
    return found


@compiled
def places(w: Any, s: Any, j: int, worth: int, kind: int) -> Any:
    """Return a row (crew day, a, b, bits, extra) for every way of putting job j into a route.

    kind: `BESIDE` (a = b = -1); `INSTEAD` of the stop at a, and of that at b where b is not -1; `CLEARED`, of the stops
    from a to b. worth: what leaving the job as it is costs, in cents; extra: what a place costs more than that.
    """
    room = 0
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        size = s.size[w.job_day[c]]
        room += 2 * (size * (size + 1) + 1)
    rows = np.empty((room, 5), np.int64)
    count = 0
    follows = has_follow(w.follow, s.at, j)
    kept = np.empty(s.seq.shape[1] + 1, np.int64)
    found = np.empty(s.seq.shape[1] + 1, np.int64)
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k = w.job_day[c]
        size = s.size[k]
        for a in range(-1 if kind == BESIDE else 0, 0 if kind == BESIDE else size):
            for b in range(a + 2 if kind == CLEARED else a, a + 1 if kind == BESIDE else size):
                last = -1 if kind == INSTEAD and b == a else b
                freed, left = 0, 0
                for t in range(size):
                    if t in (a, last) or (kind == CLEARED and a < t < b):
                        freed += w.skip[s.seq[k, t]]
                    else:
                        kept[left] = s.seq[k, t]
                        left += 1
                if a >= 0 and needed(w.follow, s.at, s.seq[k], a, last, b if kind == CLEARED else a, j):
                    continue
                kept[left] = j
                bits = hindered(w, s, k, kept, left + 1, j)
                for free in range(2 if follows else 1):
                    if free == 0 and bits & FOLLOW:
                        continue
                    cost = cheapest_order(w, k, kept, left, j, j if free else -1, False, found)
                    if cost < NEVER:
                        rows[count] = (k, a, last, bits | FOLLOW * free, cost - s.cost[k] + freed - worth)
                        count += 1
    return rows[:count]


@compiled
def needed(follow: Any, at: Any, stops: Any, a: int, b: int, last: int, j: int) -> bool:
    """Say whether job j or a planned one that would stay follows one of the stops at a, b, or from a to `last`."""
    for f in range(len(follow)):
        out, stays = False, True
        for t in range(a, max(b, last) + 1):
            if t != a and t != b and t > last:
                continue
            if stops[t] == follow[f, 0]:
                out = True
            if stops[t] == follow[f, 1]:
                stays = False
        if out and stays and (follow[f, 1] == j or at[follow[f, 1]] >= 0):
            return True
    return False


@compiled
def least_extra(w: Any, s: Any, j: int, worth: int, days: Any, found: Any) -> Any:
    """Return (extra, crew day) of the cheapest place of job j beside what is planned that breaks nothing.

    days: by crew day, whether it counts. The order goes into `found`; the crew day is -1 where there is no place.
    """
    best, where = NEVER, -1
    kept = np.empty(s.seq.shape[1] + 1, np.int64)
    trial = np.empty(s.seq.shape[1] + 1, np.int64)
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k = w.job_day[c]
        size = s.size[k]
        if not days[k]:
            continue
        for t in range(size):
            kept[t] = s.seq[k, t]
        kept[size] = j
        if hindered(w, s, k, kept, size + 1, j):
            continue
        cost = cheapest_order(w, k, kept, size, j, -1, False, trial)
        if cost < NEVER and cost - s.cost[k] - worth < best:
            best, where = cost - s.cost[k] - worth, k
            found[: size + 1] = trial[: size + 1]
    return best, where
