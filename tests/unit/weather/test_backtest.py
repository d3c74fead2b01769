"""The backtest's parts: mended observations, forecasts that do not look ahead, and what the weather takes."""

from __future__ import annotations

import dataclasses
import datetime
from pathlib import Path

import numpy as np
import pytest

from api.forecast_backtest.invent import Ask, asks, week_of
from api.forecast_backtest.observations import TIMEZONE, Station, read_stations
from api.forecast_backtest.predict import Predictor
from api.forecast_backtest.run import issued, mondays, split
from api.forecast_backtest.score import is_lost, score, visit_hours
from scheduler.errors import BadInput
from scheduler.plan import Because, Cost, Plan, Route, Skipped, Stop
from scheduler.weather.limits import DEFAULT_LIMITS, WeatherWork
from scheduler.weather.windows import SitePoint, Span
from scheduler.week import Window, checked

HEAD = "origin,hour,temp,humid,wind_speed,wind_gust,precip,time_hour"
START = datetime.datetime(2013, 1, 1, 6, tzinfo=datetime.UTC)


def station(hours: int = 24 * 120, seed: int = 0, name: str = "AAA") -> Station:
    """Winds that drift about a daily wave, a gust now and then, some rain."""
    rng = np.random.default_rng(seed)
    drift = np.zeros(hours)
    for n in range(1, hours):
        drift[n] = 0.8 * drift[n - 1] + rng.normal(0, 1.2)
    wind = np.maximum(0, 5 + 1.5 * np.sin(np.arange(hours) * 2 * np.pi / 24) + drift)
    gust = np.where(wind > 7, wind * 1.5, np.nan)
    rain = np.where(rng.random(hours) < 0.06, 1.0, 0.0)
    return Station(name, START, wind, gust, rain, np.full(hours, 15.0) + rng.normal(0, 2, hours), np.full(hours, 0.6))


def test_traps_of_the_file_are_mended_and_counted(tmp_path: Path) -> None:
    file = tmp_path / "weather.csv"
    rows = [
        "AAA,1,50,50,10,,0,2013-01-01T06:00:00Z",
        "AAA,2,50,50,1048.36,1206.4,0,2013-01-01T07:00:00Z",
        "AAA,4,50,50,20,30,0.1,2013-01-01T09:00:00Z",  # 08:00 is missing
    ]
    file.write_text("\n".join([HEAD, *rows]) + "\n")
    (found,), (note,) = read_stations(file)
    assert note == "AAA: 1 of 4 hours missing, 1 impossible wind left out, 1 hours without a reported gust"
    first, last = found.hour(0), found.hour(3)
    assert first is not None
    assert last is not None
    assert first.wind_mps == pytest.approx(4.4704)
    assert first.gust_mps is None  # none reported, which is not zero
    assert first.temp_c == pytest.approx(10.0)
    assert last.gust_mps == pytest.approx(13.4112)
    assert last.rain_mm == pytest.approx(2.54)
    assert found.hour(1) is None
    assert found.hour(2) is None
    assert found.hour(99) is None


def test_weeks_to_fit_on_are_spread_and_never_planned() -> None:
    found = mondays([station(24 * 364)])
    planned, fit = split(found, 40)
    assert len(planned) == 40
    assert not set(planned) & set(fit)
    assert set(planned) | set(fit) == set(found)
    gaps = np.diff([day.toordinal() for day in fit])
    assert gaps.max() <= 42
    with pytest.raises(BadInput, match="six weeks"):
        split(found, len(found))


def changed(weather: Station, after: int) -> Station:
    """The same weather up to hour `after`, a storm from then on."""
    wind, gust, rain = weather.wind_mps.copy(), weather.gust_mps.copy(), weather.rain_mm.copy()
    wind[after + 1 :], gust[after + 1 :], rain[after + 1 :] = 25.0, 35.0, 9.0
    return dataclasses.replace(weather, wind_mps=wind, gust_mps=gust, rain_mm=rain)


def test_the_blend_does_not_look_ahead_and_the_played_service_does_as_said() -> None:
    moment = START + datetime.timedelta(hours=24 * 90)
    chosen = np.zeros(24 * 120, bool)
    chosen[: 24 * 80] = True
    calm = [station(seed=n, name=f"S{n}") for n in range(3)]
    stormy = [changed(s, 24 * 90) for s in calm]
    one, two = Predictor(calm, chosen, 1), Predictor(stormy, chosen, 1)
    assert one.forecast(0, "blend", moment, 100) == two.forecast(0, "blend", moment, 100)
    assert one.forecast(0, "service", moment, 100) != two.forecast(0, "service", moment, 100)
    assert one.forecast(0, "service", moment, 100) == one.forecast(0, "service", moment, 100)


