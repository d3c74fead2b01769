"""Drives at the hour at which they are made: slow hours of the day make them longer, and what comes of that in a plan.

A week document has one table of drives, which a plan is made with. What a posted day's drives really take is worked out
here, drive by drive, from the minute at which the crew leaves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from scheduler.plan import Route
from scheduler.price import Outing, outings
from scheduler.week import Week

HOURS = 24
MOST_PERCENT = 400


@dataclass(frozen=True, slots=True)
class ByHour:
    """`percent[h]`: by how much longer than in the table a drive takes from h o'clock to h + 1, in percent."""

    percent: tuple[int, ...] = (0,) * HOURS

    @property
    def even(self) -> bool:
        """Whether no hour is slow."""
        return not any(self.percent)

    def drive_min(self, table_min: int, leaves: int) -> int:
        """Return the minutes of a drive of `table_min` begun at `leaves`, rounded up; minutes after midnight.

        Each hour's part of the way is driven at that hour's pace, so that nobody who leaves later arrives sooner
        (S. Ichoua, M. Gendreau, J.-Y. Potvin: Vehicle dispatching with time-dependent travel times, European Journal
        of Operational Research 144, 2003).
        """
        if self.even:
            return table_min
        left, at = float(table_min), float(leaves)
        while left > 0:
            factor = 1 + self.percent[int(at // 60) % HOURS] / 100
            rest_of_hour = 60 - at % 60
            if left * factor <= rest_of_hour:
                at += left * factor
                break
            left, at = left - rest_of_hour / factor, at + rest_of_hour
        return math.ceil(at - leaves - 1e-6)


NO_SLOW_HOURS = ByHour()


@dataclass(frozen=True, slots=True)
class DriveAtHour:
    """One drive of a planned day at its hour: begun at the minute `leaves`, `table_min` planned, `takes_min` really.

    `late_min`: by how much later than planned the stop it leads to begins then, or the crew is back in its yard;
    `adds_min`: what of that this drive adds.
    """

    leaves: int
    table_min: int
    takes_min: int
    late_min: int
    adds_min: int

    @property
    def longer_min(self) -> int:
        """Return by how much longer than in the plan it takes."""
        return self.takes_min - self.table_min


def timed_drives(
    week: Week, routes: Iterable[Route], by_hour: ByHour
) -> dict[tuple[str, int], tuple[DriveAtHour, ...]]:
    """Return by crew and day of each route that can go out its drives in order, the one home last.

    Waiting in the plan takes up what a drive takes longer; each visit takes as long as planned, and a rest is kept.
    """
    return {(o.route.crew, o.route.day): _drives(week, o, by_hour) for o in outings(week, routes)}


def _drives(week: Week, o: Outing, by_hour: ByHour) -> tuple[DriveAtHour, ...]:
    route, rest_min = o.route, 0 if week.rest is None or o.route.rest is None else week.rest.length
    moments = [(stop.start, stop.end) for stop, _ in o.calls] + [(route.back, route.back)]
    free, planned_free, late, found = route.depart, route.depart, 0, list[DriveAtHour]()
    for (start, end), table_min in zip(moments, o.drives_min, strict=True):
        leaves, rests_after = free, False
        if route.rest is not None and planned_free <= route.rest and route.rest + rest_min <= start:
            rests_after = route.rest >= planned_free + table_min
            if not rests_after:
                leaves = max(free, route.rest) + rest_min
        takes = by_hour.drive_min(table_min, leaves)
        ready = leaves + takes
        if rests_after and route.rest is not None:
            ready = max(ready, route.rest) + rest_min
        now_late = max(0, ready - start)
        found.append(DriveAtHour(leaves, table_min, takes, now_late, max(0, now_late - late)))
        free, planned_free, late = start + now_late + end - start, end, now_late
    return tuple(found)
