"""Fitting the error model gives back what the errors were made with."""

from __future__ import annotations

import datetime
import random

import pytest

from scheduler.errors import BadInput
from scheduler.weather.fit import Pair, brier, calibration, fit_dependence, fit_errors
from scheduler.weather.forecast import Hour
from scheduler.weather.risk import STATED_ERRORS, at_lead

START = datetime.datetime(2027, 5, 3, tzinfo=datetime.UTC)


def hour(wind: float, gust: float | None, rain: float | None, temp: float) -> Hour:
    return Hour(START, wind, gust, rain, None, None, temp, 0.5)


def pairs(seed: int = 5) -> list[Pair]:
    """Errors of 1.5 and 3 m/s near and far, half as much again in gusts, 2 °C; 70 % of wet, 5 % of dry hours wet."""
    rng = random.Random(seed)
    made = []
    for n in range(6000):
        lead, wet = rng.choice([20, 30, 95, 105]), n % 4 == 0
        sd = 1 + (25 if lead < 50 else 100) / 50
        wind, gust = 20 + rng.gauss(0, sd), 30 + rng.gauss(0, 1.5 * sd)
        rain = rng.expovariate(1 / 2.0) + 0.2 if rng.random() < (0.7 if wet else 0.05) else 0.0
        made.append(Pair(lead, hour(20, 30, float(wet), 10), hour(wind, gust, rain, 10 + rng.gauss(0, 2))))
    return made


def test_known_errors_are_found_again() -> None:
    fitted = fit_errors(pairs(), (25, 100))
    assert fitted.wind_sd_mps == pytest.approx((1.5, 3.0), rel=0.05)
    assert fitted.gust_sd_mps == pytest.approx((2.25, 4.5), rel=0.05)
    assert fitted.temp_sd_c == pytest.approx((2.0, 2.0), rel=0.05)
    assert fitted.rain_hit == pytest.approx((0.7, 0.7), abs=0.05)
    assert fitted.rain_miss == pytest.approx((0.05, 0.05), abs=0.02)
    assert fitted.wet_hour_mm == pytest.approx(2.2, rel=0.08)
    assert fitted.gust_per_wind == pytest.approx(1.5, rel=0.03)


def test_with_too_little_to_go_by_the_stated_figures_stay() -> None:
    fitted = fit_errors(pairs()[:10], (25, 100))
    assert fitted.wind_sd_mps == tuple(at_lead(STATED_ERRORS, STATED_ERRORS.wind_sd_mps, h) for h in (25, 100))
    assert fitted.gust_per_wind == STATED_ERRORS.gust_per_wind


def test_gusts_not_reported_do_not_count_as_errors() -> None:
    silent = [Pair(p.lead_h, p.forecast, hour(p.came.wind_mps, None, p.came.rain_mm, p.came.temp_c)) for p in pairs()]
    fitted = fit_errors(silent, (25, 100))
    assert fitted.gust_sd_mps == tuple(at_lead(STATED_ERRORS, STATED_ERRORS.gust_sd_mps, h) for h in (25, 100))


@pytest.mark.parametrize("together", [0.0, 1.0])
def test_hours_that_fail_together_or_alone_are_told_apart(together: float) -> None:
    rng = random.Random(3)
    visits = []
    for _ in range(3000):
        chance = rng.choice([0.1, 0.3])
        hours = [rng.random() < chance for _ in range(3)]
        visits.append(([chance] * 3, hours[0] if together else any(hours)))
    assert fit_dependence(visits) == pytest.approx(together, abs=0.15)


def test_no_visits_no_dependence() -> None:
    with pytest.raises(BadInput, match="visits"):
        fit_dependence([])


def test_calibration_counts_by_interval_and_the_last_includes_certainty() -> None:
    cases = [(0.05, False), (0.05, True), (0.5, True), (1.0, True)]
    low, high = calibration(cases, (0, 0.1, 0.4, 1.0))
    assert (low.cases, low.mean_chance, low.share) == (2, 0.05, 0.5)
    assert (high.low, high.high, high.cases, high.mean_chance, high.share) == (0.4, 1.0, 2, 0.75, 1.0)
    assert brier(cases) == pytest.approx((0.0025 + 0.9025 + 0.25 + 0) / 4)
