"""The working day by the wall clock, on days with a clock change too."""

from __future__ import annotations

import datetime
import functools
from typing import NamedTuple

DAY_MIN = 1440


class LocalDay(NamedTuple):
    """A working day: minute m of the wall clock is `midnight` + m in UTC, for m from `first` to `last`."""

    midnight: datetime.datetime
    first: int
    last: int

    def minute(self, moment: datetime.datetime) -> int:
        return round((moment - self.midnight) / datetime.timedelta(minutes=1))


@functools.lru_cache(maxsize=1024)
def local_day(date: datetime.date, zone: datetime.tzinfo) -> LocalDay:
    """Return the working day of `date` in `zone`: all 1440 minutes, or the longer side of a clock change.

    Minutes that a change skips or repeats belong to neither side (Python's `fold` tells them: PEP 495). Changes are
    looked for by the quarter hour. A date that the zone skipped altogether has no minutes.
    """
    before = after = None
    first, last = 0, DAY_MIN
    for minute in range(0, DAY_MIN, 15):
        wall = datetime.datetime.combine(date, datetime.time(minute // 60, minute % 60), zone)
        offset = wall.utcoffset()
        if offset != wall.replace(fold=1).utcoffset():
            last = min(last, minute)
            first = minute + 15
        elif first == 0:
            before = offset
        else:
            after = offset
    offset, a, b = max(
        ((before, 0, last), (after, first, DAY_MIN)), key=lambda side: side[2] - side[1] if side[0] is not None else -1
    )
    if first == 0:
        offset, a, b = before, 0, DAY_MIN
    if offset is None:
        return LocalDay(datetime.datetime.combine(date, datetime.time(), datetime.UTC), DAY_MIN, DAY_MIN)
    return LocalDay(
        datetime.datetime.combine(date, datetime.time(), datetime.timezone(offset)).astimezone(datetime.UTC), a, b
    )


def clock(minute: int) -> str:
    """Return minutes after midnight as 24-hour clock time."""
    return f"{minute // 60}:{minute % 60:02}"
