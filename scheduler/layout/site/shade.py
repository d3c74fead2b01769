"""What the open awning shades on the ground before the wall, by day and hour.

The cloth is a rectangle from the fastener line at the wall to the front bar, taken as opaque and flat; the ground as
level at the surface that people stand on. Valance and neighbours are left out: a valance adds shade at a low sun.
"""

from __future__ import annotations

import calendar
import datetime
import math
from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from scheduler.layout.measured import Survey
from scheduler.layout.site.clearance import front_bar
from scheduler.units import both
from scheduler.weather.daylight import SunPosition, sun_position

DAYS = ((6, 21), (7, 21), (9, 21))  # the longest day, the hottest weeks, and the equinox
HOURS = (9, 11, 13, 15, 17)  # local clock
_LOW_DEG = 5.0  # lower, houses and trees shade more than any awning


@dataclass(frozen=True)
class ShadeSite:
    """Where the wall stands: degrees north and east, the clock's time zone, and the year for which shade is shown."""

    lat: float
    lon: float
    zone: str
    year: int


@dataclass(frozen=True)
class Shade:
    """Shade on the ground at one hour: to `out` mm from the wall, its front edge moved `aside` mm to the right.

    `why_none` says in a few words why there is none; `out` and `aside` are 0 then.
    """

    month: int
    day: int
    hour: int
    sun: SunPosition
    out: float = 0.0
    aside: float = 0.0
    why_none: str = ""


def shade_under(survey: Survey, sun: SunPosition, facing_deg: float) -> tuple[float, float, str]:
    """Return how far out from the wall the shade reaches, how far its front edge lies to the right, and why none.

    Right is right as seen from outside, facing the wall: so the sun in the left of the sky moves the shade to the
    right. With the profile angle's tangent tan(altitude) / cos(azimuth − facing): out = reach − axis / tangent.
    """
    bar = front_bar(survey)
    turn = math.radians(sun.azimuth_deg - facing_deg)
    if sun.altitude_deg < _LOW_DEG:
        return 0.0, 0.0, "sun low or down"
    if math.cos(turn) <= 0:
        return 0.0, 0.0, "the house itself shades"
    long = bar.axis / math.tan(math.radians(sun.altitude_deg))
    out = bar.reach - long * math.cos(turn)
    if out <= 0:
        return 0.0, 0.0, "sun comes in under it"
    return out, long * math.sin(turn), ""


def shades(survey: Survey, site: ShadeSite) -> tuple[Shade, ...]:
    """Return the shade at the usual days and hours, by day and hour; empty where the wall's bearing is not known."""
    facing = survey.place.facing_deg
    if not isinstance(facing, int | float):
        return ()
    found = []
    for month, day in DAYS:
        for hour in HOURS:
            moment = datetime.datetime(site.year, month, day, hour, tzinfo=ZoneInfo(site.zone))
            sun = sun_position(site.lat, site.lon, moment)
            found.append(Shade(month, day, hour, sun, *shade_under(survey, sun, facing)))
    return tuple(found)


def day_name(month: int, day: int) -> str:
    """Return a day as it stands over a column: `Jun 21`."""
    return f"{calendar.month_abbr[month]} {day}"


def hour_name(hour: int) -> str:
    """Return a full hour of the clock in words: `9 am`, `3 pm`, `noon`."""
    return "noon" if hour == 12 else f"{hour} am" if hour < 12 else f"{hour - 12} pm"


def shade_words(found: tuple[Shade, ...]) -> Iterator[str]:
    """Yield a sentence a day on what the open awning shades, hour by hour."""
    for month, day in dict.fromkeys((one.month, one.day) for one in found):
        told = []
        for one in found:
            if (one.month, one.day) != (month, day):
                continue
            if one.why_none:
                told.append(f"{hour_name(one.hour)} none, {one.why_none}")
                continue
            side = "right" if one.aside > 0 else "left"
            moved = f", moved {both(abs(one.aside))} to the {side}" if abs(one.aside) >= 300 else ""
            told.append(f"{hour_name(one.hour)} to {both(one.out)} from the wall{moved}")
        yield f"{day_name(month, day)}: {'; '.join(told)}."
