"""A plan held as arrays, for a search that changes it very often: put a job in, take one out, what a route then costs.

Compiled. Every plan held so keeps all rules; its cost is exact but for orders of stops that have not been tried.
"""

from __future__ import annotations

from collections import namedtuple
from typing import Any

import numba
import numpy as np

from scheduler.engine.model import Model

MOST_STOPS = 48  # of one route, in this search only
MOST_LABELS = 24
NEVER = 1 << 60

Week = namedtuple(
    "Week",
    "minutes metres place service weight boxes hands skip need uses local cand_ptr job_ptr job_cand job_day "
    "opt_ptr opt_lo opt_hi opt_cost crew_of day_of yard_of yard_place start end latest day_cents minute_cents "
    "overtime_cents km_cents payload max_boxes crew_hands helper_row helper_cap helper_cents onboard pool_row pool_cap "
    "stock_cap rest follow",
)
State = namedtuple("State", "seq size cost helpers version at helped pooled used total")


def arrays(model: Model) -> Week:
    """Return what the compiled search reads of a week."""
    order = np.argsort(model.cand_job, kind="stable")
    days = np.repeat(np.arange(len(model.crew_days), dtype=np.int64), np.diff(model.cand_ptr))
    counts = np.bincount(model.cand_job, minlength=len(model.service))
    return Week(
        model.minutes, model.metres, model.job_place, model.service, model.weight, model.boxes, model.job_hands,
        model.skip_cost, model.need, model.uses, model.local, model.cand_ptr,
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), order.astype(np.int64), days[order], model.opt_ptr,
        model.opt_lo, model.opt_hi, model.opt_cost, model.crew_of, model.day_of, model.yard_of, model.yard_place,
        model.start,
        model.end, model.latest, model.day_cents, model.minute_cents, model.overtime_cents, model.km_cents,
        model.payload,
        model.max_boxes, model.hands, model.helper_row, model.helper_cap, model.helper_cents, model.onboard,
        model.pool_row,
        model.pool_cap, model.stock_cap, model.rest, model.follow,
    )  # fmt: skip


def empty(model: Model) -> State:
    """Return the plan that skips every job."""
    days, jobs = len(model.crew_days), len(model.service)
    return State(
        np.zeros((days, MOST_STOPS), np.int64), np.zeros(days, np.int64), np.zeros(days, np.int64), np.zeros(days,
        np.int64),
        np.arange(days), np.full(jobs, -1, np.int64), np.zeros(len(model.helper_cap), np.int64),
        np.zeros(len(model.pool_cap), np.int64), np.zeros(model.stock_cap.shape, np.int64),
        np.array([model.skip_cost.sum(), days], np.int64),
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)
def route_cost(w: Any, k: int, seq: Any, size: int, helpers: int) -> Any:
    """Return the cost in cents of serving `seq[:size]` in this order, best timed, or NEVER where it cannot be done."""
    early = np.empty((2, MOST_LABELS), np.int64)
    work = np.empty((2, MOST_LABELS), np.int64)
    late = np.empty((2, MOST_LABELS), np.int64)
    cost = np.empty((2, MOST_LABELS), np.int64)
    rested = np.empty((2, MOST_LABELS), np.int64)
    now, then = 0, 1
    early[0, 0], work[0, 0], late[0, 0], cost[0, 0], rested[0, 0] = w.start[k], 0, w.latest[k], 0, 0
    count = 1
    here = w.yard_place[k]
    metres = 0
    latest = w.latest[k]
    minute = w.minute_cents[k]
    after, length, rest_from, rest_to = w.rest[k, 0], w.rest[k, 1], w.rest[k, 2], w.rest[k, 3]
    has_rest = after < latest
    for s in range(size):
        j = seq[s]
        p = w.local[k, j]
        drive = w.minutes[here, w.place[j]]
        metres += w.metres[here, w.place[j]]
        here = w.place[j]
        new = 0
        for label in range(count):
            for variant in range(3 if has_rest and rested[now, label] == 0 else 1):
                arrive = early[now, label] + drive
                spent = work[now, label] + drive
                limit = late[now, label]
                flag = rested[now, label]
                if variant == 1:
                    if arrive > rest_to:
                        continue
                    limit = min(limit, rest_to - spent)
                    arrive = max(arrive, rest_from) + length
                    spent += length
                    flag = 1
                for o in range(w.opt_ptr[p], w.opt_ptr[p + 1]):
                    if arrive > w.opt_hi[o]:
                        continue
                    a = max(arrive, w.opt_lo[o]) + w.service[j]
                    d = spent + w.service[j]
                    z = min(limit, w.opt_hi[o] - spent)
                    fl = flag
                    if variant == 2:
                        if a > rest_to:
                            continue
                        z = min(z, rest_to - d)
                        a = max(a, rest_from) + length
                        d += length
                        fl = 1
                    if a > latest:
                        continue
                    c = cost[now, label] + w.opt_cost[o]
                    beaten = False
                    for x in range(new):
                        if (
                            early[then, x] <= a and work[then, x] <= d and late[then, x] >= z and cost[then, x] <= c
                            and rested[then, x] >= fl
                        ):  # fmt: skip
                            beaten = True
                            break
                    if not beaten and new < MOST_LABELS:
                        early[then, new], work[then, new], late[then, new] = a, d, z
                        cost[then, new], rested[then, new] = c, fl
                        new += 1
        now, then = then, now
        count = new
        if count == 0:
            return NEVER
    home = w.minutes[here, w.yard_place[k]]
    metres += w.metres[here, w.yard_place[k]]
    best = NEVER
    for label in range(count):
        back = early[now, label] + home
        whole = max(work[now, label] + home, back - late[now, label])
        if back <= latest and (not has_rest or rested[now, label] == 1 or whole <= after):
            total = cost[now, label] + minute * whole + w.overtime_cents[k] * max(0, back - w.end[k])
            best = min(best, total)
    if best == NEVER:
        return NEVER
    best += w.day_cents[k] + (w.km_cents[k] * metres + 500) // 1000
    if helpers > 0:
        best += helpers * w.helper_cents[w.helper_row[k]]
    return best


