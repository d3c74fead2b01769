"""The backtest: fit on some weeks, plan the others with and without a forecast, and let the weather come."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field

import msgspec
import numpy as np

from api.forecast_backtest.invent import DAYS, Ask, asks, week_of
from api.forecast_backtest.observations import TIMEZONE, Station
from api.forecast_backtest.predict import Kind, Mask, Predictor, filled
from api.forecast_backtest.score import Score, is_lost, score, visit_hours
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.weather.fit import Pair, fit_dependence, fit_errors
from scheduler.weather.forecast import HOUR, Forecast, Hour
from scheduler.weather.limits import LimitTable, limits_for
from scheduler.weather.risk import STATED_ERRORS, ErrorModel, chance_of_any, hour_risk
from scheduler.weather.windows import work_windows
from scheduler.week import Week, Window

BLIND = "blind"
OPEN = "service, every hour open"  # at the price of its chance of loss, where that is lower than OPEN_BELOW
OPEN_BELOW = 1.0
KNOTS_H = (24.0, 48.0, 72.0, 96.0, 120.0)
_SUNDAY_HOUR = 18  # the week is planned on the evening before it, local time
_AHEAD_H = 130
_MOST_FIT = 13  # weeks; more take long and change little

# Without any look at the weather: every hour is as good as any other.
_NONE = dict.fromkeys(("lead_h", "wind_sd_mps", "gust_sd_mps", "temp_sd_c", "rain_hit", "rain_miss"), (0.0,))
_NO_WEATHER = msgspec.structs.replace(STATED_ERRORS, unforecast_chance=0.0, **_NONE)

Case = tuple[float, bool]


@dataclass(frozen=True)
class PlannedWeek:
    monday: datetime.date
    scores: dict[str, Score]


@dataclass
class Outcome:
    """Scores by week and way of planning; (chance, lost) of visits at random times, on fitted and on other weeks."""

    weeks: list[PlannedWeek] = field(default_factory=list)
    errors: dict[Kind, ErrorModel] = field(default_factory=dict)
    fitted_cases: dict[Kind, list[Case]] = field(default_factory=dict)
    other_cases: dict[Kind, list[Case]] = field(default_factory=dict)


def mondays(stations: list[Station]) -> list[datetime.date]:
    """Return the Mondays of all weeks that the stations cover from the Sunday before to Friday."""
    first, hours = stations[0].start, len(stations[0].wind_mps)
    day = first.date() + datetime.timedelta(days=2)
    found = []
    while datetime.datetime.combine(day, datetime.time(), datetime.UTC) + DAYS * 24 * HOUR < first + hours * HOUR:
        if day.weekday() == 0:
            found.append(day)
        day += datetime.timedelta(days=1)
    return found


def split(found: list[datetime.date], planned: int) -> tuple[list[datetime.date], list[datetime.date]]:
    """Return the weeks to plan and the other ones, to fit on, which are spread over the year."""
    others = len(found) - planned
    if planned < 1 or others < 6:
        raise BadInput("weeks", f"must be from 1 to {len(found) - 6}, to leave six weeks to fit on, is {planned}")
    fit = {round((n + 0.5) * len(found) / others - 0.5) for n in range(others)}
    return [d for n, d in enumerate(found) if n not in fit], [d for n, d in enumerate(found) if n in fit]


def backtest(
    stations: list[Station],
    limits: LimitTable,
    planner: Callable[[Week], Plan],
    kinds: tuple[Kind, ...],
    weeks: int,
    jobs: int,
    crews: int,
    any_day: float,
    seed: int,
    say: Callable[[str], None] = lambda _: None,
    executor: Executor | None = None,
) -> Outcome:
    """Return what plans with each kind of forecast, and without any, lost to the weather that came.

    `weeks` are planned, some of the others serve to fit climate, errors and dependence; nothing of a planned week
    is used before it is scored, but what the kind of forecast says. `planner` makes a plan of a week, by `executor`
    where there is one: the weeks of the season do not know each other.
    """
    planned, spare = split(mondays(stations), weeks)
    fit = spare[:: -(-len(spare) // _MOST_FIT)]
    chosen = _mask(stations, fit)
    predictor = Predictor(stations, chosen, seed)
    outcome = Outcome()
    for kind in kinds:
        errors = _fit(predictor, stations, fit, kind)
        cases = _visit_chances(predictor, stations, fit, kind, limits, errors, seed)
        errors = msgspec.structs.replace(errors, dependence=fit_dependence(cases))
        outcome.errors[kind] = errors
        outcome.fitted_cases[kind] = [(chance_of_any(c, errors.dependence), lost) for c, lost in cases]
        others = _visit_chances(predictor, stations, planned, kind, limits, errors, seed)
        outcome.other_cases[kind] = [(chance_of_any(c, errors.dependence), lost) for c, lost in others]

    def plan_and_score(
        found: list[Ask], monday: datetime.date, forecasts: list[Forecast] | None, errors: ErrorModel,
        open_below: float = 0.0,
    ) -> Callable[[], Score]:  # fmt: skip
        """Have the week planned; what is returned waits for the plan and gives its score."""
        windows = _windows(found, monday, forecasts, limits, errors, open_below)
        week = week_of(f"week of {monday}", monday, TIMEZONE, found, windows, crews)
        going = executor.submit(planner, week) if executor is not None else None
        return lambda: score(planner(week) if going is None else going.result(), found, stations, monday, limits)

    season: list[tuple[datetime.date, dict[str, Callable[[], Score]]]] = []
    for n, monday in enumerate(planned):
        found = asks(seed, n, jobs, any_day)
        scored = {BLIND: plan_and_score(found, monday, None, _NO_WEATHER)}
        for kind in kinds:
            forecasts = _forecasts(predictor, kind, monday)
            scored[kind] = plan_and_score(found, monday, forecasts, outcome.errors[kind])
            if kind == "service":
                scored[OPEN] = plan_and_score(found, monday, forecasts, outcome.errors[kind], OPEN_BELOW)
        season.append((monday, scored))
    for monday, scored in season:
        scores = {way: made() for way, made in scored.items()}
        outcome.weeks.append(PlannedWeek(monday, scores))
        say(f"{monday}: " + ", ".join(f"{way} lost {s.lost} of {s.planned}" for way, s in scores.items()))
    return outcome


def issued(monday: datetime.date) -> datetime.datetime:
    """Return when the week is planned: the evening before, to the full hour, in UTC."""
    sunday = monday - datetime.timedelta(days=1)
    local = datetime.datetime.combine(sunday, datetime.time(_SUNDAY_HOUR), zoneinfo.ZoneInfo(TIMEZONE))
    return local.astimezone(datetime.UTC)


def _mask(stations: list[Station], fit: list[datetime.date]) -> Mask:
    chosen = np.zeros(len(stations[0].wind_mps), bool)
    for monday in fit:
        begin = stations[0].index(issued(monday))
        chosen[begin : begin + 7 * 24] = True
    return chosen


def _forecasts(predictor: Predictor, kind: Kind, monday: datetime.date) -> list[Forecast]:
    return [predictor.forecast(n, kind, issued(monday), _AHEAD_H) for n in range(len(predictor.stations))]


def _fit(predictor: Predictor, stations: list[Station], fit: list[datetime.date], kind: Kind) -> ErrorModel:
    """Return errors fitted on the `fit` weeks; for gusts that were not reported the forecasts' own stand-in is used."""
    pairs = []
    gusts = [filled(station)["gust_mps"] for station in stations]
    for monday in fit:
        for n, (station, forecast) in enumerate(zip(stations, _forecasts(predictor, kind, monday), strict=True)):
            for hour in forecast.hours:
                at = station.index(hour.start)
                if (came := station.hour(at)) is not None:
                    whole: Hour = msgspec.structs.replace(came, gust_mps=float(gusts[n][at]))
                    pairs.append(Pair((hour.start - forecast.issued) / HOUR, hour, whole))
    return fit_errors(pairs, KNOTS_H)


