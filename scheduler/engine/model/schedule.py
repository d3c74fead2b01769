"""The schedule of a partial route: three numbers that say when it can end, whenever the crew leaves the yard.

Left at t0, for any t0 up to `late`, the last step of the route ends at max(early, t0 + work). A drive, a service and a
rest keep this form, so that the best timing of a route is found exactly without choosing when to leave. At the end it
is best to be home at the earliest return with the latest departure that allows it: that is at once the shortest day and
the least overtime.

`extend` is the one step from a partial route to the next; the plain timing, the quick timing of the local search and
the pricing of routes all take it. Compiled; it can be called from plain Python too.
"""

from __future__ import annotations

from typing import NamedTuple

from scheduler.engine.model.compiled import inlined

NOT_HERE, BEFORE, AFTER = 0, 1, 2  # where the day's rest is taken: not at this stop, before its service, after it
DIRECT, RELOAD, REST_FIRST, REST_LAST = range(4)  # the way to a stop: past the yard for a load, the rest taken there


class Rest(NamedTuple):
    """When a rest is due: out for longer than `after` minutes; `length` minutes, begun from `earliest` to `latest`."""

    after: int
    length: int
    earliest: int
    latest: int


@inlined
def begin(early: int, work: int, late: int, lo: int, hi: int, minutes: int) -> tuple[int, int, int]:
    """Return (early, work, late) after a step of `minutes` that is begun from minute lo to hi; early <= hi."""
    return max(early, lo) + minutes, work + minutes, min(late, hi - work)


@inlined
def extend(
    early: int, work: int, late: int, drive: int, lo: int, hi: int, service: int, rest: Rest, when: int
) -> tuple[bool, int, int, int]:
    """Return whether the route can go on to one more stop, and (early, work, late) after it.

    drive: minutes to the stop; lo, hi: first and last start of its service; when: `NOT_HERE`, `BEFORE` or `AFTER`.
    """
    early += drive
    work += drive
    if when == BEFORE:
        if early > rest.latest:
            return False, early, work, late
        early, work, late = begin(early, work, late, rest.earliest, rest.latest, rest.length)
    if early > hi:
        return False, early, work, late
    early, work, late = begin(early, work, late, lo, hi, service)
    if when == AFTER:
        if early > rest.latest:
            return False, early, work, late
        early, work, late = begin(early, work, late, rest.earliest, rest.latest, rest.length)
    return True, early, work, late


@inlined
def past_yard(
    early: int, work: int, late: int, drive: int, reload: int, rest: Rest, way: int
) -> tuple[bool, int, int, int]:
    """Return whether the crew can drive to its yard, take a load and perhaps rest, and (early, work, late) then."""
    early, work = early + drive, work + drive
    if way == REST_LAST:
        early, work = early + reload, work + reload
    if way in (REST_FIRST, REST_LAST):
        if early > rest.latest:
            return False, early, work, late
        early, work, late = begin(early, work, late, rest.earliest, rest.latest, rest.length)
    if way != REST_LAST:
        early, work = early + reload, work + reload
    return True, early, work, late


@inlined
def home(early: int, work: int, late: int, drive: int) -> tuple[int, int]:
    """Return the earliest minute of being home after a last drive, and the minutes out from the latest departure."""
    back = early + drive
    return back, max(work + drive, back - late)
