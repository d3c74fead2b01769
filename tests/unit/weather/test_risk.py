"""How likely an hour, and a visit over several, is lost."""

from __future__ import annotations

import datetime
import itertools

import msgspec
import pytest

from scheduler.errors import BadInput
from scheduler.weather.forecast import Hour
from scheduler.weather.limits import DEFAULT_LIMITS, MPS_PER_MPH, Measure, WeatherLimit, WeatherWork, limits_for
from scheduler.weather.risk import STATED_ERRORS, at_lead, chance_of_any, checked_errors, hour_risk

LIMITS: dict[Measure, WeatherLimit] = limits_for(DEFAULT_LIMITS, WeatherWork("install", 120))


def hour(**values: float | None) -> Hour:
    calm: dict[str, float | None] = {
        "wind_mps": 2.0, "gust_mps": 4.0, "rain_mm": 0.0, "rain_chance": 0.0, "thunder_chance": 0.0, "temp_c": 18.0,
        "humidity": 0.5,
    }  # fmt: skip
    return Hour(start=datetime.datetime(2027, 5, 3, 14, tzinfo=datetime.UTC), **{**calm, **values})  # type: ignore[arg-type]


def test_a_gust_at_the_limit_is_an_even_chance_at_any_lead() -> None:
    for lead_h in (0, 30, 200):
        assert hour_risk(hour(gust_mps=25 * MPS_PER_MPH), lead_h, LIMITS, STATED_ERRORS).wind == pytest.approx(0.5)


def test_a_gust_one_deviation_below_the_limit_breaks_it_one_time_in_six() -> None:
    """A normal error leaves 15.87 % above one standard deviation (2.5 m/s at 24 hours)."""
    risk = hour_risk(hour(gust_mps=25 * MPS_PER_MPH - 2.5), 24, LIMITS, STATED_ERRORS)
    assert risk.wind == pytest.approx(0.1587, abs=0.0001)


def test_the_same_forecast_is_riskier_further_ahead() -> None:
    risks = [hour_risk(hour(gust_mps=8.0), lead, LIMITS, STATED_ERRORS).wind for lead in (0, 24, 72, 168)]
    assert all(a < b for a, b in itertools.pairwise(risks))


def test_a_gust_not_reported_is_expected_from_the_wind_and_never_zero() -> None:
    windy, calm = (hour_risk(hour(wind_mps=w, gust_mps=None), 24, LIMITS, STATED_ERRORS).wind for w in (8.0, 2.0))
    assert windy > 0.1
    assert calm < 0.001
    expected = hour_risk(hour(wind_mps=8.0, gust_mps=8.0 * STATED_ERRORS.gust_per_wind), 24, LIMITS, STATED_ERRORS)
    assert windy == pytest.approx(expected.wind)


def test_a_given_chance_of_rain_counts_for_the_share_of_wet_hours_above_the_limit() -> None:
    """Exponential amounts with a mean of 1.2 mm: exp(−0.5/1.2) = 0.659 of wet hours bring more than 0.5 mm."""
    assert hour_risk(hour(rain_chance=0.4, rain_mm=None), 24, LIMITS, STATED_ERRORS).rain == pytest.approx(
        0.4 * 0.659, abs=0.001
    )
    heavy = hour_risk(hour(rain_chance=0.4, rain_mm=2.0), 24, LIMITS, STATED_ERRORS).rain
    assert heavy == pytest.approx(0.4 * 0.905, abs=0.001)  # 2 mm at 40 % is 5 mm when it rains


def test_without_a_chance_the_amount_alone_is_trusted_less_further_ahead() -> None:
    wet = [hour_risk(hour(rain_chance=None, rain_mm=1.0), lead, LIMITS, STATED_ERRORS).rain for lead in (0, 72, 168)]
    dry = [hour_risk(hour(rain_chance=None, rain_mm=0.0), lead, LIMITS, STATED_ERRORS).rain for lead in (0, 72, 168)]
    assert wet[0] > wet[1] > wet[2] > dry[2] > dry[1] > dry[0] > 0


def test_an_hour_without_a_word_of_rain_is_no_safer_than_one_forecast_dry() -> None:
    nothing, dry = (hour_risk(hour(rain_mm=mm, rain_chance=None), 24, LIMITS, STATED_ERRORS) for mm in (None, 0.0))
    assert nothing.rain >= dry.rain > 0


def test_heat_and_cold() -> None:
    """At 50 % the heat index reaches 100 °F at about 92.6 °F; a forecast there is an even chance, as is −7 °C."""
    limits = limits_for(DEFAULT_LIMITS, WeatherWork("install", 120))
    assert hour_risk(hour(temp_c=(92.6 - 32) / 1.8), 24, limits, STATED_ERRORS).warmth == pytest.approx(0.5, abs=0.03)
    assert hour_risk(hour(temp_c=-7.0), 24, limits, STATED_ERRORS).warmth == pytest.approx(0.5)
    assert hour_risk(hour(temp_c=15.0), 24, limits, STATED_ERRORS).warmth < 1e-6
    assert hour_risk(hour(temp_c=40.0, humidity=None), 24, limits, STATED_ERRORS).warmth < 1e-6  # no humidity, no index


def test_thunder_and_rain_go_together_but_wind_comes_on_top() -> None:
    risk = hour_risk(hour(thunder_chance=0.3, rain_chance=0.3, gust_mps=25 * MPS_PER_MPH), 24, LIMITS, STATED_ERRORS)
    assert risk.any() == pytest.approx(1 - 0.5 * 0.7)


@pytest.mark.parametrize(("dependence", "expected"), [(1.0, 0.3), (0.0, 1 - 0.7 * 0.9 * 0.8), (0.5, (0.3 + 0.496) / 2)])
def test_hours_that_come_together_or_apart(dependence: float, expected: float) -> None:
    assert chance_of_any((0.3, 0.1, 0.2), dependence) == pytest.approx(expected)


def test_between_knots_the_error_is_linear_and_beyond_them_flat() -> None:
    values = STATED_ERRORS.wind_sd_mps
    assert at_lead(STATED_ERRORS, values, 48) == pytest.approx((values[1] + values[2]) / 2)
    assert at_lead(STATED_ERRORS, values, -5) == values[0]
    assert at_lead(STATED_ERRORS, values, 999) == values[-1]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"lead_h": ()}, "lead_h"),
        ({"lead_h": (0, 24, 24, 168)}, "lead_h"),
        ({"wind_sd_mps": (1, 2)}, "wind_sd_mps"),
        ({"rain_hit": (1, 1, 1, 1.5)}, "rain_hit"),
        ({"dependence": 1.2}, "dependence"),
    ],
)
def test_an_error_model_that_cannot_be_is_refused(change: dict[str, object], where: str) -> None:
    with pytest.raises(BadInput) as fault:
        checked_errors(msgspec.structs.replace(STATED_ERRORS, **change))
    assert fault.value.where == where


def test_the_stated_model_passes_its_own_check() -> None:
    assert checked_errors(STATED_ERRORS) is STATED_ERRORS
