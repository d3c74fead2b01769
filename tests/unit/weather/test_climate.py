"""The climate of a place: read strictly, and what it makes of hours that no forecast reaches."""

from __future__ import annotations

import datetime

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.errors import BadInput
from scheduler.weather.climate import Climate, Month, climate_from_csv, climate_risk, climate_to_csv
from scheduler.weather.forecast import Forecast, Hour
from scheduler.weather.limits import DEFAULT_LIMITS, WeatherWork, limits_for
from scheduler.weather.risk import STATED_ERRORS, hour_risk
from scheduler.weather.windows import SitePoint, Span, work_windows

MILD = Month(
    month=1, wind_mps=3.0, wind_sd_mps=1.0, wet_hours=0.03, wet_hour_mm=1.0, thunder_hours=0.002, temp_c=16.0,
    temp_swing_c=5.0, temp_sd_c=3.0, humidity=0.5,
)  # fmt: skip
STORMY = msgspec.structs.replace(MILD, wind_mps=9.0, wind_sd_mps=4.0, wet_hours=0.3, thunder_hours=0.05)
YEAR = Climate(tuple(msgspec.structs.replace(STORMY if n == 3 else MILD, month=n) for n in range(1, 13)))
INSTALL = WeatherWork(kind="install", minutes=180)
LIMITED = tuple(limits_for(DEFAULT_LIMITS, INSTALL).items())


def test_a_climate_reads_back_as_it_was_written() -> None:
    assert climate_from_csv(climate_to_csv(YEAR)) == YEAR


@pytest.mark.parametrize(
    ("change", "where", "problem"),
    [
        (lambda lines: lines[:5], "", "the month 5 is missing; a climate has all twelve"),
        (lambda lines: [*lines, lines[1]], "line 14, month", "1 stands already further up"),
        (lambda lines: [lines[0], lines[1].replace("3,", "wind,", 1), *lines[2:]], "line 2, wind_mps", "must be a"),
        (lambda lines: [lines[0], lines[1].replace(",0.5", ",1.5"), *lines[2:]], "line 2, humidity", "1"),
        (lambda lines: [lines[0] + ",more", *lines[1:]], "first line", "must be month,"),
        (lambda lines: [lines[0], lines[1] + ",9", *lines[2:]], "line 2", "has more or fewer cells"),
    ],
)
def test_a_faulty_climate_is_refused_with_line_and_column(change, where: str, problem: str) -> None:  # type: ignore[no-untyped-def]
    text = "\n".join(change(climate_to_csv(YEAR).splitlines())) + "\n"
    with pytest.raises(BadInput) as fault:
        climate_from_csv(text)
    assert fault.value.where == where
    assert problem in fault.value.problem


def test_a_stormy_month_is_riskier_than_a_mild_one() -> None:
    march, may = (climate_risk(YEAR, datetime.date(2027, month, 10), 11, LIMITED).any() for month in (3, 5))
    assert march > 2 * may


def test_the_afternoon_is_warmer_than_the_morning() -> None:
    hot = Climate(tuple(msgspec.structs.replace(m, temp_c=33.0, humidity=0.6) for m in YEAR.months))
    day = datetime.date(2027, 7, 10)
    assert climate_risk(hot, day, 15, LIMITED).warmth > climate_risk(hot, day, 6, LIMITED).warmth


@given(month=st.integers(1, 12), hour=st.integers(6, 18))
def test_an_hour_without_forecast_is_never_safer_than_a_calm_forecast_one(month: int, hour: int) -> None:
    calm = Hour(
        start=datetime.datetime(2027, month, 10, hour, tzinfo=datetime.UTC), wind_mps=0.0, gust_mps=None, rain_mm=0.0,
        rain_chance=None, thunder_chance=0.0, temp_c=YEAR.months[month - 1].temp_c, humidity=0.5,
    )  # fmt: skip
    season = climate_risk(YEAR, datetime.date(2027, month, 10), hour, LIMITED)
    for lead_h in (0.0, 24.0, 168.0):
        told = hour_risk(calm, lead_h, dict(LIMITED), STATED_ERRORS)
        assert season.wind >= told.wind
        assert season.rain >= told.rain
        assert season.thunder >= told.thunder


def windows_of(forecast: Forecast | None, climate: Climate | None, date: datetime.date):  # type: ignore[no-untyped-def]
    return work_windows(
        customer_hours=[Span(0, 8 * 60, 16 * 60)], start_date=date, timezone="America/Denver",
        site=SitePoint(40.0, -105.0),
        forecast=forecast, work=INSTALL, limits=DEFAULT_LIMITS, crew_hours=None, visit_cents=100_000, climate=climate,
    )  # fmt: skip


def test_days_beyond_the_forecast_are_priced_by_their_season() -> None:
    march, may = datetime.date(2027, 3, 10), datetime.date(2027, 5, 10)
    risks = [min(w.risk_cents for w in windows_of(None, YEAR, date).windows) for date in (march, may)]
    assert risks[0] > 2 * risks[1] > 0
    blind = [min(w.risk_cents for w in windows_of(None, None, date).windows) for date in (march, may)]
    assert blind[0] == blind[1]  # without a climate no season is told from another


def test_the_wait_after_thunder_is_priced_for_its_half_hour_alone() -> None:
    """A thundery hour and then none: what begins after the wait costs no more than what begins an hour later."""
    date = datetime.date(2027, 5, 10)
    thunder = Hour(
        start=datetime.datetime(2027, 5, 10, 14, tzinfo=datetime.UTC), wind_mps=1.0, gust_mps=None, rain_mm=0.0,
        rain_chance=None, thunder_chance=0.35, temp_c=16.0, humidity=0.5,
    )  # fmt: skip
    forecast = Forecast("test", datetime.datetime(2027, 5, 10, tzinfo=datetime.UTC), (thunder,))
    found = windows_of(forecast, YEAR, date)  # 14:00 UTC is 8:00 in Denver: the wait lasts from 9:00 to 9:30

    def cents(start: int) -> int:
        return min(w.risk_cents for w in found.windows if w.start <= start and start + 180 <= w.end)

    assert cents(9 * 60) > cents(9 * 60 + 30)
    assert cents(9 * 60 + 30) <= cents(10 * 60 + 30) + 500  # the step by which prices may differ
