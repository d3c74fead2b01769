"""A gap under the plate: no authority prints a value; only its direction and its limit are known."""

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