def _visit_chances(
    predictor: Predictor,
    stations: list[Station],
    weeks: list[datetime.date],
    kind: Kind,
    limits: LimitTable,
    errors: ErrorModel,
    seed: int,
) -> list[tuple[list[float], bool]]:
    """Return the chances of the hours of visits at random times, and whether the weather that came took the visit."""
    rng = np.random.default_rng((seed, len(weeks), 3))
    found = []
    for n, monday in enumerate(weeks):
        forecasts = _forecasts(predictor, kind, monday)
        for ask in asks(seed + 1, n, 40, 0.5):
            day, start = int(rng.integers(DAYS)), int(rng.integers(32, 69 - ask.work.minutes // 15)) * 15
            date = monday + datetime.timedelta(days=day)
            station = stations[ask.station]
            hours = visit_hours(station, date, start, start + ask.work.minutes)
            lost = is_lost(ask, station, hours, limits)
            if lost is not None:
                found.append((_chances(ask, forecasts[ask.station], station, hours, limits, errors), lost))
    return found


def _chances(
    ask: Ask, forecast: Forecast, station: Station, hours: range, limits: LimitTable, errors: ErrorModel
) -> list[float]:
    own = limits_for(limits, ask.work)
    return [
        hour_risk(hour, (hour.start - forecast.issued) / HOUR, own, errors).any()
        for hour in forecast.hours
        if station.index(hour.start) in hours
    ]


def _windows(
    found: list[Ask],
    monday: datetime.date,
    forecasts: list[Forecast] | None,
    limits: LimitTable,
    errors: ErrorModel,
    open_below: float,
) -> dict[str, tuple[Window, ...]]:
    return {
        ask.id: work_windows(
            ask.hours,
            monday,
            TIMEZONE,
            ask.site,
            None if forecasts is None else forecasts[ask.station],
            ask.work,
            limits,
            None,
            ask.visit_cents,
            errors,
            open_below=open_below,
        ).windows
        for ask in found
    }