@numba.njit(cache=True, nogil=True)
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
    if kg > w.payload[k] or box > w.max_boxes[k]:
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
            if at < 0:
                return False
            days = w.day_of[k] - w.day_of[at]
            if days < w.follow[f, 2] or days > w.follow[f, 3]:
                return False
            if (days == 0 or w.follow[f, 4]) and w.crew_of[k] != w.crew_of[at]:
                return False
    return True


@numba.njit(cache=True, nogil=True)
def first_place(w: Any, s: Any, j: int, k: int) -> int:
    """Return the earliest position in the route at which j may stand: after every job that it follows there."""
    place = 0
    for f in range(len(w.follow)):
        if w.follow[f, 1] == j and s.at[w.follow[f, 0]] == k:
            for t in range(s.size[k]):
                if s.seq[k, t] == w.follow[f, 0]:
                    place = max(place, t + 1)
    return place


@numba.njit(cache=True, nogil=True)
def extra_hands(w: Any, s: Any, k: int) -> Any:
    """Return the helpers that the route needs."""
    hands = 0
    for t in range(s.size[k]):
        hands = max(hands, w.hands[s.seq[k, t]])
    return max(0, hands - w.crew_hands[k])


@numba.njit(cache=True, nogil=True)
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


@numba.njit(cache=True, nogil=True)
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


@numba.njit(cache=True, nogil=True)
def take(w: Any, s: Any, j: int) -> None:
    """Take job j out of its route, and with it all that follow it."""
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
    for f in range(len(w.follow)):
        if w.follow[f, 0] == j and s.at[w.follow[f, 1]] >= 0:
            take(w, s, w.follow[f, 1])


@numba.njit(cache=True, nogil=True)
def changed(w: Any, s: Any, k: int) -> None:
    """Bring cost, helpers, version and bookings of route k up to date."""
    s.total[0] -= s.cost[k]
    s.helpers[k] = extra_hands(w, s, k)
    s.cost[k] = route_cost(w, k, s.seq[k], s.size[k], s.helpers[k]) if s.size[k] else 0
    s.total[0] += s.cost[k]
    s.total[1] += 1
    s.version[k] = s.total[1]
    book(w, s, k, 1)


@numba.njit(cache=True, nogil=True)
def copy_state(a: Any, b: Any) -> None:
    """Make state b equal to state a."""
    b.seq[:] = a.seq
    b.size[:] = a.size
    b.cost[:] = a.cost
    b.helpers[:] = a.helpers
    b.version[:] = a.version
    b.at[:] = a.at
    b.helped[:] = a.helped
    b.pooled[:] = a.pooled
    b.used[:] = a.used
    b.total[0] = a.total[0]
    # the counter of versions runs on, so that a version never names two routes
    b.total[1] = max(a.total[1], b.total[1])
