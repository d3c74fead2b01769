"""The weather along the top of the week sheet: each day's wind, rain, heat and light over the working hours."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass, field

import msgspec

from api.fields.wording import wording
from scheduler.travel.interface import Point
from scheduler.weather.daylight import daylight
from scheduler.weather.forecast import Forecast, Hour
from scheduler.weather.heat import fahrenheit, heat_index_f
from scheduler.weather.limits import MPS_PER_MPH, LimitTable, Measure, WeatherLimit, WeatherWork, limits_for
from scheduler.weather.lost import CLOCK, DARK, NO_CREW, TOO_SHORT, Lost
from scheduler.weather.windows import SitePoint, Span, work_windows

# The working day whose weather is told, whatever hours the crews keep.
SKY_FROM, SKY_TO = 7 * 60, 18 * 60
_HEAT_FROM_F = 80  # where the bands of the heat index begin
_WET_MM = 0.2


@dataclass(frozen=True)
class SkyHour:
    """One hour: its first minute, sustained wind and gust in mph (gust None: not forecast), rain in millimetres."""

    start: int
    wind_mph: float
    gust_mph: float | None
    rain_mm: float


@dataclass(frozen=True)
class Sky:
    """A day's weather over working hours in one line each; `rough` says from when to when installs are closed, and why.

    `light` are the minutes of civil dawn and dusk, None where it stays dark; `lost` the closed stretches in minutes;
    `gust_limit_mph` is what an install of usual size allows.
    """

    date: datetime.date
    wind: str
    warmth: str
    rain: str
    rough: tuple[str, ...]
    light: tuple[int, int] | None = None
    lost: tuple[tuple[int, int], ...] = ()
    hours: tuple[SkyHour, ...] = field(default=(), repr=False)
    gust_limit_mph: float | None = None


def skies(
    forecast: Forecast | None, limits: LimitTable, timezone: str, start_date: datetime.date, days: int, at: Point
) -> tuple[Sky, ...]:
    """Return the weather of `days` days from `start_date` on at a yard (degrees north, east)."""
    zone = zoneinfo.ZoneInfo(timezone)
    return tuple(_sky(forecast, limits, zone, start_date + datetime.timedelta(days=day), at) for day in range(days))


def _sky(forecast: Forecast | None, limits: LimitTable, zone: zoneinfo.ZoneInfo, date: datetime.date, at: Point) -> Sky:
    light = _light(zone, date, at)
    hours = [(local.hour * 60, hour) for local, hour in _hours(forecast, zone, date)]
    working = [hour for start, hour in hours if SKY_FROM <= start < SKY_TO]
    if not working:
        return Sky(date, "no forecast yet: planned by the usual weather", "", "", (), light)
    usual = WeatherWork(kind="install", minutes=60)
    gusts = [hour.gust_mps for hour in working if hour.gust_mps is not None]
    metric = wording().units == "metric"
    low, high = (_speed(pick(h.wind_mps for h in working), metric) for pick in (min, max))
    wind = f"wind {low}–{high} {'km/h' if metric else 'mph'}"
    lost = _lost(forecast, limits, zone, date, at, usual)
    limit: dict[Measure, WeatherLimit] = limits_for(limits, usual)
    return Sky(
        date=date,
        wind=wind + (f", gusts {_speed(max(gusts), metric)}" if gusts else ""),
        warmth=_warmth(working),
        rain=_rain(working),
        rough=tuple(_words(loss) for loss in lost),
        light=light,
        lost=tuple((loss.start, loss.end) for loss in lost),
        hours=tuple(
            SkyHour(
                start=start,
                wind_mph=hour.wind_mps / MPS_PER_MPH,
                gust_mph=None if hour.gust_mps is None else hour.gust_mps / MPS_PER_MPH,
                rain_mm=hour.rain_mm or 0.0,
            )
            for start, hour in hours
        ),
        gust_limit_mph=limit["gust_mph"].value if "gust_mph" in limit else None,
    )


def _hours(
    forecast: Forecast | None, zone: zoneinfo.ZoneInfo, date: datetime.date
) -> Sequence[tuple[datetime.datetime, Hour]]:
    found = ((hour.start.astimezone(zone), hour) for hour in (forecast.hours if forecast else ()))
    return [(local, hour) for local, hour in found if local.date() == date]


def _light(zone: zoneinfo.ZoneInfo, date: datetime.date, at: Point) -> tuple[int, int] | None:
    light = daylight(*at, date)
    if light is None:
        return None
    dawn, dusk = light.dawn.astimezone(zone), light.dusk.astimezone(zone)
    return dawn.hour * 60 + dawn.minute, dusk.hour * 60 + dusk.minute


def _warmth(hours: Sequence[Hour]) -> str:
    metric = wording().units == "metric"
    degrees = [fahrenheit(hour.temp_c) for hour in hours]
    cool, warm = (_degrees(pick(degrees), metric) for pick in (min, max))
    words = f"{cool}–{warm} {'°C' if metric else '°F'}"
    index = max(
        (heat_index_f(fahrenheit(h.temp_c), h.humidity * 100) for h in hours if h.humidity is not None), default=0.0
    )
    return f"{words}, feels {_degrees(index, metric)}" if index >= max(_HEAT_FROM_F, max(degrees)) else words


def _degrees(fahrenheit_deg: float, metric: bool) -> str:
    return f"{(fahrenheit_deg - 32) / 1.8 if metric else fahrenheit_deg:.0f}"


def _rain(hours: Sequence[Hour]) -> str:
    wet = sum(hour.rain_mm or 0 for hour in hours)
    if wet < _WET_MM:
        return "dry"
    return f"rain {wet:.1f} mm" if wording().units == "metric" else f"rain {wet / 25.4:.2f} in"


def _lost(
    forecast: Forecast | None,
    limits: LimitTable,
    zone: zoneinfo.ZoneInfo,
    date: datetime.date,
    at: Point,
    work: WeatherWork,
) -> list[Lost]:
    """Return when in working hours an install of usual size must not go on."""
    found = work_windows(
        customer_hours=[Span(0, SKY_FROM, SKY_TO)],
        start_date=date,
        timezone=zone.key,
        site=SitePoint(*at),
        forecast=forecast,
        work=work,
        limits=limits,
        crew_hours=None,
        visit_cents=0,
    )
    return _joined([loss for loss in found.lost if loss.codes[0] not in (CLOCK, NO_CREW, DARK, TOO_SHORT)])


def _joined(losses: list[Lost]) -> list[Lost]:
    """Join losses that touch: on the sheet the hours count, and the first reason of the longest."""
    joined: list[Lost] = []
    for loss in losses:
        if joined and joined[-1].end == loss.start:
            longest = max(joined[-1], loss, key=lambda one: one.end - one.start)
            joined[-1] = msgspec.structs.replace(longest, start=joined[-1].start, end=loss.end)
        else:
            joined.append(loss)
    return joined


def _words(loss: Lost) -> str:
    first, last = (wording().hour(hour) for hour in (loss.start // 60, -(-loss.end // 60)))
    return f"no installs {first}–{last}, {'gusts' if loss.codes[0] == 'gust' else loss.codes[0]}"


def _speed(mps: float, metric: bool) -> int:
    return round(mps * 3.6 if metric else mps / MPS_PER_MPH)
