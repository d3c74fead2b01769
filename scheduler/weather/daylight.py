"""Daylight at a site: civil dawn and dusk, when the sun's centre stands 6° below the horizon."""

from __future__ import annotations

import datetime
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


def daylight(lat: float, lon: float, date: datetime.date) -> Daylight | None:
    """Return civil dawn and dusk (UTC) around the solar noon of `date` at a place in degrees north and east.

    None where it stays dark all day. Where the sun does not sink to 6° below the horizon, the half day before or after
    noon is all light. Civil twilight is defined by the sun's true place, so refraction does not come in. The date is
    the calendar date of mean solar noon, which is the local one wherever clocks keep within half a day of the sun.
    """
    noon_utc = datetime.datetime(date.year, date.month, date.day, 12, tzinfo=datetime.UTC)
    noon = noon_utc - datetime.timedelta(minutes=4 * lon)  # the equation of time moves it by up to 17 minutes
    noon += datetime.timedelta(minutes=-_equation_of_time_min(noon))
    if _altitude_deg(lat, lon, noon) < -CIVIL_DEPRESSION_DEG:
        return None
    return Daylight(_crossing(lat, lon, noon, -_HALF_DAY), _crossing(lat, lon, noon, _HALF_DAY))


def sun_altitude_deg(lat: float, lon: float, moment: datetime.datetime) -> float:
    """Return the true height of the sun's centre over the horizon in degrees, without refraction."""
    return _altitude_deg(lat, lon, moment.astimezone(datetime.UTC))


def _altitude_deg(lat: float, lon: float, moment: datetime.datetime) -> float:
    return float(astral.sun.elevation(astral.Observer(lat, lon), moment, with_refraction=False))


def _equation_of_time_min(moment: datetime.datetime) -> float:
    century = (moment - datetime.datetime(2000, 1, 1, 12, tzinfo=datetime.UTC)) / datetime.timedelta(days=36525)
    return float(astral.sun.eq_of_time(century))


def _crossing(lat: float, lon: float, noon: datetime.datetime, way: datetime.timedelta) -> datetime.datetime:
    """Return when the sun passes the civil height between `noon` and `noon` + `way`; that end where it does not."""
    light, dark = noon, noon + way
    if _altitude_deg(lat, lon, dark) >= -CIVIL_DEPRESSION_DEG:
        return dark
    while abs(dark - light) > _SECOND:
        middle = light + (dark - light) / 2
        if _altitude_deg(lat, lon, middle) >= -CIVIL_DEPRESSION_DEG:
            light = middle
        else:
            dark = middle
    return light
