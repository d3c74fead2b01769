"""What a route costs, its order of stops given: compiled, for searches that ask it millions of times.

The same as `scheduler.engine.model.timing`, which is the plain reference, but for the times.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.arrays import FAR, Ints, Model
from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.model.schedule import DIRECT, NOT_HERE, RELOAD, Rest, extend, home, past_yard

MOST_LABELS = 24
SCRATCH = (16, MOST_LABELS)  # shape of the numbers that timing a route writes to
NEVER = 1 << 60  # cents, of what cannot be done


class Arrays(NamedTuple):
    """A week as the compiled local search reads it: arrays of `Model`, and the places of each job in `cand_job`.

    `job_ptr[j] : job_ptr[j + 1]` are the places of job j in `job_cand` (where in `cand_job`) and `job_day` (crew days).
    `hull_lo`, `hull_hi`, `hull_cost` are, by place in `cand_job`, first and last start and least cost of its options
    without a rest within; `single` says that there is but one.
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
    opt_pause: Any
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
    reload: Any
    weekly_row: Any
    weekly_cap: Any
    weekly_cents: Any
    assist_of: Any
    helped_job: Any
    booked: Any  # start that each job is booked for, -1 for none
    spans: Any  # (jobs, 4): of the assist of a job begun at minute s: first begin s + [0], last s + [1], and see `span`
    follow: Any


def arrays(model: Model) -> Arrays:
    """Return what the compiled search reads of a week."""
    order = np.argsort(model.cand_job, kind="stable")
    days = np.repeat(np.arange(len(model.crew_days), dtype=np.int64), np.diff(model.cand_ptr))
    counts = np.bincount(model.cand_job, minlength=len(model.service))
    hull = model.opt_ptr[:-1]
    whole = model.opt_pause == 0  # a service with the rest within it begins in no other time, and costs no less
    lo, hi, cents = (
        of.reduceat(np.where(whole, values, no), hull) if len(hull) else np.zeros(0, np.int64)
        for of, values, no in (
            (np.minimum, model.opt_lo, FAR),
            (np.maximum, model.opt_hi, -1),
            (np.minimum, model.opt_cost, FAR),
        )
    )
    ways = np.add.reduceat(whole, hull) if len(hull) else np.zeros(0, np.int64)
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
        opt_pause=model.opt_pause,
        hull_lo=lo,
        hull_hi=hi,
        hull_cost=cents,
        single=ways == 1,
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
        reload=model.reload,
        weekly_row=model.weekly_row,
        weekly_cap=model.weekly_cap,
        weekly_cents=model.weekly_cents,
        assist_of=model.assist_of,
        helped_job=model.helped_job,
        booked=np.array([j.booked.start if j.booked else -1 for j in model.week.jobs], np.int64),
        spans=_spans(model),
        follow=model.follow,
    )


def _spans(model: Model) -> Ints:
    """Return what `span` reads of each job's assist; no rows where no job has one."""
    week = model.week
    if not (model.assist_of >= 0).any():
        return np.zeros((0, 4), np.int64)
    rows = []
    for job in week.jobs:
        a, rest = job.assist, week.rest
        within = a is not None and rest is not None and rest.within and job.pausable
        rows.append(
            (0, 0, -1, 0)
            if a is None
            else (
                a.from_min,
                min(a.to_min, job.minutes - a.minutes),
                a.minutes if within else -1,
                rest.latest if rest is not None else 0,
            )
        )
    return np.array(rows, dtype=np.int64)


@inlined
def span(w: Any, j: int, start: int) -> Any:
    """Return when the assist of job j begun at `start` can begin, and whether its crew may rest within the service.

    As `Model.assist_span`.
    """
    first, last, pause = start + w.spans[j, 0], start + w.spans[j, 1], False
    if w.spans[j, 2] >= 0:
        before = min(start + w.service[j] - 1, w.spans[j, 3]) - w.spans[j, 2]
        if before >= first:
            last, pause = min(last, before), True
    return first, last, pause


@inlined
def limits(w: Any, fix: Any, j: int) -> Any:
    """Return the first and last start that the meetings of crews leave to item j, and whether a rest may fall within.

    fix: by job the start at which its assist expects it, -1 where there is none.
    """
    lo, hi, pause = 0, NEVER, True
    if len(w.spans) > 0:
        if w.helped_job[j] >= 0:
            job = w.helped_job[j]
            if fix[job] >= 0:
                lo, hi, pause = span(w, job, fix[job])
        elif fix[j] >= 0:
            lo, hi = fix[j], fix[j]
            pause = span(w, j, fix[j])[2]
    return lo, hi, pause


