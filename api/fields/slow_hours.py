"""The slow hours of the day as people write them: `7-9 25, 16-18 40`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import groupby

from scheduler.errors import BadInput
from scheduler.travel.by_hour import HOURS, MOST_PERCENT

_SPAN = re.compile(r"(\d{1,2})\s*-\s*(\d{1,2})\s+(\d{1,4})\s*%?")


def slow_hours(text: str) -> dict[str, int]:
    """Return the percent by hour ("0" to "23") of spans such as 7-9 25, which is from 7:00 to 9:00; empty: none."""
    found: dict[str, int] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        match = _SPAN.fullmatch(part)
        first, last, percent = map(int, match.groups()) if match else (0, 0, 0)
        if not first < last <= HOURS:
            raise BadInput("", f'must be hours and percent such as 7-9 25, 16-18 40, is "{part}"')
        if percent > MOST_PERCENT:
            raise BadInput("", f"must be at most {MOST_PERCENT} percent, is {percent}")
        for hour in range(first, last):
            if str(hour) in found:
                raise BadInput("", f"must name each hour once, has {hour}:00 twice")
            found[str(hour)] = percent
    return {hour: percent for hour, percent in found.items() if percent}


def slow_hours_text(by_hour: Mapping[str, int]) -> str:
    """Return the text that `slow_hours` reads back."""
    parts = []
    runs = groupby(range(HOURS), key=lambda hour: by_hour.get(str(hour), 0))
    for percent, run in runs:
        hours = list(run)
        if percent:
            parts.append(f"{hours[0]}-{hours[-1] + 1} {percent}")
    return ", ".join(parts)
