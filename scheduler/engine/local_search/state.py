"""A plan held as arrays, for a search that changes it very often: put a job in, take one out.

Compiled. Every plan held so keeps all rules; its cost is exact but for orders of stops that have not been tried.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.local_search.insertion import BY, DONE, EARLY, ENDS, LATE, note_ends
from scheduler.engine.local_search.route_cost import SCRATCH, Arrays, helpers_for, timed_cost
from scheduler.engine.model.arrays import MOST, Model
from scheduler.engine.model.compiled import inlined

MOST_STOPS = 48  # of one route, in this search only


class State(NamedTuple):
    """Routes with their costs, and what they take of all that is shared. One thread's alone: it writes to `scratch`.

    `version[k]` changes whenever route k does; `total` are the plan's cost in cents and the last version given.
    """

    seq: Any  # (crew days, stops)
    size: Any
    cost: Any
    helpers: Any
    version: Any
    out: Any  # minutes, by route
    weekly: Any  # minutes out, by row of weekly minutes
    fix: Any  # by job the start at which its assist expects it, -1 where none does
    at: Any  # crew day of each job, -1 where it is not planned
    helped: Any  # helpers hired, by helper row
    pooled: Any  # pieces taken, by pool row
    used: Any  # (yards, stock items, days): taken off the shelf by then
    total: Any
    head: Any  # (crew days, places, ENDS): see `insertion`
    tail: Any
    single: Any  # whether every stop of the route has but one option
    trial: Any  # to write to: a route's stops,
    scratch: Any  # and the labels of its times


def empty(model: Model, stops: int = MOST_STOPS) -> State:
    """Return the plan that skips every job, with room for `stops` on a route."""
    days, jobs = len(model.crew_days), len(model.service)
    head = np.zeros((days, stops + 1, ENDS), np.int64)
    head[:, 0, EARLY], head[:, 0, LATE] = model.start, model.latest
    tail = np.zeros_like(head)
    tail[:, 0, DONE], tail[:, 0, BY] = model.start, model.latest
    return State(
        seq=np.zeros((days, stops), np.int64),
        size=np.zeros(days, np.int64),
        cost=np.zeros(days, np.int64),
        helpers=np.zeros(days, np.int64),
        version=np.arange(days),
        out=np.zeros(days, np.int64),
        weekly=np.zeros(len(model.weekly_cap), np.int64),
        fix=np.full(jobs, -1, np.int64),
        at=np.full(jobs, -1, np.int64),
        helped=np.zeros(len(model.helper_cap), np.int64),
        pooled=np.zeros(len(model.pool_cap), np.int64),
        used=np.zeros(model.stock_cap.shape, np.int64),
        total=np.array([model.skip_cost.sum(), days], np.int64),
        head=head,
        tail=tail,
        single=np.ones(days, np.bool_),
        trial=np.zeros(stops + 1, np.int64),
        scratch=np.zeros(SCRATCH, np.int64),
    )


def state_of(model: Model, week: Arrays, routes: Mapping[int, Sequence[int]]) -> State:
    """Return the plan that sends out `routes`; there is room for one more stop on each."""
    longest = max((len(jobs) for jobs in routes.values()), default=0)
    state = empty(model, max(MOST_STOPS, longest + 1))
    for k, jobs in sorted(routes.items()):
        for position, j in enumerate(jobs):
            put(week, state, j, k, position)
    return state


@inlined
def allowed(w: Any, s: Any, j: int, k: int) -> bool:
    """Say whether what routes share still has room for job j on crew day k, and the follows hold."""
    size = s.size[k]
    if size >= MOST_STOPS:
        return False
    kg, box, hands = w.weight[j], w.boxes[j], w.hands[j]
    for t in range(size):
        kg += w.weight[s.seq[k, t]]
        box += w.boxes[s.seq[k, t]]
        hands = max(hands, w.hands[s.seq[k, t]])
    if w.reload[k] < 0 and (kg > w.payload[k] or box > w.max_boxes[k]):
        return False
    extra = max(0, hands - w.crew_hands[k])
    if extra > s.helpers[k]:
        row = w.helper_row[k]
        if row < 0 or s.helped[row] + extra - s.helpers[k] > w.helper_cap[row]:
            return False
    for i in range(w.need.shape[1]):
        if w.need[j, i] > w.onboard[k, i]:
            have = w.onboard[k, i]
            for t in range(size):
                have = max(have, w.need[s.seq[k, t], i])
            if w.need[j, i] > have:
                row = w.pool_row[k, i]
                if row < 0 or s.pooled[row] + w.need[j, i] - have > w.pool_cap[row]:
                    return False
    y = w.yard_of[k]
    for q in range(w.uses.shape[1]):
        if w.uses[j, q] > 0:
            for d in range(w.day_of[k], w.stock_cap.shape[2]):
                if s.used[y, q, d] + w.uses[j, q] > w.stock_cap[y, q, d]:
                    return False
    for f in range(len(w.follow)):
        if w.follow[f, 1] == j:
            at = s.at[w.follow[f, 0]]
            if at < 0 or parted(w.follow, w.day_of, w.crew_of, f, at, k):
                return False
    return True


@inlined
def first_place(w: Any, s: Any, j: int, k: int) -> int:
    """Return the earliest position in the route at which j may stand: after every job that it follows there."""
    place = 0
    for f in range(len(w.follow)):
        if w.follow[f, 1] == j and s.at[w.follow[f, 0]] == k:
            for t in range(s.size[k]):
                if s.seq[k, t] == w.follow[f, 0]:
                    place = max(place, t + 1)
    return place


@inlined
def parted(follow: Any, day_of: Any, crew_of: Any, f: int, first: int, then: int) -> bool:
    """Say whether follow f forbids its jobs on these two crew days."""
    days = day_of[then] - day_of[first]
    if days < follow[f, 2] or days > follow[f, MOST + day_of[first]]:
        return True
    return bool((days == 0 or follow[f, 4] != 0) and crew_of[then] != crew_of[first])


@inlined
def book(w: Any, s: Any, k: int, sign: int) -> None:
    """Count what route k takes of all that is shared, or give it back (sign -1)."""
    if s.helpers[k] > 0:
        s.helped[w.helper_row[k]] += sign * s.helpers[k]
    y = w.yard_of[k]
    for i in range(w.need.shape[1]):
        most = 0
        for t in range(s.size[k]):
            most = max(most, w.need[s.seq[k, t], i])
        if most > w.onboard[k, i]:
            s.pooled[w.pool_row[k, i]] += sign * (most - w.onboard[k, i])
    for q in range(w.uses.shape[1]):
        used = 0
        for t in range(s.size[k]):
            used += w.uses[s.seq[k, t], q]
        if used:
            for d in range(w.day_of[k], w.stock_cap.shape[2]):
                s.used[y, q, d] += sign * used


@inlined
def put(w: Any, s: Any, j: int, k: int, position: int) -> None:
    """Insert job j into route k."""
    book(w, s, k, -1)
    for t in range(s.size[k], position, -1):
        s.seq[k, t] = s.seq[k, t - 1]
    s.seq[k, position] = j
    s.size[k] += 1
    changed(w, s, k)
    s.at[j] = k
    s.total[0] -= w.skip[j]


@inlined
def take(w: Any, s: Any, j: int) -> None:
    """Take job j out of its route, and with it all that follow it."""
    take_alone(w, s, j)
    more = len(w.follow) > 0
    while more:
        more = False
        for f in range(len(w.follow)):
            if s.at[w.follow[f, 0]] < 0 and s.at[w.follow[f, 1]] >= 0:
                take_alone(w, s, w.follow[f, 1])
                more = True


@inlined
def take_alone(w: Any, s: Any, j: int) -> None:
    """Take item j out of its route, where it is on one, and with it the assist or the job that it goes with."""
    take_one(w, s, j)
    if len(w.spans) > 0:
        other = w.assist_of[j] if w.helped_job[j] < 0 else w.helped_job[j]
        if other >= 0:
            take_one(w, s, other)
            s.fix[min(j, other)] = -1


@inlined
def take_one(w: Any, s: Any, j: int) -> None:
    """Take item j alone out of its route, where it is on one."""
    k = s.at[j]
    if k < 0:
        return
    book(w, s, k, -1)
    n = 0
    for t in range(s.size[k]):
        if s.seq[k, t] != j:
            s.seq[k, n] = s.seq[k, t]
            n += 1
    s.size[k] = n
    changed(w, s, k)
    s.at[j] = -1
    s.total[0] += w.skip[j]


@inlined
def _past(w: Any, s: Any, k: int) -> Any:
    """Return what the minutes past the crew's weekly ones cost, in cents."""
    row = w.weekly_row[k]
    return 0 if row < 0 else w.weekly_cents[row] * max(0, s.weekly[row] - w.weekly_cap[row])


