"""Daylight at a site (civil dawn and dusk, the sun's centre 6° below the horizon), and where the sun stands."""

from __future__ import annotations

import datetime
import functools
from typing import NamedTuple

import astral
import astral.sun

CIVIL_DEPRESSION_DEG = 6.0
_HALF_DAY = datetime.timedelta(hours=12)
_SECOND = datetime.timedelta(seconds=1)


class Daylight(NamedTuple):
    """Light enough to work outdoors from `dawn` to `dusk` (UTC)."""

    dawn: datetime.datetime
    dusk: datetime.datetime


@functools.lru_cache(maxsize=4096)
def daylight(lat: float, lon: float, date: datetime.date) -> Daylight | None:
    """Return civil dawn and dusk (UTC) around the solar noon of `date` at a place in degrees north and east.

    None where it stays dark all day. Where the sun does not sink to 6° below the horizon, the half day before or after
    noon is all light. Civil twilight is defined by the sun's true place, so refraction does not come in. The date is
    the calendar date of mean solar noon, which is the local one wherever clocks keep within half a day of the sun.
    """
    noon = solar_noon(lon, date)
    if sun_altitude_deg(lat, lon, noon) < -CIVIL_DEPRESSION_DEG:
        return None
    return Daylight(*(crossing(lat, lon, noon, way, -CIVIL_DEPRESSION_DEG) for way in (-_HALF_DAY, _HALF_DAY)))


def solar_noon(lon: float, date: datetime.date) -> datetime.datetime:
    """Return when (UTC) the sun stands highest on `date` at a longitude in degrees east."""
    noon = datetime.datetime(date.year, date.month, date.day, 12, tzinfo=datetime.UTC) - datetime.timedelta(
        minutes=4 * lon
    )
    century = (noon - datetime.datetime(2000, 1, 1, 12, tzinfo=datetime.UTC)) / datetime.timedelta(days=36525)
    return noon - datetime.timedelta(minutes=float(astral.sun.eq_of_time(century)))


def sun_altitude_deg(lat: float, lon: float, moment: datetime.datetime) -> float:
    """Return the true height of the sun's centre over the horizon in degrees at `moment` (UTC), without refraction."""
    return float(astral.sun.elevation(astral.Observer(lat, lon), moment, with_refraction=False))


def crossing(
    lat: float, lon: float, noon: datetime.datetime, way: datetime.timedelta, height_deg: float
) -> datetime.datetime:
    """Return when the sun passes `height_deg` between `noon` and `noon` + `way` (half a day on or back).

    Where it stays above that height, `noon` + `way` itself.
    """
    light, dark = noon, noon + way
    if sun_altitude_deg(lat, lon, dark) >= height_deg:
        return dark
    while abs(dark - light) > _SECOND:
        middle = light + (dark - light) / 2
        if sun_altitude_deg(lat, lon, middle) >= height_deg:
            light = middle
        else:
            dark = middle
    return light


class SunPosition(NamedTuple):
    """The sun's centre in degrees: `altitude_deg` over the horizon as it is seen, `azimuth_deg` from north by east."""

    altitude_deg: float
    azimuth_deg: float


def sun_position(lat: float, lon: float, moment: datetime.datetime) -> SunPosition:
    """Return the sun's place as seen, the air's refraction included, from a place in degrees north and east.

    `moment` needs its time zone. Within 0.05° of the published case of NREL's solar position algorithm.
    """
    observer = astral.Observer(lat, lon)
    altitude = astral.sun.elevation(observer, moment, with_refraction=True)
    return SunPosition(float(altitude), float(astral.sun.azimuth(observer, moment)))
