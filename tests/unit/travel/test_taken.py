"""Drives fitted to drives that were made: the line is found again, and odd drives do not turn it."""

from __future__ import annotations

import random

import pytest

from scheduler.errors import BadInput
from scheduler.travel.taken import LEAST_DRIVES, fit_drives


def made(rng: random.Random, count: int, factor: float, constant: float) -> tuple[list[float], list[float]]:
    said = [rng.uniform(4, 60) for _ in range(count)]
    return said, [factor * minutes + constant + rng.gauss(0, 1.5) for minutes in said]


@pytest.mark.parametrize(("factor", "constant"), [(1.0, 0.0), (1.3, 0.0), (1.15, 5.0), (0.8, 3.0)])
def test_the_line_that_made_the_drives_is_found(factor: float, constant: float) -> None:
    fit = fit_drives(*made(random.Random(1), 200, factor, constant))
    assert fit.factor == pytest.approx(factor, abs=0.03)
    assert fit.constant_min == pytest.approx(constant, abs=0.8)
    assert (fit.drives, fit.held_back) == (200, 40)
    assert fit.error_min < 2


def test_a_third_of_odd_drives_does_not_turn_it() -> None:
    said, took = made(random.Random(2), 90, 1.2, 2.0)
    for n in range(0, 90, 4):
        took[n] += 100  # lunch before the tap
    fit = fit_drives(said, took)
    assert fit.factor == pytest.approx(1.2, abs=0.12)


def test_few_drives_teach_nothing() -> None:
    with pytest.raises(BadInput, match=f"at least {LEAST_DRIVES} drives, has 19"):
        fit_drives([10.0] * 19, [12.0] * 19)


def test_drives_of_one_length_keep_their_slope() -> None:
    fit = fit_drives([10.0] * 30, [14.0] * 30)
    assert (fit.factor, fit.constant_min) == (1.0, 4.0)
