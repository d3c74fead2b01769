"""Finding the figures of `ErrorModel` from past forecasts and what came, and checking chances against what happened."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from scheduler.errors import BadInput
from scheduler.weather.forecast import Hour
from scheduler.weather.risk import STATED_ERRORS, ErrorModel, at_lead, chance_of_any, checked_errors

_LEAST_PAIRS = 20  # fewer say nothing; the value of the stated model is kept then
WET_MM = 0.2  # measurable rain: 0.01 inch, rounded down


class Pair(NamedTuple):
    """An hour as it was forecast `lead_h` hours ahead, and as it came."""

    lead_h: float
    forecast: Hour
    came: Hour


class CalibrationRow(NamedTuple):
    """Of `cases` with chances from `low` to `high`, the mean chance and the share in which it happened."""

    low: float
    high: float
    cases: int
    mean_chance: float
    share: float


def fit_errors(pairs: Iterable[Pair], lead_h: Sequence[float], base: ErrorModel = STATED_ERRORS) -> ErrorModel:
    """Return an error model with knots at `lead_h` (hours, ascending), each fitted to the pairs nearest to it.

    Standard deviations are root mean squares of what came minus what was forecast, so a constant error counts as
    scatter. Gusts are compared where both sides report one; the ratio of gust to wind is the median over what came with
    winds above 5 m/s, where stations report gusts. With too few pairs the values of `base` stay, as do the figures that
    are not fitted here (`unforecast_chance`, `dependence`).
    """
    groups: list[list[Pair]] = [[] for _ in lead_h]
    ratios, wet_mm = [], []
    for pair in pairs:
        nearest = min(range(len(lead_h)), key=lambda n: abs(lead_h[n] - pair.lead_h))
        groups[nearest].append(pair)
        if pair.came.gust_mps is not None and pair.came.wind_mps > 5:
            ratios.append(pair.came.gust_mps / pair.came.wind_mps)
        if pair.came.rain_mm is not None and pair.came.rain_mm >= WET_MM:
            wet_mm.append(pair.came.rain_mm)
    rows = [_fit_group(group, h, base) for group, h in zip(groups, lead_h, strict=True)]
    wind, gust, temp, hit, miss = (tuple(row[n] for row in rows) for n in range(5))
    return checked_errors(
        ErrorModel(
            lead_h=tuple(lead_h),
            wind_sd_mps=wind,
            gust_sd_mps=gust,
            temp_sd_c=temp,
            rain_hit=hit,
            rain_miss=miss,
            wet_hour_mm=sum(wet_mm) / len(wet_mm) if len(wet_mm) >= _LEAST_PAIRS else base.wet_hour_mm,
            gust_per_wind=sorted(ratios)[len(ratios) // 2] if len(ratios) >= _LEAST_PAIRS else base.gust_per_wind,
            unforecast_chance=base.unforecast_chance,
            dependence=base.dependence,
        )
    )


def fit_dependence(visits: Sequence[tuple[Sequence[float], bool]], steps: int = 20) -> float:
    """Return the best `dependence` over visits, each given by the chances of its hours and whether it was lost.

    Smallest squared error, searched in `steps` equal steps from 0 to 1. Raises `BadInput` where there is no visit.
    """
    if not visits:
        raise BadInput("visits", "must hold at least one visit")
    grid = [n / steps for n in range(steps + 1)]
    return min(grid, key=lambda d: sum((chance_of_any(chances, d) - lost) ** 2 for chances, lost in visits))


def calibration(cases: Iterable[tuple[float, bool]], edges: Sequence[float]) -> list[CalibrationRow]:
    """Return a row for each interval between `edges` (ascending, 0 to 1) that holds a case; the last includes 1."""
    groups: list[list[tuple[float, bool]]] = [[] for _ in edges[1:]]
    for chance, happened in cases:
        n = next((n for n in range(len(groups)) if chance < edges[n + 1]), len(groups) - 1)
        groups[n].append((chance, happened))
    return [
        CalibrationRow(edges[n], edges[n + 1], len(g), sum(c for c, _ in g) / len(g), sum(h for _, h in g) / len(g))
        for n, g in enumerate(groups)
        if g
    ]


def brier(cases: Sequence[tuple[float, bool]]) -> float:
    """Return the mean squared difference of chance and what happened (0: perfect)."""
    return sum((chance - happened) ** 2 for chance, happened in cases) / len(cases)


def _fit_group(group: list[Pair], lead_h: float, base: ErrorModel) -> tuple[float, ...]:
    """Return the deviations of wind, gust and temperature, and rain hit and miss; those of `base` for small groups."""
    wind: list[float] = []
    gust: list[float] = []
    temp: list[float] = []
    hits: list[float] = []
    misses: list[float] = []
    for _, forecast, came in group:
        wind.append(came.wind_mps - forecast.wind_mps)
        temp.append(came.temp_c - forecast.temp_c)
        if came.gust_mps is not None and forecast.gust_mps is not None:
            gust.append(came.gust_mps - forecast.gust_mps)
        if came.rain_mm is not None and forecast.rain_mm is not None:
            (hits if forecast.rain_mm > 0 else misses).append(float(came.rain_mm >= WET_MM))
    stated = (base.wind_sd_mps, base.gust_sd_mps, base.temp_sd_c, base.rain_hit, base.rain_miss)
    found = (
        *(math.sqrt(sum(e * e for e in errors) / max(1, len(errors))) for errors in (wind, gust, temp)),
        *(sum(came) / max(1, len(came)) for came in (hits, misses)),
    )
    sizes = (len(wind), len(gust), len(temp), len(hits), len(misses))
    return tuple(
        value if size >= _LEAST_PAIRS else at_lead(base, values, lead_h)
        for value, size, values in zip(found, sizes, stated, strict=True)
    )
