"""Ultimate withdrawal of lag screws against the USDA Wood Handbook: see source.md beside this file."""

from __future__ import annotations

import pytest

from scheduler.layout.statics import nds


def test_ultimate_withdrawal_in_both_units() -> None:
    pounds = nds.withdrawal_ultimate_lbf_per_in(0.50, 0.375)
    assert pounds == pytest.approx(1372, abs=2)
    # The SI form of the same equation, on 9.525 mm and 25.4 mm of thread.
    assert pounds * 4.4482216 == pytest.approx(125.4 * 0.5**1.5 * 9.525**0.75 * 25.4, abs=5)
    assert pounds * 4.4482216 == pytest.approx(6106, abs=5)


@pytest.mark.parametrize("diameter_in", [0.25, 0.3125, 0.375, 0.5])
@pytest.mark.parametrize("gravity", [0.35, 0.42, 0.50, 0.67])
def test_reference_values_lie_four_and_a_half_times_lower(gravity: float, diameter_in: float) -> None:
    ultimate = nds.withdrawal_ultimate_lbf_per_in(gravity, diameter_in)
    assert ultimate / nds.withdrawal_lbf_per_in(gravity, diameter_in) == pytest.approx(4.5, rel=1e-9)
