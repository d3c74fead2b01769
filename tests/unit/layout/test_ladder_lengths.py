"""Lengths of leaning ladders, worked out from the rules that `tests/reference/osha` holds."""

from __future__ import annotations

import math

import pytest

from scheduler.layout.site.ladders import (
    FOOT_OUT_PART,
    RAILS_ABOVE_MM,
    foot_out_mm,
    ladders_for,
    leaning_length_mm,
)  # fmt: skip
from scheduler.units import FOOT_MM


def test_landing_at_twelve_feet() -> None:
    """12 ft / cos(asin 1/4) = 12.39 ft along the ladder, a quarter of it out, and 15.49 ft with 3 ft of rails above."""
    to_landing = leaning_length_mm(12 * FOOT_MM)
    assert to_landing / FOOT_MM == pytest.approx(12.39, abs=0.01)
    assert foot_out_mm(to_landing) / FOOT_MM == pytest.approx(3.10, abs=0.02)
    assert leaning_length_mm(12 * FOOT_MM + RAILS_ABOVE_MM) / FOOT_MM == pytest.approx(15.49, abs=0.02)


def test_a_quarter_of_the_length_is_not_a_quarter_of_the_height() -> None:
    # Four up and one out would be 75.96 degrees.
    assert math.degrees(math.acos(FOOT_OUT_PART)) < math.degrees(math.atan(4)) - 0.4


def test_rails_above_are_for_a_landing() -> None:
    high = 19 * FOOT_MM
    landing, wall = ladders_for(high), ladders_for(high, landing=False)
    assert "rails 3 ft above" in landing.findings[0].text
    assert "rails" not in wall.findings[0].text
    assert (landing.size_ft, wall.size_ft) == (28, 24)
