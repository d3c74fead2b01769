"""Ladder rules of OSHA and printed duty ratings: see source.md beside this file."""

from __future__ import annotations

import math

import pytest

from scheduler.layout.site.ladders import (
    WORKING_LOAD_KG,
    duty_rating,
    foot_out_mm,
    ladders_for,
    leaning_length_mm,
    overlap_ft,
)  # fmt: skip
from scheduler.layout.site.lifting import KG_PER_LB
from scheduler.units import FOOT_MM


def test_twenty_feet_of_working_length() -> None:
    length = 20 * FOOT_MM
    assert foot_out_mm(length) / FOOT_MM == pytest.approx(5.0, abs=0.01)
    assert leaning_length_mm(19.36 * FOOT_MM) == pytest.approx(length, abs=0.01 * FOOT_MM)  # it touches 19.36 ft up
    angle = math.degrees(math.acos(foot_out_mm(length) / length))
    assert angle == pytest.approx(75.52, abs=0.01)
    assert angle == pytest.approx(75.5, abs=0.05)  # the test angle of 1926.1053(a)(1)


@pytest.mark.parametrize(
    ("pounds", "rating"),
    [
        (200, "III"),
        (201, "II"),
        (225, "II"),
        (250, "I"),
        (270, "IA"),
        (300, "IA"),
        (301, "IAA"),
        (375, "IAA"),
        (376, None),
    ],
)
def test_duty_ratings(pounds: float, rating: str | None) -> None:
    assert duty_rating(pounds * KG_PER_LB) == rating


def test_person_tools_and_part_need_type_ia() -> None:
    # 200 lb person + 30 lb tools + 40 lb part = 270 lb.
    assert duty_rating(WORKING_LOAD_KG) == "IA"


@pytest.mark.parametrize(("size_ft", "overlap"), [(16, 3), (36, 3), (37, 4), (48, 4), (49, 5), (60, 5)])
def test_overlap_of_extension_ladders(size_ft: float, overlap: float) -> None:
    assert overlap_ft(size_ft) == overlap


@pytest.mark.parametrize(("size_ft", "reach_ft"), [(6, 10), (8, 12), (10, 14), (12, 16)])
def test_stepladders_reach_four_feet_above_their_size(size_ft: int, reach_ft: int) -> None:
    """Ladder makers' printed guides: a person of 5 ft 6 in, standing two steps below the top (source.md)."""
    for height_ft, wanted in ((reach_ft, size_ft), (reach_ft - 1.9, size_ft)):
        found = ladders_for(height_ft * FOOT_MM, landing=False)
        assert (found.kind, found.size_ft) == ("stepladder", wanted)
        assert f"Feet no higher than {size_ft - 2} ft" in found.findings[0].text
        assert f"reaches {reach_ft} ft" in found.findings[0].text
