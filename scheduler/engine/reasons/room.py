"""Where a job that is not planned could still go: every place in every route, alone or in place of planned jobs.

Compiled. The rest of the plan stays as it is; what a place would break of the things that routes share comes as bits,
so that one rule at a time can be thought away. Costs are those of `scheduler.engine.local_search.route_cost`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.local_search.route_cost import NEVER, helpers_for, route_cost
from scheduler.engine.local_search.state import book, parted
from scheduler.engine.model.compiled import compiled

LADDER, STOCK, HELPER, FOLLOW, LOAD = 1, 2, 4, 8, 16
BESIDE, INSTEAD, CLEARED = 0, 1, 2  # no job displaced; one or any two of a route; three or more in a row
MOST_PAIRED = 24  # planned jobs of which any two may be put off for what they take
MOST_ORDERED = 6  # stops of a route of which every order is tried where no place in the present order will do


@compiled
def releases(w: Any, s: Any, j: int, rows: Any) -> Any:
    """Return by row of `places` (extra, job, other): the cheapest one or two jobs of other routes that free its place.

    The job is -1 where none does, `other` where one is enough. Only what routes share is freed so: `rows` are of no
    other hindrance. Two are tried where no stop is displaced, of the `MOST_PAIRED` that cost least to put off.
    """
    found = np.empty((len(rows), 3), np.int64)
    found[:, 0], found[:, 1:] = NEVER, -1
    givers = np.empty(len(s.at), np.int64)
    count = 0
    for other in range(len(s.at)):
        if s.at[other] >= 0 and gives(w, s, j, rows, other):
            at = count
            while at > 0 and w.skip[givers[at - 1]] > w.skip[other]:
                givers[at] = givers[at - 1]
                at -= 1
            givers[at] = other
            count += 1
    for n in range(count):
        first = givers[n]
        a = leave(w, s, first, j)
        if a >= 0:
            settle(w, s, j, rows, found, first, -1)
            for m in range(n + 1, count if n < MOST_PAIRED else 0):
                second = givers[m]
                if m >= MOST_PAIRED:
                    break
                b = leave(w, s, second, j)
                if b >= 0:
                    settle(w, s, j, rows, found, first, second)
                    rejoin(w, s, second, b)
            rejoin(w, s, first, a)
    return found


@compiled
def gives(w: Any, s: Any, j: int, rows: Any, other: int) -> bool:
    """Say whether a planned job takes of what job j lacks at one of the places."""
    k = s.at[other]
    for n in range(len(rows)):
        if w.yard_of[rows[n, 0]] != w.yard_of[k] or rows[n, 0] == k:
            continue
        for q in range(w.uses.shape[1]):
            if w.uses[j, q] > 0 and w.uses[other, q] > 0:
                return True
        if w.day_of[rows[n, 0]] == w.day_of[k]:
            if w.hands[other] > w.crew_hands[k]:
                return True
            for i in range(w.need.shape[1]):
                if w.need[j, i] > 0 and w.need[other, i] > w.onboard[k, i]:
                    return True
    return False


@compiled
def leave(w: Any, s: Any, job: int, j: int) -> int:
    """Take a job off its route, and return where it stood; -1 where job j or a planned one follows it: it stays."""
    k = s.at[job]
    position = 0
    while s.seq[k, position] != job:
        position += 1
    if needed(w.follow, s.at, s.seq[k], position, -1, position, j):
        return -1
    book(w, s, k, -1)
    for t in range(position, s.size[k] - 1):
        s.seq[k, t] = s.seq[k, t + 1]
    s.size[k] -= 1
    s.helpers[k] = helpers_for(w, k, s.seq[k], s.size[k])
    book(w, s, k, 1)
    return position


@compiled
def rejoin(w: Any, s: Any, job: int, position: int) -> None:
    """Put a job that has left its route back where it stood."""
    k = s.at[job]
    book(w, s, k, -1)
    for t in range(s.size[k], position, -1):
        s.seq[k, t] = s.seq[k, t - 1]
    s.seq[k, position] = job
    s.size[k] += 1
    s.helpers[k] = helpers_for(w, k, s.seq[k], s.size[k])
    book(w, s, k, 1)


@compiled
def settle(w: Any, s: Any, j: int, rows: Any, found: Any, first: int, second: int) -> None:
    """Note the places that are free now that `first` and `second` (-1: none) have left, where that is cheapest."""
    seq = np.empty(s.seq.shape[1] + 1, np.int64)
    freed = NEVER
    for n in range(len(rows)):
        k = rows[n, 0]
        if w.yard_of[k] != w.yard_of[s.at[first]] or k == s.at[first]:
            continue
        alone = found[n, 1] == first and found[n, 2] < 0
        if second >= 0 and (alone or k == s.at[second] or rows[n, 1] >= 0):
            continue
        size = 0
        for t in range(s.size[k]):
            if t != rows[n, 1]:
                seq[size] = s.seq[k, t]
                size += 1
        seq[size] = j
        if hindered(w, s, k, seq, size + 1, j):
            continue
        if freed == NEVER:
            freed = w.skip[first] + shorter(w, s, s.at[first])
            if second >= 0:
                freed += w.skip[second] + (shorter(w, s, s.at[second]) if s.at[second] != s.at[first] else 0)
        if rows[n, 4] + freed < found[n, 0]:
            found[n, 0], found[n, 1], found[n, 2] = rows[n, 4] + freed, first, second


@compiled
def shorter(w: Any, s: Any, k: int) -> int:
    """Return what a route costs less than it did, negative, now that stops have left it."""
    cost = route_cost(w, k, s.seq[k], s.size[k], s.helpers[k]) if s.size[k] else 0
    less: int = cost - s.cost[k]
    return less


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
