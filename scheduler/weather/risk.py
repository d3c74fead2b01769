"""How likely an hour of forecast weather breaks a limit, and how likely a visit inside several such hours is lost.

Where the source gives a chance (rain, thunder) it is used. Wind, gusts and temperature come as one value; the weather
that follows is taken to scatter about it normally, with a standard deviation that grows with lead time. `ErrorModel`
holds those figures; `scheduler.weather.fit` finds them from past forecasts and observations.

Within an hour, wind and gusts go together and so do rain and thunder: of each pair the likelier counts. The pairs and
heat or cold are taken as independent. From hour to hour weather is sticky: the chance for several hours lies between
that of the worst hour (bad hours always come together) and that of independent hours; `dependence` says where, 1 at the
first and 0 at the second. An hour that a visit only touches counts whole.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from scheduler.errors import BadInput
from scheduler.weather.forecast import Hour
from scheduler.weather.heat import fahrenheit, temp_at_heat_index_f
from scheduler.weather.limits import MPS_PER_MPH, Measure, WeatherLimit

F_PER_C = 1.8


class ErrorModel(msgspec.Struct, frozen=True, forbid_unknown_fields=True, cache_hash=True):
    """Errors of a forecast by lead time: knots in hours, ascending, one value at each (linear between, flat beyond).

    `wind_sd_mps`, `gust_sd_mps`, `temp_sd_c`: standard deviation of what comes minus what was forecast. `rain_hit`:
    chance of measurable rain in an hour forecast wet by a source without chances, `rain_miss` in one forecast dry.
    `wet_hour_mm`: mean rain of a wet hour. `gust_per_wind`: gust to expect per wind where none is reported.
    `unforecast_chance`: chance that an hour without a forecast breaks a limit. `dependence`: see the module.
    """

    lead_h: tuple[float, ...]
    wind_sd_mps: tuple[float, ...]
    gust_sd_mps: tuple[float, ...]
    temp_sd_c: tuple[float, ...]
    rain_hit: tuple[float, ...]
    rain_miss: tuple[float, ...]
    wet_hour_mm: float
    gust_per_wind: float
    unforecast_chance: float
    dependence: float


# Stated, not fitted. Wind and temperature: published errors against stations are, for numerical models of 2026 over
# their whole range, 1.5 to 2.4 m/s (root mean square) and 1 to 2.3 °C (mean absolute; meteo.matrunich.com/benchmark),
# and 1.4 m/s and 1.5 °C (mean absolute) for the US service's hourly forecast a day ahead (164 hours at one station,
# github ryanp54/NWS-Hourly-Forecast-Analysis); the growth to a week is an assumption. Gusts: half as much again as
# wind, assumed. Gust per wind: a station's median is 1.5 in hours when it reports gusts and less when it does not. The
# rest is assumed. Fit them to your own source where you can.
STATED_ERRORS = ErrorModel(
    lead_h=(0, 24, 72, 168),
    wind_sd_mps=(1.2, 1.7, 2.2, 3.0),
    gust_sd_mps=(1.8, 2.5, 3.3, 4.4),
    temp_sd_c=(1.0, 1.7, 2.4, 4.0),
    rain_hit=(0.75, 0.65, 0.5, 0.3),
    rain_miss=(0.02, 0.04, 0.06, 0.09),
    wet_hour_mm=1.2,
    gust_per_wind=1.4,
    unforecast_chance=0.08,
    dependence=0.6,
)


class HourRisk(NamedTuple):
    """Chances that one hour is lost to wind or gusts, to rain, to thunder, to heat or cold."""

    wind: float
    rain: float
    thunder: float
    warmth: float

    def any(self) -> float:
        return 1 - (1 - self.wind) * (1 - max(self.rain, self.thunder)) * (1 - self.warmth)


def checked_errors(model: ErrorModel) -> ErrorModel:
    """Return `model` where its knots ascend and every list has one value a knot; raises `BadInput` otherwise."""
    if not model.lead_h or any(b <= a for a, b in zip(model.lead_h, model.lead_h[1:], strict=False)):
        raise BadInput("lead_h", "must hold one or more hours, each larger than the one before")
    for name in ("wind_sd_mps", "gust_sd_mps", "temp_sd_c", "rain_hit", "rain_miss"):
        values = getattr(model, name)
        if len(values) != len(model.lead_h):
            raise BadInput(name, f"must hold one value for each of lead_h ({len(model.lead_h)}), holds {len(values)}")
        if any(not 0 <= v <= (1 if name.startswith("rain") else 50) for v in values):
            raise BadInput(name, "holds a value that cannot be")
    for name in ("unforecast_chance", "dependence"):
        if not 0 <= getattr(model, name) <= 1:
            raise BadInput(name, f"must be from 0 to 1, is {getattr(model, name)}")
    return model


def hour_risk(hour: Hour, lead_h: float, limits: dict[Measure, WeatherLimit], model: ErrorModel) -> HourRisk:
    """Return the chances that `hour`, forecast `lead_h` hours ahead, breaks `limits`."""
    wind = _above(hour.wind_mps, _mps(limits, "wind_mph"), at_lead(model, model.wind_sd_mps, lead_h))
    gust_mps = hour.wind_mps * model.gust_per_wind if hour.gust_mps is None else hour.gust_mps
    gust = _above(gust_mps, _mps(limits, "gust_mph"), at_lead(model, model.gust_sd_mps, lead_h))
    thunder = hour.thunder_chance or 0.0 if "thunder_chance" in limits else 0.0
    temp_sd = at_lead(model, model.temp_sd_c, lead_h)
    hot = cold = 0.0
    if "heat_index_f" in limits and hour.humidity is not None:
        top_f = temp_at_heat_index_f(limits["heat_index_f"].value, hour.humidity * 100)
        hot = _above(fahrenheit(hour.temp_c), top_f, temp_sd * F_PER_C)
    if "temp_least_c" in limits:
        cold = _above(-hour.temp_c, -limits["temp_least_c"].value, temp_sd)
    return HourRisk(max(wind, gust), _rain(hour, lead_h, limits, model), thunder, max(hot, cold))


def calm_risk(hour: Hour, limits: dict[Measure, WeatherLimit], model: ErrorModel) -> HourRisk:
    """Return the chances of an hour that is forecast calm and dry at the longest lead time, as warm as `hour`.

    No hour without a forecast is safer.
    """
    calm = msgspec.structs.replace(hour, wind_mps=0.0, gust_mps=None, rain_mm=0.0, rain_chance=None, thunder_chance=0.0)
    return hour_risk(calm, model.lead_h[-1], limits, model)


def chance_of_any(chances: Sequence[float], dependence: float) -> float:
    """Return the chance that at least one of several hours is bad, given each hour's chance (0 for none)."""
    if not chances:
        return 0.0
    worst = max(chances)
    independent = 1 - math.prod(1 - c for c in chances)
    return worst + (1 - dependence) * (independent - worst)


