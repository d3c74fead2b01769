"""Sawn lumber by the NDS: adjusted values of a published example, sections, end grain, and the couple on a stud."""

from __future__ import annotations

import pytest

from scheduler.layout.documents import Survey
from scheduler.layout.statics import nds
from scheduler.layout.statics.lag import grip, lag_allowable_lbf
from scheduler.layout.statics.member import (
    adjusted_bending_psi,
    adjusted_shear_psi,
    section_modulus_in3,
)
from tests.surveys import second_survey


def test_adjusted_values_of_the_published_example() -> None:
    """2×8 No. 1 Douglas fir-larch, dead and snow load, wet: Fb' 1173 psi, Fv' 201 psi."""
    assert adjusted_bending_psi(1000, "snow", wet=True, size=1.2) == pytest.approx(1173, abs=0.5)
    assert adjusted_shear_psi(180, "snow", wet=True) == pytest.approx(201, abs=0.5)
    assert adjusted_bending_psi(500, "wind", wet=True) == 800  # 1150 psi or less: wet wood keeps its value


@pytest.mark.parametrize(("depth", "modulus"), [(3.5, 3.063), (5.5, 7.563), (7.25, 13.14)])
def test_section_moduli_of_dressed_lumber(depth: float, modulus: float) -> None:
    assert section_modulus_in3(1.5, depth) == pytest.approx(modulus, abs=0.005)


def rafters(**wall: object) -> Survey:
    return second_survey(wall={"kind": "rafters", "member_depth": 184.15, **wall})


def test_end_grain_takes_its_factors() -> None:
    """12.2.1.3: 0.75 of the withdrawal; 12.5.2.2: 0.67 of the lateral value, with Fe across the grain (12.3.3.4)."""
    side, end = rafters(), rafters(end_grain=True)
    held = grip(0.375, 5, 1.25, 12)
    for duration in ("permanent", "wind"):
        out, along = lag_allowable_lbf(held, side, duration)
        end_out, end_along = lag_allowable_lbf(held, end, duration)
        steel = nds.steel_tension_lbf(0.375)
        wood = nds.withdrawal_lbf_per_in(0.5, 0.375) * held.thread_in * nds.DURATION[duration] * 0.7
        assert out == pytest.approx(min(wood, steel))
        assert end_out == pytest.approx(min(0.75 * wood, steel))
        assert end_along == pytest.approx(0.67 * along)
