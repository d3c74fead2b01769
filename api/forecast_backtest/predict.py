"""Forecasts of a year that is already known: without a look ahead, and as a forecast service would have made them.

- `blend`: climate plus what is left of today's departure from it. It looks at nothing after the hour when the plan is
  made. After a day next to nothing of today's wind is left, so it knows the season, the hour of the day, and little
  else.
- `service`: a forecast service is played. Its forecast is the climate plus a part of the departure that really came,
  plus an error of its own, as sticky from hour to hour as the weather and partly shared by the stations. The part is
  chosen so that the root mean square error of wind is as large as services' are (`SERVICE_SKILL`). Nobody made these
  forecasts: they say what forecasts of that skill would have been worth.
- `came`: what came, without error. No forecast is as good; it shows how much there was to be won.

The first two are least-squares forecasts: given the forecast, what comes scatters around it.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from api.forecast_backtest.observations import TIMEZONE, Floats, Station
from scheduler.weather.forecast import HOUR, Forecast, Hour

Kind = Literal["blend", "service", "came"]
Mask = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int_]
FIELDS = ("wind_mps", "gust_mps", "temp_c", "humidity")
# Correlation of forecast and actual departure from climate by lead in hours. With the 2.3 m/s by which the hourly wind
# here departs from its climate, they give root mean square errors of wind of 1.6 m/s on the first day, 2.0 on the third
# and 2.2 on the fifth. Published errors against stations: 1.5 to 2.4 m/s for numerical models over their whole range
# (meteo.matrunich.com/benchmark, 30-day tables of 2026); 1.4 m/s mean absolute error of the US service's hourly
# forecast a day ahead (164 hours at one station, github ryanp54/NWS-Hourly-Forecast-Analysis). The decline over days is
# assumed.
SERVICE_SKILL = ((0, 0.80), (24, 0.73), (48, 0.65), (72, 0.54), (96, 0.45), (120, 0.39), (168, 0.25))
_TEMP_SKILL = ((0, 0.95), (24, 0.92), (120, 0.75), (168, 0.6))
_LEADS = 200


def _by_lead(table: tuple[tuple[int, float], ...]) -> Floats:
    return np.interp(np.arange(_LEADS + 1), [h for h, _ in table], [r for _, r in table])


_WIND_SKILL_AT, _TEMP_SKILL_AT = _by_lead(SERVICE_SKILL), _by_lead(_TEMP_SKILL)
_DRIFT = 0.82  # hour-to-hour correlation of a service's error: that of the departures of wind themselves
_SHARED = 0.7  # part of the error's variance that the stations have in common
_GUST_OF_WIND = 1.25  # stands for the gust that a station did not report, where one number is needed for each hour
_WET_MM = 0.2


@dataclass(frozen=True)
class YearClimate:
    """A station's usual weather by hour and season, fitted on the hours of some weeks."""

    usual: dict[str, Floats]
    departure: dict[str, Floats]
    spread: dict[str, float]
    wet_chance: Floats


def filled(station: Station) -> dict[str, Floats]:
    """Return the fields of each hour, gaps bridged, and a stand-in set for gusts that were not reported."""
    wind, temp = (_bridged(values) for values in (station.wind_mps, station.temp_c))
    gust = np.where(np.isnan(station.gust_mps), _GUST_OF_WIND * wind, station.gust_mps)
    return {"wind_mps": wind, "gust_mps": gust, "temp_c": temp, "humidity": _bridged(station.humidity)}


def climate(station: Station, chosen: Mask) -> YearClimate:
    """Return the climate fitted on the `chosen` hours: daily and yearly waves, by least squares."""
    waves = _waves(station)
    values = filled(station)
    usual = {}
    for name in FIELDS:
        weights, *_ = np.linalg.lstsq(waves[chosen], values[name][chosen], rcond=None)
        usual[name] = waves @ weights
    departure = {name: values[name] - usual[name] for name in FIELDS}
    wet = np.nan_to_num(station.rain_mm) >= _WET_MM
    weights, *_ = np.linalg.lstsq(waves[chosen], wet[chosen].astype(float), rcond=None)
    spread = {name: float(np.std(departure[name][chosen])) for name in FIELDS}
    return YearClimate(usual, departure, spread, np.clip(waves @ weights, 0.005, 0.5))


def persistence(climates: list[YearClimate], chosen: Mask, lags: int) -> dict[str, Floats]:
    """Return, by field, the share of a departure left after 0, 1 … `lags` hours, over the `chosen` hours; 0 or more."""
    left: dict[str, Floats] = {}
    for name in FIELDS:
        rows = []
        for lag in range(lags + 1):
            products, squares = 0.0, 0.0
            for c in climates:
                a = c.departure[name]
                both = chosen[lag:] & chosen[: len(chosen) - lag]
                first, then = a[: len(a) - lag][both], a[lag:][both]
                products += float(first @ then)
                squares += float(first @ first)
            rows.append(max(0.0, products / squares) if squares else 0.0)
        left[name] = np.array(rows)
    return left


