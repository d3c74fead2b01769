"""A job that needs an assist is put into a plan together with it, at a start at which both crews can be there.

Compiled. The start is fixed as the two are put in (`State.fix`), so that each route is timed by itself from then on.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.local_search.insertion import BY, EARLY, joined_cost, weekly_more
from scheduler.engine.local_search.route_cost import NEVER, helpers_for, span, timed_cost
from scheduler.engine.local_search.state import MOST_STOPS, allowed, first_place, put
from scheduler.engine.model.compiled import inlined

CANDIDATES = 5  # starts tried for each pair of places


@inlined
def chance(room: Any) -> Any:
    """Return a number from 0 to below 1 and move the generator on (xorshift)."""
    x = room.seed[0]
    x ^= x << np.uint64(13)
    x ^= x >> np.uint64(7)
    x ^= x << np.uint64(17)
    room.seed[0] = x
    return np.float64(x >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@inlined
def begins(w: Any, s: Any, k: int, j: int, position: int) -> Any:
    """Return the first and last start of item j at a position of route k, if nothing else ties it."""
    p, place = w.local[k, j], w.place[j]
    before = w.yard_place[k] if position == 0 else w.place[s.seq[k, position - 1]]
    after = w.yard_place[k] if position == s.size[k] else w.place[s.seq[k, position]]
    first = max(s.head[k, position, EARLY] + w.minutes[before, place], w.hull_lo[p])
    last = min(w.hull_hi[p], s.tail[k, position, BY] - w.minutes[place, after] - w.service[j])
    return first, last


@inlined
def with_it(w: Any, s: Any, k: int, j: int, position: int) -> Any:
    """Return the added cost of item j at a position of route k, timed exactly; NEVER where that cannot be."""
    for t in range(position):
        s.trial[t] = s.seq[k, t]
    s.trial[position] = j
    for t in range(position, s.size[k]):
        s.trial[t + 1] = s.seq[k, t]
    helpers = helpers_for(w, k, s.trial, s.size[k] + 1)
    if helpers > 0 and w.helper_row[k] < 0:
        return NEVER
    cost, out = timed_cost(w, k, s.trial, s.size[k] + 1, helpers, s.fix, s.scratch)
    return NEVER if cost == NEVER else cost - s.cost[k] + weekly_more(w, s, k, out)


@inlined
def at_least(w: Any, s: Any, k: int, j: int, position: int) -> Any:
    """Return what item j at a position of route k adds to its cost at least; NEVER where that cannot be."""
    cost, out = joined_cost(w, s, k, j, position)
    return NEVER if cost == NEVER else cost + w.day_cents[k] - s.cost[k] + weekly_more(w, s, k, out)


@inlined
def start_to_try(n: int, first: int, last: int, own: int, begun: Any, ended: Any, offset: int, latest: int) -> Any:
    """Return candidate n of the starts from `first` to `last`: the ends, and where the assist or the booking asks for.

    own: the booked start; begun, ended: first and last begin of the assist; offset, latest: minutes from the job's
    start to these.
    """
    at = first
    if n == 1:
        at = last
    elif n == 2:
        at = begun - offset
    elif n == 3:
        at = ended - latest
    elif n == 4:
        at = own
    return min(max(at, first), last)


@inlined
def put_pair(w: Any, s: Any, room: Any, j: int, blink: float) -> None:
    """Insert j with its assist where the two cost least and less than skipping j; now and then overlook a place."""
    a = w.assist_of[j]
    best, k_1, at_1, k_2, at_2, start = w.skip[j], -1, 0, -1, 0, -1
    offset, latest = w.spans[j, 0], w.spans[j, 1]
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k = w.job_day[c]
        if chance(room) < blink or not allowed(w, s, j, k):
            continue
        for position in range(first_place(w, s, j, k), s.size[k] + 1):
            s.fix[j] = -1
            least = at_least(w, s, k, j, position)
            if least >= best:
                continue
            first, last = begins(w, s, k, j, position)
            for d in range(w.job_ptr[a], w.job_ptr[a + 1]):
                other = w.job_day[d]
                if w.day_of[other] != w.day_of[k] or w.crew_of[other] == w.crew_of[k] or s.size[other] >= MOST_STOPS:
                    continue
                for place in range(s.size[other] + 1):
                    s.fix[j] = -1
                    if least + at_least(w, s, other, a, place) >= best:
                        continue
                    begun, ended = begins(w, s, other, a, place)
                    low, high = max(first, begun - latest), min(last, ended - offset)
                    if low > high or not allowed_both(w, s, j, k, a, other):
                        continue
                    tried = -1
                    for n in range(CANDIDATES):
                        at = start_to_try(n, low, high, w.booked[j], begun, ended, offset, latest)
                        if at == tried:
                            continue
                        tried = at
                        s.fix[j] = at
                        if span(w, j, at)[1] < begun:
                            continue
                        both = at_least(w, s, k, j, position) + at_least(w, s, other, a, place)
                        if both >= best:
                            continue
                        both = with_it(w, s, k, j, position) + with_it(w, s, other, a, place)
                        if both < best:
                            best, k_1, at_1, k_2, at_2, start = both, k, position, other, place, at
    s.fix[j] = start
    if k_1 >= 0:
        put(w, s, j, k_1, at_1)
        put(w, s, a, k_2, at_2)


@inlined
def allowed_both(w: Any, s: Any, j: int, k: int, a: int, other: int) -> bool:
    """Say whether what routes share has room for the assist beside the job: helpers of one yard count for both."""
    if not allowed(w, s, a, other):
        return False
    row = w.helper_row[k]
    if row < 0 or w.helper_row[other] != row:
        return True
    own = max(s.helpers[k], w.hands[j] - w.crew_hands[k])
    second = max(s.helpers[other], w.hands[a] - w.crew_hands[other])
    return bool(s.helped[row] - s.helpers[k] - s.helpers[other] + own + second <= w.helper_cap[row])
