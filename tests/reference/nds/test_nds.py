"""Lag screw values against the tables and worked examples of the NDS: see source.md beside this file."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from scheduler.layout.statics import nds
from scheduler.layout.statics.lag import grip

HERE = Path(__file__).parent
STEEL_THIN_PSI = 61_850.0  # bearing of A653 grade 33 plate, below 1/4 in, which Table 12K is made for: from memory


def inches(text: str) -> float:
    """`1-1/8` as a number."""
    return float(sum(Fraction(part) for part in text.split("-")))


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="") as table:
        return list(csv.DictReader(table))


def test_withdrawal_table_12_2a_is_met_in_every_legible_cell() -> None:
    checked = 0
    for row in rows("withdrawal_12_2a.csv"):
        gravity = float(row.pop("gravity"))
        for diameter, printed in row.items():
            if printed:
                # The table is the equation rounded to whole pounds.
                assert nds.withdrawal_lbf_per_in(gravity, inches(diameter)) == pytest.approx(int(printed), abs=0.5)
                checked += 1
    assert checked == 22 * 11 - 2


@pytest.mark.parametrize(
    ("gravity", "diameter_in", "printed", "unrounded"),
    [(0.50, 0.375, 305, 304.97), (0.42, 0.375, 235, 234.78), (0.55, 0.375, 352, 351.84), (0.42, 0.25, 173, 173.22)],
)
def test_withdrawal_worked_values(gravity: float, diameter_in: float, printed: int, unrounded: float) -> None:
    found = nds.withdrawal_lbf_per_in(gravity, diameter_in)
    assert found == pytest.approx(printed, abs=0.5)
    assert found == pytest.approx(unrounded, abs=0.005)


def test_lateral_table_12k_is_met_in_every_legible_cell() -> None:
    checked = 0
    for row in rows("lateral_12k.csv"):
        for grain_deg, column in ((0.0, "along_lbf"), (90.0, "across_lbf")):
            if row[column]:
                value = nds.lateral_lbf(
                    float(row["gravity"]),
                    inches(row["diameter"]),
                    grain_deg,
                    float(row["plate_in"]),
                    STEEL_THIN_PSI,
                )
                assert round(value / 10) * 10 == int(row[column]), (row, grain_deg, value)
                checked += 1
    assert checked == 219


def test_awc_example_half_inch_lag_withdrawal() -> None:
    # AWC example E2.3: 1/2 x 4 in, side member 1-1/2 in, tip 5/16 in, G 0.55, load duration 1.0: 955 lbf (4.248 kN).
    held = grip(0.5, 4.0, 1.5, 12.0)
    assert held.thread_in == pytest.approx(2.1875, abs=1e-9)
    pounds = nds.withdrawal_lbf_per_in(0.55, 0.5) * held.thread_in
    assert pounds == pytest.approx(955, abs=1)
    assert pounds * 4.4482216 == pytest.approx(4248, abs=5)


@pytest.mark.parametrize(
    ("length_in", "thread"),
    [(3, 1 + 25 / 32), (4, 2 + 9 / 32), (5, 2 + 25 / 32), (6, 3 + 9 / 32), (7, 3 + 25 / 32)],
)
def test_thread_without_tip_of_three_eighths_lags(length_in: float, thread: float) -> None:
    # 7 in: back-calculated from a printed AWC calculation; the other lengths MEMORY (Appendix L).
    assert nds.thread_in(length_in, 0.375) == pytest.approx(thread, abs=1e-9)


def test_load_duration_and_its_cap() -> None:
    # Table 2.3.2 and 11.3.2: impact (2.0) is not for connections, and not offered.
    assert nds.DURATION == {"permanent": 0.9, "occupancy": 1.0, "snow": 1.15, "construction": 1.25, "wind": 1.6}


@pytest.mark.parametrize(("angle_deg", "allowed"), [(0, 300.0), (45, 461.5), (90, 1000.0)])
def test_combined_withdrawal_and_lateral(angle_deg: float, allowed: float) -> None:
    # 12.4.1; formula MEMORY.
    assert nds.combined_lbf(1000, 300, angle_deg) == pytest.approx(allowed, abs=0.1)


def test_off_centre_tolerance_in_a_stud() -> None:
    # Edge 1.5 D along the grain: in 1-1/2 in, 0.375, 0.281, 0.188, 0.000 in.
    found = [nds.off_centre_in(1.5, d) for d in (0.25, 0.3125, 0.375, 0.5)]
    assert found == pytest.approx([0.375, 0.28125, 0.1875, 0.0], abs=0.001)
    assert found[2] == pytest.approx(0.188, abs=0.001)
    assert found[2] < 0.25  # a quarter inch off the centre fails


@pytest.mark.parametrize(
    ("diameter_in", "gravity", "least", "most"),
    [
        (0.25, 0.50, 0.100, 0.175), (0.25, 0.55, 0.150, 0.188), (0.25, 0.65, 0.163, 0.213),
        (0.3125, 0.50, 0.125, 0.219), (0.3125, 0.55, 0.188, 0.234), (0.3125, 0.65, 0.203, 0.266),
        (0.375, 0.50, 0.150, 0.263), (0.375, 0.55, 0.225, 0.281), (0.375, 0.65, 0.244, 0.319),
        (0.5, 0.50, 0.200, 0.350), (0.5, 0.55, 0.300, 0.375), (0.5, 0.65, 0.325, 0.425),
    ],
)  # fmt: skip
def test_lead_holes(diameter_in: float, gravity: float, least: float, most: float) -> None:
    # 12.1.4.2: the percentages are MEMORY; 5/16 in for a 1/2 in lag in a published deck guide lies inside.
    assert nds.lead_hole_in(gravity, diameter_in) == pytest.approx((least, most), abs=0.001)


def test_deck_guide_lead_hole_is_allowed() -> None:
    least, most = nds.lead_hole_in(0.5, 0.5)
    assert least <= 5 / 16 <= most


def test_less_penetration_than_eight_diameters() -> None:
    # p/8D from 4 D on, nothing below: MEMORY (Table 12K note 3; 12.1.4.6, tip not counted).
    assert nds.penetration_factor(3.0, 0.375) == 1.0
    assert nds.penetration_factor(5.0, 0.375) == 1.0
    assert nds.penetration_factor(1.5, 0.375) == 0.5
    assert nds.penetration_factor(1.49, 0.375) == 0.0