@compiled
def route_cost(w: Any, k: int, seq: Any, size: int, helpers: int) -> Any:
    """Return the cost in cents of serving `seq[:size]` in this order, best timed, or NEVER where it cannot be done."""
    fix = np.full(len(w.service), -1, np.int64)
    return timed_cost(w, k, seq, size, helpers, fix, np.empty(SCRATCH, np.int64))[0]


@inlined
def timed_cost(w: Any, k: int, seq: Any, size: int, helpers: int, fix: Any, scratch: Any) -> Any:
    """Return what `route_cost` does and the minutes out; `fix` as of `limits`, `scratch`: of shape `SCRATCH`."""
    early, work, late, cost, rested = scratch[0:2], scratch[2:4], scratch[4:6], scratch[6:8], scratch[8:10]
    kg, boxes, more = scratch[10:12], scratch[12:14], scratch[14:16]  # of the load, and metres of ways past the yard
    now, then = 0, 1
    early[0, 0], work[0, 0], late[0, 0], cost[0, 0], rested[0, 0] = w.start[k], 0, w.latest[k], 0, 0
    kg[0, 0], boxes[0, 0], more[0, 0] = 0, 0, 0
    count = 1
    here = w.yard_place[k]
    yard = here
    metres = 0
    latest = w.latest[k]
    minute = w.minute_cents[k]
    rest = Rest(w.rest[k, 0], w.rest[k, 1], w.rest[k, 2], w.rest[k, 3])
    has_rest = rest.after < latest
    reload = w.reload[k]
    for s in range(size):
        j = seq[s]
        p = w.local[k, j]
        there = w.place[j]
        metres += w.metres[here, there]
        first, last, may_pause = limits(w, fix, j)
        new = 0
        for label in range(count):
            ways = 1
            if reload >= 0 and s > 0:
                ways = 4 if has_rest and rested[now, label] == 0 else 2
            for way in range(ways):
                a_0, d_0, z_0 = early[now, label], work[now, label], late[now, label]
                drive, weight, box, far = w.minutes[here, there], w.weight[j], w.boxes[j], more[now, label]
                if way != DIRECT:
                    possible, a_0, d_0, z_0 = past_yard(a_0, d_0, z_0, w.minutes[here, yard], reload, rest, way)
                    if not possible:
                        continue
                    drive = w.minutes[yard, there]
                    far += w.metres[here, yard] + w.metres[yard, there] - w.metres[here, there]
                elif reload >= 0:
                    weight, box = weight + kg[now, label], box + boxes[now, label]
                    if weight > w.payload[k] or box > w.max_boxes[k]:
                        continue
                so_far = 1 if way > RELOAD else rested[now, label]
                for when in range(3 if has_rest and so_far == 0 else 1):
                    for o in range(w.opt_ptr[p], w.opt_ptr[p + 1]):
                        flag = 1 if when != NOT_HERE else so_far
                        service = w.service[j]
                        if w.opt_pause[o]:
                            if flag == 1 or not may_pause:
                                continue
                            flag = 1
                            service += rest.length
                        lo, hi = max(w.opt_lo[o], first), min(w.opt_hi[o], last)
                        if lo > hi:
                            continue
                        possible, a, d, z = extend(a_0, d_0, z_0, drive, lo, hi, service, rest, when)
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
                                and (
                                    reload < 0
                                    or (kg[then, x] <= weight and boxes[then, x] <= box and more[then, x] <= far)
                                )
                            ):
                                beaten = True
                                break
                        if not beaten and new < MOST_LABELS:
                            early[then, new], work[then, new], late[then, new] = a, d, z
                            cost[then, new], rested[then, new] = c, flag
                            kg[then, new], boxes[then, new], more[then, new] = weight, box, far
                            new += 1
        here = there
        now, then = then, now
        count = new
        if count == 0:
            return NEVER, 0
    drive = w.minutes[here, yard]
    metres += w.metres[here, yard]
    best, out = NEVER, 0
    for label in range(count):
        back, whole = home(early[now, label], work[now, label], late[now, label], drive)
        if back <= latest and (not has_rest or rested[now, label] == 1 or whole <= rest.after):
            total = cost[now, label] + minute * whole + w.overtime_cents[k] * max(0, back - w.end[k])
            total += (w.km_cents[k] * (metres + more[now, label]) + 500) // 1000
            if total < best:
                best, out = total, whole
    if best == NEVER:
        return NEVER, 0
    best += w.day_cents[k]
    if helpers > 0:
        best += helpers * w.helper_cents[w.helper_row[k]]
    return best, out


@inlined
def helpers_for(w: Any, k: int, seq: Any, size: int) -> Any:
    """Return the helpers that crew day k needs for `seq[:size]`."""
    hands = 0
    for t in range(size):
        hands = max(hands, w.hands[seq[t]])
    return max(0, hands - w.crew_hands[k])
