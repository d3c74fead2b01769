"""JSON of an Open-Meteo service: columns of hourly values beside a column of times.

Rain, its chance and gusts are given for the hour before each time, wind and temperature at the time itself. So the hour
from t takes its rain, chance and gust from the entry of t + 1 hour, and of the two winds at its ends the larger.
"""

from __future__ import annotations

import datetime
import math
from typing import Any

from scheduler.errors import BadInput
from scheduler.weather.forecast import HOUR, Forecast, Hour, checked

SOURCE = "Open-Meteo"
VARIABLES = (
    "temperature_2m", "relative_humidity_2m", "precipitation", "precipitation_probability", "wind_speed_10m",
    "wind_gusts_10m", "weather_code",
)  # fmt: skip
_THUNDER_CODES = (95, 96, 97, 99)  # WMO code table 4677: thunderstorm without or with hail
# A weather code is a plain yes or no. It is read as an even chance, which closes the hour by any usual limit.
_THUNDER_CHANCE = 0.5
_SPEED = {"m/s": 1.0, "ms": 1.0, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "mp/h": 0.44704, "mph": 0.44704, "kn": 1852 / 3600}
_LENGTH = {"mm": 1.0, "inch": 25.4}
_UNITS: dict[str, dict[str, float]] = {"wind_speed_10m": _SPEED, "wind_gusts_10m": _SPEED, "precipitation": _LENGTH}


def query(lat: float, lon: float, days: int) -> dict[str, str]:
    """Return the query of a request for `days` days at a place, in UTC and metric units."""
    return {
        "latitude": f"{lat:.4f}", "longitude": f"{lon:.4f}", "hourly": ",".join(VARIABLES), "wind_speed_unit": "ms",
        "timezone": "GMT", "forecast_days": str(days),
    }  # fmt: skip


def open_meteo_forecast(document: Any, fetched: datetime.datetime) -> tuple[Forecast, tuple[str, ...]]:
    """Return the forecast in an answer and notes on what was left out.

    The format does not say when the forecast was made: `fetched` (UTC) stands for it. Hours without a wind or
    temperature are left out, said in a note. Raises `BadInput` where nothing can be used or the form or a unit is not
    known.
    """
    hourly = document.get("hourly") if isinstance(document, dict) else None
    if not isinstance(hourly, dict) or not isinstance(hourly.get("time"), list):
        raise BadInput("hourly.time", "is missing; this is no hourly forecast of an Open-Meteo service")
    offset = document.get("utc_offset_seconds", 0)
    if isinstance(offset, bool) or not isinstance(offset, int) or abs(offset) > 86400:
        raise BadInput("utc_offset_seconds", "must be the seconds that its times are ahead of UTC")
    times = [_time(text, offset) for text in hourly["time"]]
    columns = {name: _column(document, hourly, name, len(times)) for name in VARIABLES}
    at = {t: n for n, t in enumerate(times) if t is not None}
    hours: list[Hour] = []
    for t in sorted(at):
        if (hour := _hour(t, at[t], at.get(t + HOUR), columns)) is not None:
            hours.append(hour)
    if not hours:
        raise BadInput("hourly", "holds no hour with a wind and a temperature")
    notes = []
    if len(hours) < len(times):
        notes.append(f"{len(times) - len(hours)} of {len(times)} hours left out: no usable time, wind or temperature")
    if all(hour.gust_mps is None for hour in hours):
        notes.append("gusts are not reported")
    if all(hour.thunder_chance is None for hour in hours):
        notes.append("thunder is not reported")
    return checked(Forecast(SOURCE, fetched, tuple(hours))), tuple(notes)


def _hour(t: datetime.datetime, n: int, after: int | None, columns: dict[str, list[float | None]]) -> Hour | None:
    wind, wind_after = (_at(columns, "wind_speed_10m", m, 0, 113.5) for m in (n, after))
    temp = _at(columns, "temperature_2m", n, -90, 60)
    if wind is None or temp is None:
        return None
    humidity = _at(columns, "relative_humidity_2m", n, 0, 100)
    chance = _at(columns, "precipitation_probability", after, 0, 100)
    code = _at(columns, "weather_code", n, 0, 99)
    return Hour(
        start=t,
        wind_mps=wind if wind_after is None else max(wind, wind_after),
        gust_mps=_at(columns, "wind_gusts_10m", after, 0, 113.5),
        rain_mm=_at(columns, "precipitation", after, 0, 450),
        rain_chance=None if chance is None else chance / 100,
        thunder_chance=None if code is None else _THUNDER_CHANCE * (code in _THUNDER_CODES),
        temp_c=temp,
        humidity=None if humidity is None else humidity / 100,
    )


def _at(columns: dict[str, list[float | None]], name: str, n: int | None, least: float, most: float) -> float | None:
    value = None if n is None else columns[name][n]
    return value if value is not None and least <= value <= most else None


def _column(document: dict[str, Any], hourly: dict[str, Any], name: str, size: int) -> list[float | None]:
    values = hourly.get(name)
    if values is None:
        return [None] * size
    if not isinstance(values, list) or len(values) != size:
        raise BadInput(f"hourly.{name}", f"must be a list with one value a time ({size})")
    units = document.get("hourly_units")
    unit = units.get(name) if isinstance(units, dict) else None
    factor = 1.0
    if name in _UNITS and (unit := unit or ("m/s" if name.startswith("wind") else "mm")) is not None:
        if unit not in _UNITS[name]:
            raise BadInput(f"hourly_units.{name}", f'is "{unit}", none of {", ".join(_UNITS[name])}')
        factor = _UNITS[name][unit]
    fahrenheit = name == "temperature_2m" and "F" in str(unit or "")
    found: list[float | None] = []
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            found.append(None)
        else:
            found.append((value - 32) / 1.8 if fahrenheit else value * factor)
    return found


def _time(text: Any, offset_s: int) -> datetime.datetime | None:
    try:
        if isinstance(text, int) and not isinstance(text, bool):  # timeformat=unixtime is UTC whatever the offset
            return datetime.datetime.fromtimestamp(text, datetime.UTC)
        moment = datetime.datetime.fromisoformat(str(text)).replace(tzinfo=datetime.UTC)
        return moment - datetime.timedelta(seconds=offset_s)
    except (ValueError, OverflowError, OSError):
        return None
