"""The US National Weather Service's JSON: the hourly product, with gusts, rain and thunder from the grid.

`/points/{lat},{lon}` names the addresses of a place's `forecastHourly` and `forecastGridData`. The hourly product
writes wind as text ("5 to 10 mph": the larger is taken) and gives no gusts, amounts or thunder; the grid has them as
layers of `validTime` intervals ("2027-03-15T06:00:00+00:00/PT6H", ISO 8601) with units such as `wmoUnit:km_h-1`.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from typing import Any

from scheduler.errors import BadInput
from scheduler.weather.forecast import HOUR, Forecast, Hour, checked

SOURCE = "National Weather Service"

_MPS_PER = {
    "mph": 0.44704, "km/h": 1 / 3.6, "kph": 1 / 3.6, "kt": 1852 / 3600, "kts": 1852 / 3600, "m/s": 1.0,
    "wmounit:km_h-1": 1 / 3.6, "wmounit:m_s-1": 1.0, "wmounit:kt": 1852 / 3600,
}  # fmt: skip
_WIND_TEXT = r"(?:(\d+(?:\.\d+)?)\s*(?:to|-)\s*)?(\d+(?:\.\d+)?)\s*(mph|km/h|kph|kts?|m/s)"
# Chance that goes with a word of the weather layer where `probabilityOfThunder` is empty: the middle of what the
# service's forecast terms stand for (slight chance or isolated 20 %, chance or scattered 30 to 50 %, likely or numerous
# 60 to 70 %, beyond that 80 % and more; from memory of its glossary). Words of duration ("periods", "brief") say
# nothing of the chance.
_CHANCE_OF = {
    "slight_chance": 0.2, "isolated": 0.2, "few": 0.2, "patchy": 0.2, "chance": 0.4, "scattered": 0.4, "areas": 0.4,
    "likely": 0.65, "numerous": 0.65, "definite": 0.9, "widespread": 0.9, "frequent": 0.9, "occasional": 0.9,
    "intermittent": 0.9, "brief": 0.9, "periods": 0.9,
}  # fmt: skip


def forecast_paths(point: Any) -> tuple[str, str | None]:
    """Return the addresses of the hourly product and of the grid (None if not named) from a `/points` answer."""
    properties = _properties(point, "place")
    hourly, grid = properties.get("forecastHourly"), properties.get("forecastGridData")
    if not isinstance(hourly, str) or not hourly:
        raise BadInput("properties.forecastHourly", "is missing: the service has no hourly forecast for that place")
    return hourly, grid if isinstance(grid, str) and grid else None


def nws_forecast(hourly: Any, grid: Any | None) -> tuple[Forecast, tuple[str, ...]]:
    """Return the forecast in an hourly answer and, where at hand, a grid answer, and notes on what was left out.

    Periods without a usable start, wind or temperature are left out, said in a note. Raises `BadInput` where nothing
    can be used or a document is not of the service's form.
    """
    properties = _properties(hourly, "hourly forecast")
    periods = properties.get("periods")
    if not isinstance(periods, list):
        raise BadInput("properties.periods", "must be a list; this is no hourly forecast of the service")
    issued = _time(properties.get("updateTime") or properties.get("generatedAt") or properties.get("updated"))
    if issued is None:
        raise BadInput("properties.updateTime", "is missing, so the age of the forecast is not known")
    notes: list[str] = []
    layers = _Layers(grid, notes)
    hours: dict[datetime.datetime, Hour] = {}
    dropped = 0
    for period in periods:
        hour = _hour(period, layers)
        if hour is None:
            dropped += 1
        else:
            hours.setdefault(hour.start, hour)
    if not hours:
        raise BadInput("properties.periods", "holds no hour with a start, a wind and a temperature")
    if dropped:
        notes.append(f"{dropped} of {len(periods)} hours left out: no usable start, wind or temperature")
    if all(hour.gust_mps is None for hour in hours.values()):
        notes.append("gusts are not reported")
    return checked(Forecast(SOURCE, issued, tuple(hours[t] for t in sorted(hours)))), tuple(notes)


def wind_mps(text: Any) -> float | None:
    """Return the larger speed of a wind as the service writes it ("10 mph", "5 to 10 mph", a quantity), else None."""
    if isinstance(text, dict):
        factor = _MPS_PER.get(str(text.get("unitCode", "wmoUnit:km_h-1")).lower())
        values = [v for v in (text.get("value"), text.get("maxValue")) if isinstance(v, int | float)]
        return max(values) * factor if values and factor and max(values) >= 0 else None
    if not isinstance(text, str):
        return None
    if text.strip().lower() == "calm":
        return 0.0
    found = re.fullmatch(_WIND_TEXT, text.strip().lower())
    if not found:
        return None
    return max(float(found[1] or 0), float(found[2])) * _MPS_PER[found[3]]


def interval(text: Any) -> tuple[datetime.datetime, datetime.datetime] | None:
    """Return start and end (UTC) of an ISO 8601 interval of start and duration, else None.

    Weeks, days, hours, minutes and seconds are read; months and years, whose length varies, are not.
    """
    start_text, _, duration_text = str(text).partition("/")
    start = _time(start_text)
    found = re.fullmatch(r"P(?:(\d+)W)?(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?", duration_text)
    if start is None or not found or not any(found.groups()):
        return None
    weeks, days, hours, minutes, seconds = (int(part or 0) for part in found.groups())
    length = datetime.timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)
    return (start, start + length) if length else None


class _Layers:
    """The grid's layers that the hourly product lacks, by UTC hour."""

    def __init__(self, grid: Any | None, notes: list[str]) -> None:
        self.gust_mps: dict[datetime.datetime, float] = {}
        self.rain_mm: dict[datetime.datetime, float] = {}
        self.thunder: dict[datetime.datetime, float] = {}
        if grid is None:
            return
        try:
            properties = _properties(grid, "grid")
        except BadInput as fault:
            notes.append(f"the grid of gusts, rain and thunder could not be used ({fault})")
            return
        gusts = properties.get("windGust")
        unit = str(gusts.get("uom", "wmoUnit:km_h-1")).lower() if isinstance(gusts, dict) else ""
        factor = _MPS_PER.get(unit)
        if gusts is not None and factor is None:
            notes.append(f'gusts left out: unknown unit "{unit}"')
        for start, end, value in _number_values(gusts) if factor else ():
            for hour in _hours(start, end):
                self.gust_mps[hour] = value * (factor or 0)
        for start, end, value in _number_values(properties.get("quantitativePrecipitation")):
            share = value / max(1.0, (end - start) / HOUR)  # the layer gives the sum over the interval
            for hour in _hours(start, end):
                self.rain_mm[hour] = share
        for start, end, value in _number_values(properties.get("probabilityOfThunder")):
            for hour in _hours(start, end) if value <= 100 else ():
                self.thunder[hour] = value / 100
        for start, end, value in _values(properties.get("weather")):
            chance = _thunder_in_words(value)
            for hour in _hours(start, end):
                self.thunder.setdefault(hour, chance)