def test_the_played_service_knows_more_than_climate_and_less_further_ahead() -> None:
    weather = [station(seed=n, name=f"S{n}") for n in range(3)]
    chosen = np.zeros(24 * 120, bool)
    chosen[: 24 * 40] = True
    predictor = Predictor(weather, chosen, 1)
    near: list[float] = []
    far: list[float] = []
    climate: list[float] = []
    for day in range(41, 112):
        moment = START + datetime.timedelta(days=day)
        for n in range(3):
            hours = predictor.forecast(n, "service", moment, 120).hours
            plain = predictor.forecast(n, "blend", moment, 120).hours
            for lead, errors, source in ((20, near, hours), (110, far, hours), (110, climate, plain)):
                at = weather[n].index(moment) + lead
                errors.append(source[lead - 1].wind_mps - float(weather[n].wind_mps[at]))
    rms = [float(np.sqrt(np.mean(np.square(errors)))) for errors in (near, far, climate)]
    assert rms[0] < rms[1] < rms[2]


ASK = Ask("install-01", WeatherWork("install", 120), 0, SitePoint(40.69, -74.17), (Span(0, 480, 1020),))
MONDAY = datetime.date(2013, 1, 7)


def gusty(hours: range) -> Station:
    count = 24 * 14
    gust = np.full(count, np.nan)
    gust[list(hours)] = 15.0
    flat = np.full(count, 3.0)
    return Station("AAA", START, flat, gust, np.zeros(count), np.full(count, 12.0), np.full(count, 0.5))


def test_a_visit_is_lost_when_an_hour_that_it_touches_breaks_a_limit() -> None:
    calm = gusty(range(0))
    ten = visit_hours(calm, MONDAY, 600, 720)
    assert [calm.start + n * datetime.timedelta(hours=1) for n in ten] == [
        datetime.datetime(2013, 1, 7, 15, tzinfo=datetime.UTC), datetime.datetime(2013, 1, 7, 16, tzinfo=datetime.UTC),
    ]  # fmt: skip
    assert is_lost(ASK, calm, ten, DEFAULT_LIMITS) is False
    assert is_lost(ASK, gusty(ten), ten, DEFAULT_LIMITS) is True
    assert is_lost(ASK, gusty(range(ten.stop, ten.stop + 1)), ten, DEFAULT_LIMITS) is False
    holed = dataclasses.replace(calm, wind_mps=np.where(np.arange(24 * 14) == ten.start, np.nan, 3.0))
    assert is_lost(ASK, holed, ten, DEFAULT_LIMITS) is None  # not recorded: neither lost nor kept


def test_the_score_counts_what_was_planned_lost_and_left_waiting() -> None:
    other = ASK._replace(id="install-02")
    stops = (Stop("install-01", 600, 720),)
    route = Route(crew="crew-1", day=0, depart=560, back=760, helpers=0, rest=None, stops=stops)
    cost = Cost(100_000, 40_000, 5_000, 0, 0, 7_000, 0, 0, 48_000)
    waiting = (Skipped("install-02", (Because("no-window", "no hours"),)),)
    plan = Plan(
        format="plan/1",
        week="w",
        engine="test",
        seconds=0.0,
        routes=(route,),
        skipped=waiting,
        broken=(),
        cost=cost,
        bound=None,
    )
    hours = visit_hours(gusty(range(0)), MONDAY, 600, 720)
    found = score(plan, [ASK, other], [gusty(hours)], MONDAY, DEFAULT_LIMITS)
    assert (found.planned, found.lost, found.unknown, found.waiting) == (1, 1, 0, 1)
    assert (found.road_cents, found.waiting_cents, found.planned_cents) == (45_000, 48_000, 93_000)
    assert found.lost_cents == ASK.visit_cents


def test_invented_weeks_are_weeks_and_the_same_each_time() -> None:
    found = asks(1, 0, 12, 0.5)
    assert found == asks(1, 0, 12, 0.5)
    assert found != asks(1, 1, 12, 0.5)
    windows = {ask.id: tuple(Window(s.day, s.start, s.end, 0) for s in ask.hours) for ask in found}
    week = checked(week_of("w", MONDAY, TIMEZONE, found, windows, 2))
    assert len(week.jobs) == 12
    assert issued(MONDAY) == datetime.datetime(2013, 1, 6, 23, tzinfo=datetime.UTC)
