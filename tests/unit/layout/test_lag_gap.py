"""Lag screws where no authority prints a value: a gap under the plate, and what the formulas come to by hand."""

from __future__ import annotations

import pytest

from scheduler.layout.statics import nds


def test_a_gap_under_the_plate_only_weakens() -> None:
    # No published value: over a wide gap two hinges act on the gap as their lever, P → 2 My / gap / reduction term.
    values = [nds.lateral_lbf(0.5, 0.375, 0, 0.25, nds.STEEL_QUARTER_PSI, gap) for gap in (0, 0.25, 0.5, 1, 2)]
    assert values == sorted(values, reverse=True)
    hinge = nds.BENDING_YIELD_PSI[0.375] * nds.ROOT_IN[0.375] ** 3 / 6
    far = nds.lateral_lbf(0.5, 0.375, 0, 0.25, nds.STEEL_QUARTER_PSI, 50.0)
    assert far <= 2 * hinge / 50 / 3.2
    assert far == pytest.approx(2 * hinge / 50 / 3.2, rel=0.001)


def test_a_soft_thin_plate_bears_no_more_than_itself() -> None:
    # Mode Is: 1000 psi × 0.265 in of root × 0.05 in of plate, over its reduction term of 4; across the grain of 5.
    assert nds.lateral_lbf(0.5, 0.375, 0, 0.05, 1000.0) == pytest.approx(3.3125)
    assert nds.lateral_lbf(0.5, 0.375, 90, 0.05, 1000.0) == pytest.approx(2.65)


def test_bearing_between_along_and_across_the_grain() -> None:
    # Hankinson at 45 degrees is the harmonic mean of 5600 and 3650 psi.
    assert nds.dowel_bearing_psi(0.5, 0.375, 45) == pytest.approx(2 * 5600 * 3650 / (5600 + 3650))


def test_a_long_screw_has_six_inches_of_thread_and_tip() -> None:
    assert nds.thread_in(12.0, 0.375) == pytest.approx(6 - 7 / 32)


@pytest.mark.parametrize(("diameter_in", "pounds"), [(0.375, 1489.2), (0.5, 2918.8)])
def test_what_the_screws_own_steel_carries(diameter_in: float, pounds: float) -> None:
    # 27 000 psi on roots of 0.265 and 0.371 in: 0.05515 and 0.10810 square inches.
    assert nds.steel_tension_lbf(diameter_in) == pytest.approx(pounds, abs=0.1)


def test_two_hinges_an_inch_apart() -> None:
    # Mode IV: P of P² (1/2/23055 + 1/2/1484) + P = 2 × 139.6, 255.7 lbf, over its reduction term of 3.2.
    assert nds.lateral_lbf(0.5, 0.375, 0, 0.25, nds.STEEL_QUARTER_PSI, 1.0) == pytest.approx(79.906, abs=0.01)