@inlined
def changed(w: Any, s: Any, k: int) -> None:
    """Bring cost, helpers, version and bookings of route k up to date."""
    s.total[0] -= s.cost[k] + _past(w, s, k)
    before = s.out[k]
    s.helpers[k] = helpers_for(w, k, s.seq[k], s.size[k])
    s.cost[k], s.out[k] = 0, 0
    if s.size[k]:
        s.cost[k], s.out[k] = timed_cost(w, k, s.seq[k], s.size[k], s.helpers[k], s.fix, s.scratch)
    if w.weekly_row[k] >= 0:
        s.weekly[w.weekly_row[k]] += s.out[k] - before
    s.total[0] += s.cost[k] + _past(w, s, k)
    s.total[1] += 1
    s.version[k] = s.total[1]
    note_ends(w, s, k)
    book(w, s, k, 1)


@inlined
def copy_state(a: Any, b: Any) -> None:
    """Make state b equal to state a: of the routes those that differ, as a version never names two routes."""
    for k in range(len(a.size)):
        if a.version[k] == b.version[k]:
            continue
        size = a.size[k]
        b.out[k] = a.out[k]
        b.size[k], b.cost[k], b.helpers[k], b.version[k], b.single[k] = (
            size,
            a.cost[k],
            a.helpers[k],
            a.version[k],
            a.single[k],
        )
        for t in range(size):
            b.seq[k, t] = a.seq[k, t]
        for t in range(size + 1):
            for n in range(ENDS):
                b.head[k, t, n], b.tail[k, t, n] = a.head[k, t, n], a.tail[k, t, n]
    for j in range(len(a.at)):
        b.at[j] = a.at[j]
        b.fix[j] = a.fix[j]
    for n in range(len(a.weekly)):
        b.weekly[n] = a.weekly[n]
    for n in range(len(a.helped)):
        b.helped[n] = a.helped[n]
    for n in range(len(a.pooled)):
        b.pooled[n] = a.pooled[n]
    for y in range(a.used.shape[0]):
        for q in range(a.used.shape[1]):
            for d in range(a.used.shape[2]):
                b.used[y, q, d] = a.used[y, q, d]
    b.total[0] = a.total[0]
    # the counter of versions runs on, so that a version never names two routes
    b.total[1] = max(a.total[1], b.total[1])
