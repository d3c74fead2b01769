"""Slow hours of the day, as far as a week with one travel table can carry them.

A week holds a single table of travel times, so an hour's slowdown cannot act on that hour's drives alone. What is done
instead: the hours of the working day are drawn together into one factor, and every drive of the week gets it. `mean`
is right on average (rush-hour drives come out too short, midday drives too long); `worst` keeps every promise and
wastes time at midday. Metres do not change.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from scheduler.errors import BadInput

Factor = Annotated[float, Meta(ge=0.5, le=5)]
Rule = Literal["mean", "worst"]

HOURS = 24


class Slowdowns(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """`factor_by_hour`: hour of the day ("0" to "23", local time) → factor on driving minutes; hours left out are 1."""

    factor_by_hour: dict[str, Factor]


def week_factor(slowdowns: Slowdowns, start: int, end: int, rule: Rule = "mean") -> float:
    """Return the one factor for all drives of working days from `start` to `end` (minutes after midnight).

    mean: over the minutes from `start` to `end`, each with its hour's factor. worst: the largest factor of an hour that
    the working day touches. Raises `BadInput` for a key that is no hour, and for an empty or impossible working day.
    """
    factors = [1.0] * HOURS
    for key, factor in slowdowns.factor_by_hour.items():
        if key not in _NAMES:
            raise BadInput(f"factor_by_hour.{key}", 'must be an hour of the day, "0" to "23"')
        factors[_NAMES[key]] = factor
    if not 0 <= start < end <= 60 * HOURS:
        raise BadInput("end", f"must come after start ({start}) and by minute {60 * HOURS}, is {end}")
    minutes_in = [max(0, min(end, 60 * (h + 1)) - max(start, 60 * h)) for h in range(HOURS)]
    if rule == "worst":
        return max(f for f, m in zip(factors, minutes_in, strict=True) if m)
    return sum(f * m for f, m in zip(factors, minutes_in, strict=True)) / (end - start)


_NAMES = {str(hour): hour for hour in range(HOURS)}