class Predictor:
    """Makes the forecasts of all stations; everything in it is fitted on the `chosen` hours."""

    def __init__(self, stations: list[Station], chosen: Mask, seed: int) -> None:
        self.stations = stations
        self.climates = [climate(s, chosen) for s in stations]
        self.left = persistence(self.climates, chosen, 168)
        self.seed = seed
        self._wet = [_smooth(np.nan_to_num(s.rain_mm) >= _WET_MM) for s in stations]
        self._wet_spread = [float(np.std(wet)) for wet in self._wet]
        self._wet_share = self._fit_wet(chosen)

    def forecast(self, n: int, kind: Kind, issued: datetime.datetime, hours: int) -> Forecast:
        """Return the forecast for station `n` made at `issued` for the `hours` (up to 168) hours after it."""
        station, climate_ = self.stations[n], self.climates[n]
        begin = station.index(issued)
        name = f"{kind} {station.name}"
        if kind == "came":
            came = (station.hour(at) for at in range(begin + 1, begin + hours + 1))
            return Forecast(name, issued, tuple(hour for hour in came if hour is not None))
        last = min(begin + hours, len(station.wind_mps) - 1)
        at = np.arange(begin + 1, last + 1)
        lead = at - begin
        value = {field: self._values(field, kind, n, begin, at, issued) for field in FIELDS}
        wind = np.maximum(0.0, value["wind_mps"])
        gust = np.maximum(wind, value["gust_mps"])
        wet = (
            climate_.wet_chance[at]
            if kind == "blend"
            else self._wet_chance(n, at, lead, self._noise(issued, n, "wet")[lead])
        )
        humidity = np.clip(value["humidity"], 0.05, 1.0).round(2)
        made = zip(at, wind, gust, wet, value["temp_c"], humidity, strict=True)
        return Forecast(
            name,
            issued,
            tuple(
                Hour(station.start + int(a) * HOUR, float(w), float(g), None, float(r), None, float(t), float(h))
                for a, w, g, r, t, h in made
            ),
        )

    def _values(self, field: str, kind: Kind, n: int, begin: int, at: Ints, issued: datetime.datetime) -> Floats:
        usual, departure = self.climates[n].usual[field], self.climates[n].departure[field]
        lead = at - begin
        if kind == "blend":
            return np.asarray(usual[at] + self.left[field][lead] * departure[begin], float)
        r = (_TEMP_SKILL_AT if field in ("temp_c", "humidity") else _WIND_SKILL_AT)[lead]
        error = r * np.sqrt(1 - r * r) * self.climates[n].spread[field] * self._noise(issued, n, field)[lead]
        return np.asarray(usual[at] + r * r * departure[at] + error, float)

    def _noise(self, issued: datetime.datetime, n: int, name: str) -> Floats:
        """Return a drifting error of unit variance for 0 to 200 hours ahead, partly shared by the stations."""
        field = [*FIELDS, "wet"].index(name)
        day = (issued - self.stations[0].start) // HOUR
        own = _drift(np.random.default_rng((self.seed, day, field, n + 1)))
        shared = _drift(np.random.default_rng((self.seed, day, field, 0)))
        if name == "gust_mps":  # a service that is wrong about the wind is wrong about its gusts
            return np.asarray(math.sqrt(0.8) * self._noise(issued, n, "wind_mps") + math.sqrt(0.2) * own, float)
        return np.asarray(math.sqrt(_SHARED) * shared + math.sqrt(1 - _SHARED) * own, float)

    def _signal(self, n: int, at: Ints, lead: Ints, noise: Floats) -> Floats:
        r = _WIND_SKILL_AT[lead]
        return np.asarray(r * self._wet[n][at] + np.sqrt(1 - r * r) * self._wet_spread[n] * noise, float)

    def _wet_chance(self, n: int, at: Ints, lead: Ints, noise: Floats) -> Floats:
        signal = self._signal(n, at, lead, noise)
        chance = np.empty(len(at))
        for day, (edges, shares) in enumerate(self._wet_share):
            here = np.minimum(6, lead // 24) == day
            chance[here] = shares[np.searchsorted(edges, signal[here])]
        return chance

    def _fit_wet(self, chosen: Mask) -> list[tuple[Floats, Floats]]:
        """Return, by day ahead, edges of the signal and the share of wet hours between them, on the chosen hours."""
        rng = np.random.default_rng((self.seed, 7))
        hours = np.flatnonzero(chosen)
        fitted = []
        for day in range(7):
            lead = np.full(len(hours), day * 24 + 12)
            signal = np.concatenate(
                [self._signal(n, hours, lead, rng.standard_normal(len(hours))) for n in range(len(self.stations))]
            )
            came = np.concatenate([np.nan_to_num(s.rain_mm[hours]) >= _WET_MM for s in self.stations])
            order = np.argsort(signal)
            cuts = [int(len(order) * q) for q in (0.5, 0.7, 0.8, 0.88, 0.93, 0.96, 0.98)]
            shares = np.array([float(np.mean(part)) for part in np.split(came[order], cuts)])
            fitted.append((signal[order][cuts], np.maximum.accumulate(shares)))
        return fitted


def _waves(station: Station) -> Floats:
    times = pd.date_range(station.start, periods=len(station.wind_mps), freq="h").tz_convert(TIMEZONE)
    day = 2 * np.pi * np.asarray(times.hour, float) / 24
    year = 2 * np.pi * np.asarray(times.day_of_year, float) / 365.25
    columns = [np.ones_like(day), np.cos(year), np.sin(year)]
    for k in (1, 2):
        columns += [np.cos(k * day), np.sin(k * day)]
    return np.stack([*columns, np.cos(day) * np.cos(year), np.sin(day) * np.cos(year)], axis=1)


def _bridged(values: Floats) -> Floats:
    """Return the values with the last known one carried on over gaps: what comes after a gap is not known in it."""
    known = np.flatnonzero(~np.isnan(values))
    last = np.searchsorted(known, np.arange(len(values)), side="right") - 1
    return values[known[np.maximum(0, last)]]


def _smooth(wet: Mask) -> Floats:
    return np.convolve(wet.astype(float), np.array([1, 2, 3, 2, 1]) / 9, mode="same")


def _drift(rng: np.random.Generator) -> Floats:
    steps: Floats = rng.standard_normal(_LEADS + 1)
    for n in range(1, len(steps)):
        steps[n] = _DRIFT * steps[n - 1] + math.sqrt(1 - _DRIFT**2) * steps[n]
    return steps