def at_lead(model: ErrorModel, values: Sequence[float], lead_h: float) -> float:
    """Return the value of an `ErrorModel`'s list at a lead time in hours."""
    knots = model.lead_h
    n = bisect.bisect_right(knots, lead_h)
    if n == 0 or n == len(knots):
        return values[0] if n == 0 else values[-1]
    share = (lead_h - knots[n - 1]) / (knots[n] - knots[n - 1])
    return values[n - 1] + share * (values[n] - values[n - 1])


def _above(forecast: float, limit: float | None, sd: float) -> float:
    """Chance that a value scattered normally about `forecast` exceeds `limit`."""
    if limit is None:
        return 0.0
    if sd <= 0:
        return float(forecast > limit)
    return 0.5 * math.erfc((limit - forecast) / (sd * math.sqrt(2)))


def _mps(limits: dict[Measure, WeatherLimit], measure: Measure) -> float | None:
    return limits[measure].value * MPS_PER_MPH if measure in limits else None


def _rain(hour: Hour, lead_h: float, limits: dict[Measure, WeatherLimit], model: ErrorModel) -> float:
    """Chance of more rain than the limit: of any, times the share of wet hours (exponential amounts) above it."""
    if "rain_mm" not in limits:
        return 0.0
    if hour.rain_chance is not None:
        wet = hour.rain_chance
    elif hour.rain_mm is not None:
        wet = at_lead(model, model.rain_hit if hour.rain_mm > 0 else model.rain_miss, lead_h)
    else:  # nobody has said that it stays dry: no safer than where somebody has, however far ahead
        wet = max(model.rain_miss)
    if wet <= 0:
        return 0.0
    mean_mm = max(model.wet_hour_mm, (hour.rain_mm or 0.0) / wet)
    return wet * math.exp(-limits["rain_mm"].value / mean_mm)
