"""What a route costs, its order of stops given: compiled, for searches that ask it millions of times.

The same as `scheduler.engine.model.timing`, which is the plain reference, but for the times.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.model.schedule import NOT_HERE, Rest, extend, home

MOST_LABELS = 24
SCRATCH = (10, MOST_LABELS)  # shape of the numbers that timing a route writes to
NEVER = 1 << 60  # cents, of what cannot be done


class Arrays(NamedTuple):
    """A week as the compiled local search reads it: arrays of `Model`, and the places of each job in `cand_job`.

    `job_ptr[j] : job_ptr[j + 1]` are the places of job j in `job_cand` (where in `cand_job`) and `job_day` (crew days).
    `hull_lo`, `hull_hi`, `hull_cost` are, by place in `cand_job`, first and last start and least cost of its options;
    `single` says that there is but one.
    """

    minutes: Any
    metres: Any
    place: Any
    service: Any
    weight: Any
    boxes: Any
    hands: Any
    skip: Any
    need: Any
    uses: Any
    local: Any
    cand_ptr: Any
    job_ptr: Any
    job_cand: Any
    job_day: Any
    opt_ptr: Any
    opt_lo: Any
    opt_hi: Any
    opt_cost: Any
    hull_lo: Any
    hull_hi: Any
    hull_cost: Any
    single: Any
    crew_of: Any
    day_of: Any
    yard_of: Any
    yard_place: Any
    start: Any
    end: Any
    latest: Any
    day_cents: Any
    minute_cents: Any
    overtime_cents: Any
    km_cents: Any
    payload: Any
    max_boxes: Any
    crew_hands: Any
    helper_row: Any
    helper_cap: Any
    helper_cents: Any
    onboard: Any
    pool_row: Any
    pool_cap: Any
    stock_cap: Any
    rest: Any
    follow: Any


def arrays(model: Model) -> Arrays:
    """Return what the compiled search reads of a week."""
    order = np.argsort(model.cand_job, kind="stable")
    days = np.repeat(np.arange(len(model.crew_days), dtype=np.int64), np.diff(model.cand_ptr))
    counts = np.bincount(model.cand_job, minlength=len(model.service))
    hull = model.opt_ptr[:-1]
    lo, hi, cents = (
        of.reduceat(values, hull) if len(hull) else np.zeros(0, np.int64)
        for of, values in ((np.minimum, model.opt_lo), (np.maximum, model.opt_hi), (np.minimum, model.opt_cost))
    )
    return Arrays(
        minutes=model.minutes,
        metres=model.metres,
        place=model.job_place,
        service=model.service,
        weight=model.weight,
        boxes=model.boxes,
        hands=model.job_hands,
        skip=model.skip_cost,
        need=model.need,
        uses=model.uses,
        local=model.local,
        cand_ptr=model.cand_ptr,
        job_ptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        job_cand=order.astype(np.int64),
        job_day=days[order],
        opt_ptr=model.opt_ptr,
        opt_lo=model.opt_lo,
        opt_hi=model.opt_hi,
        opt_cost=model.opt_cost,
        hull_lo=lo,
        hull_hi=hi,
        hull_cost=cents,
        single=np.diff(model.opt_ptr) == 1,
        crew_of=model.crew_of,
        day_of=model.day_of,
        yard_of=model.yard_of,
        yard_place=model.yard_place,
        start=model.start,
        end=model.end,
        latest=model.latest,
        day_cents=model.day_cents,
        minute_cents=model.minute_cents,
        overtime_cents=model.overtime_cents,
        km_cents=model.km_cents,
        payload=model.payload,
        max_boxes=model.max_boxes,
        crew_hands=model.hands,
        helper_row=model.helper_row,
        helper_cap=model.helper_cap,
        helper_cents=model.helper_cents,
        onboard=model.onboard,
        pool_row=model.pool_row,
        pool_cap=model.pool_cap,
        stock_cap=model.stock_cap,
        rest=model.rest,
        follow=model.follow,
    )


@compiled
def route_cost(w: Any, k: int, seq: Any, size: int, helpers: int) -> Any:
    """Return the cost in cents of serving `seq[:size]` in this order, best timed, or NEVER where it cannot be done."""
    return timed_cost(w, k, seq, size, helpers, np.empty(SCRATCH, np.int64))


@inlined
def timed_cost(w: Any, k: int, seq: Any, size: int, helpers: int, scratch: Any) -> Any:
    """Do what `route_cost` does, with an array of shape `SCRATCH` to write to."""
    early, work, late, cost, rested = scratch[0:2], scratch[2:4], scratch[4:6], scratch[6:8], scratch[8:10]
    now, then = 0, 1
    early[0, 0], work[0, 0], late[0, 0], cost[0, 0], rested[0, 0] = w.start[k], 0, w.latest[k], 0, 0
    count = 1
    here = w.yard_place[k]
    metres = 0
    latest = w.latest[k]
    minute = w.minute_cents[k]
    rest = Rest(w.rest[k, 0], w.rest[k, 1], w.rest[k, 2], w.rest[k, 3])
    has_rest = rest.after < latest
    for s in range(size):
        j = seq[s]
        p = w.local[k, j]
        drive = w.minutes[here, w.place[j]]
        metres += w.metres[here, w.place[j]]
        here = w.place[j]
        new = 0
        for label in range(count):
            for when in range(3 if has_rest and rested[now, label] == 0 else 1):
                flag = 1 if when != NOT_HERE else rested[now, label]
                for o in range(w.opt_ptr[p], w.opt_ptr[p + 1]):
                    possible, a, d, z = extend(
                        early[now, label],
                        work[now, label],
                        late[now, label],
                        drive,
                        w.opt_lo[o],
                        w.opt_hi[o],
                        w.service[j],
                        rest,
                        when,
                    )
                    if not possible or a > latest:
                        continue
                    c = cost[now, label] + w.opt_cost[o]
                    beaten = False
                    for x in range(new):
                        if (
                            early[then, x] <= a
                            and work[then, x] <= d
                            and late[then, x] >= z
                            and cost[then, x] <= c
                            and rested[then, x] >= flag
                        ):
                            beaten = True
                            break
                    if not beaten and new < MOST_LABELS:
                        early[then, new], work[then, new], late[then, new] = a, d, z
                        cost[then, new], rested[then, new] = c, flag
                        new += 1
        now, then = then, now
        count = new
        if count == 0:
            return NEVER
    drive = w.minutes[here, w.yard_place[k]]
    metres += w.metres[here, w.yard_place[k]]
    best = NEVER
    for label in range(count):
        back, whole = home(early[now, label], work[now, label], late[now, label], drive)
        if back <= latest and (not has_rest or rested[now, label] == 1 or whole <= rest.after):
            total = cost[now, label] + minute * whole + w.overtime_cents[k] * max(0, back - w.end[k])
            best = min(best, total)
    if best == NEVER:
        return NEVER
    best += w.day_cents[k] + (w.km_cents[k] * metres + 500) // 1000
    if helpers > 0:
        best += helpers * w.helper_cents[w.helper_row[k]]
    return best


@inlined
def helpers_for(w: Any, k: int, seq: Any, size: int) -> Any:
    """Return the helpers that crew day k needs for `seq[:size]`."""
    hands = 0
    for t in range(size):
        hands = max(hands, w.hands[seq[t]])
    return max(0, hands - w.crew_hands[k])
