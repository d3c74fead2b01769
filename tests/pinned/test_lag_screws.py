"""Lag screw values that we computed ourselves: no authority prints them.

They say that the method stays as it was, which tests/reference/nds holds against printed tables, and no more than that.
"""

from __future__ import annotations

import pytest

from scheduler.layout.statics import nds
from scheduler.layout.statics.lag import grip


@pytest.mark.parametrize(
    ("diameter_in", "gravity", "along", "across"),
    [
        (0.25, 0.55, 220, 160), (0.25, 0.50, 210, 150), (0.25, 0.43, 200, 140), (0.25, 0.42, 190, 130),
        (0.3125, 0.55, 280, 200), (0.3125, 0.50, 270, 180), (0.3125, 0.43, 250, 170), (0.3125, 0.42, 250, 160),
        (0.375, 0.55, 290, 190), (0.375, 0.50, 280, 180), (0.375, 0.43, 260, 160), (0.375, 0.42, 250, 160),
        (0.5, 0.55, 540, 340), (0.5, 0.50, 520, 320), (0.5, 0.43, 480, 290), (0.5, 0.42, 480, 290),
    ],
)  # fmt: skip
def test_lateral_quarter_inch_a36_plate(diameter_in: float, gravity: float, along: int, across: int) -> None:
    # COMPUTED by the method that Table 12K validates; the root size of 1/2 in (0.371) is MEMORY.
    for grain_deg, expected in ((0.0, along), (90.0, across)):
        value = nds.lateral_lbf(gravity, diameter_in, grain_deg, 0.25, nds.STEEL_QUARTER_PSI)
        assert round(value / 10) * 10 == expected


def test_lateral_value_before_rounding() -> None:
    # COMPUTED: 275.7 and 180.0 for 3/8 in, G 0.50.
    assert nds.lateral_lbf(0.50, 0.375, 0, 0.25, nds.STEEL_QUARTER_PSI) == pytest.approx(275.7, abs=0.05)
    assert nds.lateral_lbf(0.50, 0.375, 90, 0.25, nds.STEEL_QUARTER_PSI) == pytest.approx(180.0, abs=0.05)


@pytest.mark.parametrize(
    ("duration", "wet", "pounds"), [("permanent", False, 482.0), ("wind", False, 857.0), ("wind", True, 599.9)]
)
def test_three_eighths_lag_in_spf(duration: str, wet: bool, pounds: float) -> None:
    # COMPUTED; the wet-service 0.7 is MEMORY (Table 11.3.3).
    factor = nds.DURATION[duration] * (nds.WET_SERVICE if wet else 1)
    assert nds.withdrawal_lbf_per_in(0.42, 0.375) * 2.28125 * factor == pytest.approx(pounds, abs=0.5)


def test_chain_of_one_bracket() -> None:
    # COMPUTED from the values above: T 1237.2 and V 147.7 lb on two upper 3/8 x 4 in lags in Douglas Fir-Larch, wind.
    held = grip(0.375, 4.0, 0.25, 12.0)
    out = nds.withdrawal_lbf_per_in(0.50, 0.375) * 1.6 * held.thread_in
    assert out == pytest.approx(1113.1, abs=0.1)
    # The example takes Z from the rounded table (280); the wet value of W' is 779.2.
    assert out * nds.WET_SERVICE == pytest.approx(779.2, abs=0.1)
    allowed = nds.combined_lbf(out, 280 * 1.6, 83.19)
    assert allowed == pytest.approx(1090.4, abs=0.2)
    assert 623.0 / allowed == pytest.approx(0.571, abs=0.001)
