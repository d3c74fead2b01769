"""Values of the California codes of 2013 (IBC 2012, NEC 2011): see source.md beside this file."""

from __future__ import annotations

import pytest

from scheduler.layout.statics.fasteners import anchor_interaction
from scheduler.layout.statics.lag import may_meet_cable
from scheduler.layout.statics.loads import allowable_speed_mph


def test_anchor_interaction_of_cast_in_bolts() -> None:
    # Table 1908.2: 3/8 in, 2500 psi: 500 and 1100 lb; Eq. 19-1.
    assert anchor_interaction(300, 500, 400, 1100, 5 / 3) == pytest.approx(0.612, abs=0.002)


def test_reduced_edge_distance_scales_both_allowable_loads() -> None:
    # 1908.3: 75 % of the edge distance, 75 % of both loads (375 and 825 lb): as full at three quarters of the load.
    whole = anchor_interaction(300, 500, 400, 1100, 5 / 3)
    assert anchor_interaction(225, 375, 300, 825, 5 / 3) == pytest.approx(whole, rel=1e-12)


def test_the_straight_line_is_never_the_milder_one() -> None:
    for tension in range(0, 501, 50):
        for shear in range(0, 1101, 100):
            curved = anchor_interaction(tension, 500, shear, 1100, 5 / 3)
            if curved >= 1:
                assert anchor_interaction(tension, 500, shear, 1100, 1.0) >= 1


def test_allowable_wind_speed() -> None:
    assert allowable_speed_mph(110) == pytest.approx(85.2, abs=0.1)  # Eq. 16-33


@pytest.mark.parametrize(("enters_in", "flagged"), [(1.0, False), (1.25, False), (2.28, True)])
def test_cable_in_a_stud(enters_in: float, flagged: bool) -> None:
    assert may_meet_cable(enters_in) is flagged  # CEC 300.4(A)(1)
