"""A first plan at once, and better ones: jobs are taken out together and put back where they cost least.

Compiled. Every plan it holds keeps all rules; its cost is exact but for orders of stops that it has not tried.
"""

from __future__ import annotations

from collections import namedtuple
from typing import Any

import numba
import numpy as np

from scheduler.engine.days import Columns
from scheduler.engine.model import Ints, Model

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
def next_random(seed: Any) -> Any:
    """Return a number from 0 to below 1 and move the generator on (xorshift)."""
    x = seed[0]
    x ^= x << np.uint64(13)
    x ^= x >> np.uint64(7)
    x ^= x << np.uint64(17)
    seed[0] = x
    return (x >> np.uint64(11)) * (1.0 / 9007199254740992.0)


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


@numba.njit(cache=True, nogil=True)
def best_place(
    w: Any, s: Any, j: int, blink: float, seed: Any, cache_version: Any, cache_delta: Any, cache_at: Any
) -> Any:
    """Return (added cost, crew day, position) of the cheapest insertion of j; now and then the best is overlooked."""
    best, best_k, best_at = NEVER, -1, 0
    trial = np.empty(MOST_STOPS, np.int64)
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k, place = w.job_day[c], w.job_cand[c]
        if cache_version[place] != s.version[k]:
            cache_version[place] = s.version[k]
            cache_delta[place] = NEVER
            size = s.size[k]
            if size < MOST_STOPS:
                hands = w.hands[j]
                for t in range(size):
                    hands = max(hands, w.hands[s.seq[k, t]])
                helpers = max(0, hands - w.crew_hands[k])
                if helpers == 0 or w.helper_row[k] >= 0:
                    for position in range(first_place(w, s, j, k), size + 1):
                        for t in range(position):
                            trial[t] = s.seq[k, t]
                        trial[position] = j
                        for t in range(position, size):
                            trial[t + 1] = s.seq[k, t]
                        cost = route_cost(w, k, trial, size + 1, helpers)
                        if cost < NEVER and cost - s.cost[k] < cache_delta[place]:
                            cache_delta[place] = cost - s.cost[k]
                            cache_at[place] = position
        if cache_delta[place] < best and allowed(w, s, j, k) and next_random(seed) >= blink:
            best, best_k, best_at = cache_delta[place], k, cache_at[place]
    return best, best_k, best_at


@numba.njit(cache=True, nogil=True)
def refill(
    w: Any, s: Any, blink: float, noise: float, seed: Any, cache_version: Any, cache_delta: Any, cache_at: Any
) -> None:
    """Insert jobs that are not planned, dearest to skip first (with noise), where that is cheaper than skipping."""
    out = np.empty(len(s.at), np.int64)
    rank = np.empty(len(s.at))
    n = 0
    for j in range(len(s.at)):
        if s.at[j] < 0 and w.job_ptr[j + 1] > w.job_ptr[j]:
            out[n] = j
            rank[n] = -w.skip[j] * (1.0 + noise * next_random(seed)) / (1.0 + w.service[j])
            n += 1
    for position in np.argsort(rank[:n]):
        j = out[position]
        delta, k, at = best_place(w, s, j, blink, seed, cache_version, cache_delta, cache_at)
        if k >= 0 and delta < w.skip[j] and at >= first_place(w, s, j, k):
            put(w, s, j, k, at)


@numba.njit(cache=True, nogil=True)
def improve(
    w: Any, now: Any, best: Any, trial: Any, rounds: int, heat: float, seed: Any,
    cache_version: Any, cache_delta: Any, cache_at: Any,
) -> None:  # fmt: skip
    """Do `rounds` of taking out and putting back; `best` ends as the cheapest plan met. `heat` in cents."""
    days = len(now.size)
    jobs = len(now.at)
    for _ in range(rounds):
        copy_state(now, trial)
        count = int(2 + next_random(seed) * min(10, jobs))
        middle = int(next_random(seed) * jobs)
        kind = next_random(seed)
        if kind < 0.25 and days:  # a whole crew day, or two
            for _ in range(1 + int(next_random(seed) * 2)):
                k = int(next_random(seed) * days)
                while trial.size[k] > 0:
                    take(w, trial, trial.seq[k, 0])
        else:  # jobs near one place, or near it and on the same day
            same_day = kind > 0.6 and trial.at[middle] >= 0
            far = np.empty(jobs)
            for j in range(jobs):
                far[j] = 1e18
                if trial.at[j] >= 0 and not (same_day and w.day_of[trial.at[j]] != w.day_of[trial.at[middle]]):
                    away = w.minutes[w.place[middle], w.place[j]] + 1.0
                    far[j] = away * (0.2 + next_random(seed))
            order = np.argsort(far)
            for n in range(min(count, jobs)):
                if far[order[n]] < 1e18:
                    take(w, trial, order[n])
        refill(w, trial, 0.01 + 0.1 * next_random(seed), 1.0, seed, cache_version, cache_delta, cache_at)
        if trial.total[0] < now.total[0] - heat * np.log(1e-12 + next_random(seed)):
            copy_state(trial, now)
            if now.total[0] < best.total[0]:
                copy_state(now, best)
        else:
            now.total[1] = trial.total[1]


class Ruin:
    """The search with its plans; `best` is the cheapest so far."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model = model
        self.week = arrays(model)
        self.now, self.best, self.trial = empty(model), empty(model), empty(model)
        self.seed = np.random.default_rng([seed, 7]).integers(1, 2**63, size=1, dtype=np.uint64)
        places = len(model.cand_job)
        self.cache = (np.full(places, -1, np.int64), np.zeros(places, np.int64), np.zeros(places, np.int64))

    def start(self) -> None:
        """Make a first plan."""
        refill(self.week, self.now, 0.0, 0.0, self.seed, *self.cache)
        copy_state(self.now, self.best)

    def run(self, rounds: int, heat: float) -> None:
        """Search on for `rounds`."""
        improve(self.week, self.now, self.best, self.trial, rounds, heat, self.seed, *self.cache)

    @property
    def cost(self) -> int:
        """The cost of the best plan, in cents."""
        return int(self.best.total[0])

    def columns(self, state: State | None = None) -> Columns:
        """Return the routes of a state (the best where none is given), by group of equal crew days."""
        s = state if state is not None else self.best
        used = np.nonzero(s.size)[0]
        jobs: list[Ints] = [s.seq[k, : s.size[k]].copy() for k in used]
        ptr = np.concatenate([[0], np.cumsum(s.size[used])]).astype(np.int64)
        flat = np.concatenate(jobs) if jobs else np.zeros(0, np.int64)
        return Columns(self.model.group[used], ptr, flat, s.cost[used].copy(), s.helpers[used].copy())