def _hour(period: Any, layers: _Layers) -> Hour | None:
    if not isinstance(period, dict):
        return None
    start, wind, temp = _time(period.get("startTime")), wind_mps(period.get("windSpeed")), _celsius(period)
    if start is None or wind is None or temp is None or wind > 113.5 or not -90 <= temp <= 60:
        return None
    gust = layers.gust_mps.get(start)
    if gust is not None:
        gust = max(gust, wind) if 0 <= gust <= 113.5 else None
    rain = layers.rain_mm.get(start)
    return Hour(
        start=start,
        wind_mps=wind,
        gust_mps=gust,
        rain_mm=rain if rain is None or 0 <= rain <= 450 else None,
        rain_chance=_percent(period.get("probabilityOfPrecipitation")),
        thunder_chance=layers.thunder.get(start),
        temp_c=temp,
        humidity=_percent(period.get("relativeHumidity")),
    )


def _celsius(period: dict[str, Any]) -> float | None:
    value: Any = period.get("temperature")
    unit = str(period.get("temperatureUnit", "F")).upper()
    if isinstance(value, dict):
        value, unit = value.get("value"), "C" if "degc" in str(value.get("unitCode", "degC")).lower() else "F"
    if isinstance(value, bool) or not isinstance(value, int | float) or unit not in ("F", "C"):
        return None
    return (value - 32) / 1.8 if unit == "F" else float(value)


def _percent(quantity: Any) -> float | None:
    value: Any = quantity.get("value") if isinstance(quantity, dict) else None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 100:
        return None
    return value / 100


def _thunder_in_words(entries: Any) -> float:
    chances = [0.0]
    for entry in entries if isinstance(entries, list) else ():
        if isinstance(entry, dict) and "thunder" in str(entry.get("weather", "")):
            chances.append(_CHANCE_OF.get(str(entry.get("coverage", "")), 0.4))
    return max(chances)


def _values(layer: Any) -> Iterator[tuple[datetime.datetime, datetime.datetime, Any]]:
    for entry in layer.get("values", ()) if isinstance(layer, dict) else ():
        span = interval(entry.get("validTime")) if isinstance(entry, dict) else None
        if span is not None:
            yield *span, entry.get("value")


def _number_values(layer: Any) -> Iterator[tuple[datetime.datetime, datetime.datetime, float]]:
    for start, end, value in _values(layer):
        if isinstance(value, int | float) and not isinstance(value, bool) and value >= 0:
            yield start, end, float(value)


def _hours(start: datetime.datetime, end: datetime.datetime) -> Iterator[datetime.datetime]:
    hour = start.replace(minute=0, second=0, microsecond=0)
    while hour < end and hour - start < datetime.timedelta(days=15):
        yield hour
        hour += HOUR


def _properties(document: Any, what: str) -> dict[str, Any]:
    properties = document.get("properties") if isinstance(document, dict) else None
    if not isinstance(properties, dict):
        raise BadInput("properties", f"is missing; this is no {what} of the National Weather Service")
    return properties


def _time(text: Any) -> datetime.datetime | None:
    try:
        moment = datetime.datetime.fromisoformat(str(text))
        return moment.astimezone(datetime.UTC) if moment.tzinfo is not None else None
    except (ValueError, OverflowError):
        return None
