"""Every way in which a lag screw can yield, by the equations as the specification prints them: see source.md.

The code has them in the general form of a quadratic equation, which allows a gap; Tables 12.3.1A and B print them
solved, with ratios of bearing and length. That one of them rarely governs is no reason for it to be wrong.
"""

from __future__ import annotations

import math

import pytest

from scheduler.layout.statics import nds

STEEL_PSI = {0.0747: 61_850.0, 0.25: nds.STEEL_QUARTER_PSI}
DEGREES = (0.0, 30.0, 90.0)


def printed(fem: float, fes: float, fyb: float, d: float, lm: float, ls: float, k: float) -> dict[str, float]:
    """Equations 12.3-1 to 12.3-6 with k1, k2 and k3 of Table 12.3.1A; Rd of Table 12.3.1B with its note 1."""
    re, rt = fem / fes, lm / ls
    k1 = (math.sqrt(re + 2 * re**2 * (1 + rt + rt**2) + rt**2 * re**3) - re * (1 + rt)) / (1 + re)
    k2 = -1 + math.sqrt(2 * (1 + re) + 2 * fyb * (1 + 2 * re) * d**2 / (3 * fem * lm**2))
    k3 = -1 + math.sqrt(2 * (1 + re) / re + 2 * fyb * (2 + re) * d**2 / (3 * fem * ls**2))
    thin = (10 * d + 0.5) * k
    one, two, three = (4 * k, 3.6 * k, 3.2 * k) if d >= 0.25 else (thin, thin, thin)
    return {
        "Im": d * lm * fem / one,
        "Is": d * ls * fes / one,
        "II": k1 * d * ls * fes / two,
        "IIIm": k2 * d * lm * fem / (1 + 2 * re) / three,
        "IIIs": k3 * d * ls * fem / (2 + re) / three,
        "IV": d**2 / three * math.sqrt(2 * fem * fyb / (3 * (1 + re))),
    }


@pytest.mark.parametrize("diameter_in", nds.ROOT_IN)
@pytest.mark.parametrize("deep_d", [4.0, 8.0])
@pytest.mark.parametrize(("plate_in", "plate_psi"), STEEL_PSI.items())
def test_every_mode_is_as_printed(diameter_in: float, deep_d: float, plate_in: float, plate_psi: float) -> None:
    for grain_deg in DEGREES:
        deep_in = deep_d * diameter_in
        found = nds.yield_modes_lbf(0.5, diameter_in, grain_deg, plate_in, plate_psi, deep_in)
        bearing = nds.dowel_bearing_psi(0.5, diameter_in, grain_deg)
        root, yield_psi = nds.ROOT_IN[diameter_in], nds.BENDING_YIELD_PSI[diameter_in]
        turn = 1 + 0.25 * grain_deg / 90
        assert found == pytest.approx(printed(bearing, plate_psi, yield_psi, root, deep_in, plate_in, turn))


@pytest.mark.parametrize("gap_in", [0.5, 1.5])
def test_over_a_gap_both_ends_hold_the_screw_in_balance(gap_in: float) -> None:
    """The shear P of a mode, times the gap, is what both ends bear as moments at their faces.

    An end that turns as a whole bears with q on x of its length and against it on the rest: P = q (2x − length). One
    that bends at a hinge bears with q as far as there: P = q x.
    """
    plate_in, deep_in, root = 0.25, 3.0, nds.ROOT_IN[0.375]
    plate, wood = nds.STEEL_QUARTER_PSI * root, nds.dowel_bearing_psi(0.5, 0.375, 0) * root
    hinge = 45_000 * root**3 / 6

    def turns(shear: float, q: float, length: float) -> float:
        x = (shear / q + length) / 2
        return q * (length - x) * (length + x) / 2 - q * x * x / 2

    def bends(shear: float, q: float) -> float:
        x = shear / q
        return hinge - q * x * x / 2

    found = nds.yield_modes_lbf(0.5, 0.375, 0, plate_in, nds.STEEL_QUARTER_PSI, deep_in, gap_in)
    for mode, term in (("II", 3.6), ("IIIm", 3.2), ("IIIs", 3.2), ("IV", 3.2)):
        shear = found[mode] * term
        at_plate = turns(shear, plate, plate_in) if mode in ("II", "IIIs") else bends(shear, plate)
        in_wood = turns(shear, wood, deep_in) if mode in ("II", "IIIm") else bends(shear, wood)
        assert shear * gap_in == pytest.approx(at_plate + in_wood), mode
    assert found["Im"] == pytest.approx(wood * 3 / 4)
    assert found["Is"] == pytest.approx(plate * 0.25 / 4)
