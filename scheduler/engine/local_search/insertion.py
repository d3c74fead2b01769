"""What one more stop costs a route, without timing the whole route again: compiled.

Of each route the state holds what its first stops and its last stops come to, in the three numbers of
`scheduler.engine.model.schedule`; a stop between them joins the two. That is exact where every stop has one option and
no rest is due. Else it is a bound from below (any of the options' starts at the least of their costs, no rest), and
only positions that it does not rule out are timed.
"""

from __future__ import annotations

from typing import Any

from scheduler.engine.local_search.route_cost import NEVER, helpers_for, limits, timed_cost
from scheduler.engine.model.compiled import inlined

EARLY, WORK, LATE, CENTS, METRES = range(5)  # of the first stops: times, the options' costs, metres
DONE, REST, BY = range(3)  # of the last stops: home at the earliest, minutes left, last arrival at the first of them
ENDS = 5  # numbers of each


@inlined
def note_ends(w: Any, s: Any, k: int) -> None:
    """Work out what the first and the last stops of route k come to, for every place between two of them."""
    size = s.size[k]
    head, tail = s.head[k], s.tail[k]
    early, work, late, cents, metres = w.start[k], 0, w.latest[k], 0, 0
    here = w.yard_place[k]
    single = True
    head[0, EARLY], head[0, WORK], head[0, LATE], head[0, CENTS], head[0, METRES] = early, work, late, cents, metres
    for t in range(size):
        j = s.seq[k, t]
        p = w.local[k, j]
        drive = w.minutes[here, w.place[j]]
        metres += w.metres[here, w.place[j]]
        here = w.place[j]
        lo, hi, _ = limits(w, s.fix, j)
        late = min(late, min(hi, w.hull_hi[p]) - work - drive)
        early = max(early + drive, max(lo, w.hull_lo[p])) + w.service[j]
        work += drive + w.service[j]
        cents += w.hull_cost[p]
        single &= w.single[p]
        n = t + 1
        head[n, EARLY], head[n, WORK], head[n, LATE], head[n, CENTS], head[n, METRES] = early, work, late, cents, metres
    done, left, by, cents, metres = w.start[k], 0, w.latest[k], 0, 0
    there = w.yard_place[k]
    tail[size, DONE], tail[size, REST], tail[size, BY], tail[size, CENTS], tail[size, METRES] = done, 0, by, 0, 0
    for t in range(size - 1, -1, -1):
        j = s.seq[k, t]
        p = w.local[k, j]
        drive = w.minutes[w.place[j], there] + w.service[j]
        metres += w.metres[w.place[j], there]
        there = w.place[j]
        left += drive
        lo, hi, _ = limits(w, s.fix, j)
        by = min(min(hi, w.hull_hi[p]), by - drive)
        done = max(done, max(lo, w.hull_lo[p]) + left)
        cents += w.hull_cost[p]
        tail[t, DONE], tail[t, REST], tail[t, BY], tail[t, CENTS], tail[t, METRES] = done, left, by, cents, metres
    s.single[k] = single


@inlined
def joined_cost(w: Any, s: Any, k: int, j: int, position: int) -> Any:
    """Return (cost less the day's own and helpers, minutes out) of route k with job j at a position.

    NEVER: it cannot be done. Both are bounds from below where the route or the job has several options.
    """
    size = s.size[k]
    head, tail = s.head[k, position], s.tail[k, position]
    p, place = w.local[k, j], w.place[j]
    before = w.yard_place[k] if position == 0 else w.place[s.seq[k, position - 1]]
    after = w.yard_place[k] if position == size else w.place[s.seq[k, position]]
    drive = w.minutes[before, place]
    early = head[EARLY] + drive
    lo, hi, _ = limits(w, s.fix, j)
    lo, hi = max(lo, w.hull_lo[p]), min(hi, w.hull_hi[p])
    if early > hi or lo > hi:
        return NEVER, 0
    on = w.minutes[place, after] + w.service[j]
    early = max(early, lo) + on
    if early > tail[BY]:
        return NEVER, 0
    work = head[WORK] + drive
    late = min(head[LATE], hi - work)
    work += on
    late = min(late, tail[BY] - work)
    back = max(early + tail[REST], tail[DONE])
    if back > w.latest[k]:
        return NEVER, 0
    whole = max(work + tail[REST], back - late)
    metres = head[METRES] + tail[METRES] + w.metres[before, place] + w.metres[place, after]
    cents = head[CENTS] + tail[CENTS] + w.hull_cost[p] + w.minute_cents[k] * whole
    cents += w.overtime_cents[k] * max(0, back - w.end[k]) + (w.km_cents[k] * metres + 500) // 1000
    return cents, whole


@inlined
def weekly_more(w: Any, s: Any, k: int, out: int) -> Any:
    """Return what the crew's weekly minutes cost more, in cents, where route k is out for `out` minutes."""
    row = w.weekly_row[k]
    if row < 0:
        return 0
    before = max(0, s.weekly[row] - w.weekly_cap[row])
    return w.weekly_cents[row] * (max(0, s.weekly[row] - s.out[k] + out - w.weekly_cap[row]) - before)


@inlined
def overloaded(w: Any, s: Any, k: int, j: int) -> bool:
    """Say whether route k with item j is more than one load, on a day on which crews may reload."""
    if w.reload[k] < 0:
        return False
    kg, boxes = w.weight[j], w.boxes[j]
    for t in range(s.size[k]):
        kg += w.weight[s.seq[k, t]]
        boxes += w.boxes[s.seq[k, t]]
    return bool(kg > w.payload[k] or boxes > w.max_boxes[k])


@inlined
def cheapest_place(w: Any, s: Any, j: int, k: int, first: int) -> Any:
    """Return (added cost, position) of putting job j into route k, at `first` or later; NEVER where that cannot be."""
    best, at = NEVER, 0
    size = s.size[k]
    helpers = max(helpers_for(w, k, s.seq[k], size), w.hands[j] - w.crew_hands[k])
    if helpers > 0 and w.helper_row[k] < 0:
        return best, at
    extra = w.day_cents[k] - s.cost[k]
    if helpers > 0:
        extra += helpers * w.helper_cents[w.helper_row[k]]
    exact = s.single[k] and w.single[w.local[k, j]] and not overloaded(w, s, k, j)
    for position in range(first, size + 1):
        cost, whole = joined_cost(w, s, k, j, position)
        if cost == NEVER or cost + extra + weekly_more(w, s, k, whole) >= best:
            continue
        if not exact or whole > w.rest[k, 0]:
            for t in range(position):
                s.trial[t] = s.seq[k, t]
            s.trial[position] = j
            for t in range(position, size):
                s.trial[t + 1] = s.seq[k, t]
            cost, whole = timed_cost(w, k, s.trial, size + 1, helpers, s.fix, s.scratch)
            if cost == NEVER or cost - s.cost[k] + weekly_more(w, s, k, whole) >= best:
                continue
            best, at = cost - s.cost[k] + weekly_more(w, s, k, whole), position
        else:
            best, at = cost + extra + weekly_more(w, s, k, whole), position
    return best, at
