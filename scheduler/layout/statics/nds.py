"""Lag screws in wood by the National Design Specification for Wood Construction (NDS, allowable stress).

Inches, pounds and psi, as the specification and its tables have them; `fasteners.py` turns millimetres and newtons into
these and back. Table numbers are those of the 2015 and 2018 editions. What stands here from memory, not from an opened
copy of the specification, says MEMORY; the tests under tests/reference/nds say which printed values each formula meets.
"""

from __future__ import annotations

import math

# Nominal diameter: (root diameter, tip length E) of Appendix L, Table L2. MEMORY; the root diameters to 3/8 in are
# confirmed by the printed Table 12K, E of 3/8 and 1/2 in by worked examples.
ROOT_IN = {0.25: 0.173, 0.3125: 0.227, 0.375: 0.265, 0.5: 0.371}
TIP_IN = {0.25: 5 / 32, 0.3125: 3 / 16, 0.375: 7 / 32, 0.5: 5 / 16}
# Bending yield strength, Table I1: MEMORY, confirmed by the printed Table 12K.
BENDING_YIELD_PSI = {0.25: 70_000.0, 0.3125: 60_000.0, 0.375: 45_000.0, 0.5: 45_000.0}
STEEL_QUARTER_PSI = 87_000.0  # bearing of A36 plate, 1/4 in: MEMORY

LEAST_GRAVITY, MOST_GRAVITY = 0.31, 0.73  # what Table 12.2A covers

# Load duration, Table 2.3.2; the cap for connections is 1.6 (11.3.2). The shortest load of a case sets its factor.
DURATION = {"permanent": 0.9, "occupancy": 1.0, "snow": 1.15, "construction": 1.25, "wind": 1.6}
WET_SERVICE = 0.7  # wood over 19 % moist in service, withdrawal and lateral alike: Table 11.3.3, MEMORY
MIN_PENETRATION_D = 4.0  # 12.1.4.6, the tip not counted: the stricter of two readings
FULL_PENETRATION_D = 8.0  # the penetration that Table 12K takes for granted
# Edge distances in diameters, Tables 12.5.1C and 12.5.1E; those across the grain MEMORY.
EDGE_ALONG_D = 1.5
LOADED_EDGE_ACROSS_D = 4.0
UNLOADED_EDGE_ACROSS_D = 1.5
SPACING_D = 4.0  # from screw to screw, Tables 12.5.1B and E: MEMORY
# Screws into end grain, lag screws alone: withdrawal 12.2.1.3 (read in an older edition, 11.2.1.2), lateral 12.5.2.2,
# there with the bearing strength across the grain (12.3.3.4); both clauses as a public check of the 2018 text quotes.
END_GRAIN_OUT, END_GRAIN_ALONG = 0.75, 0.67
# Lead hole for the thread as parts of the shank diameter, 12.1.4.2: that there are three classes of wood is found,
# the percentages are MEMORY. (heaviest wood of the class, least, most)
_LEAD_HOLE = ((0.5, 0.40, 0.70), (0.6, 0.60, 0.75), (math.inf, 0.65, 0.85))


def withdrawal_lbf_per_in(gravity: float, diameter_in: float) -> float:
    """Return the reference withdrawal value of side grain, lbf for each inch of thread without its tip (Eq. 12.2-1)."""
    return 1800 * math.pow(gravity, 1.5) * math.pow(diameter_in, 0.75)


def withdrawal_ultimate_lbf_per_in(gravity: float, diameter_in: float) -> float:
    """Return the mean withdrawal load at failure, lbf/in (Wood Handbook, Eq. 8-14): no design value, only a check.

    It is 4.5 times the reference value wherever both use the same specific gravity.
    """
    return 8100 * math.pow(gravity, 1.5) * math.pow(diameter_in, 0.75)


def thread_in(length_in: float, diameter_in: float) -> float:
    """Return the thread of a hex lag screw without its tip, inches: T − E of Table L2, T = L/2 + 1/2, at most 6 in.

    T is MEMORY; T − E of 3/8 × 7 in (3-25/32 in) and of 1/2 × 4 in (2-3/16 in) are confirmed by worked examples.
    """
    return min(length_in / 2 + 0.5, 6.0) - TIP_IN[diameter_in]


def dowel_bearing_psi(gravity: float, diameter_in: float, grain_deg: float) -> float:
    """Return the wood's dowel bearing strength, psi, for a load at `grain_deg` to the grain (Table 12.3.3).

    Values along and across the grain are rounded to 50 psi as the printed table has them; between them Hankinson's
    formula (Eq. 12.3-11).
    """
    along = round(11200 * gravity / 50) * 50.0
    across = round(6100 * math.pow(gravity, 1.45) / math.sqrt(diameter_in) / 50) * 50.0
    turn = math.radians(grain_deg)
    return along * across / (along * math.sin(turn) ** 2 + across * math.cos(turn) ** 2)


def lateral_lbf(
    gravity: float, diameter_in: float, grain_deg: float, plate_in: float, plate_psi: float, gap_in: float = 0.0
) -> float:
    """Return the reference lateral value Z of one lag screw in single shear under a steel side plate, lbf.

    The least of `yield_modes_lbf` for a penetration of eight diameters (basis of Table 12K). Shallower screws: see
    `penetration_factor`.
    """
    deep_in = FULL_PENETRATION_D * diameter_in
    return min(yield_modes_lbf(gravity, diameter_in, grain_deg, plate_in, plate_psi, deep_in, gap_in).values())


def yield_modes_lbf(
    gravity: float,
    diameter_in: float,
    grain_deg: float,
    plate_in: float,
    plate_psi: float,
    deep_in: float,
    gap_in: float = 0.0,
) -> dict[str, float]:
    """Return what a lag screw `deep_in` in the wood carries in single shear by each way to yield (`Im` to `IV`), lbf.

    The yield-limit equations in the general form that allows a gap between plate and member (AWC Technical Report 12;
    with `gap_in` 0 they are those of the NDS), each over its reduction term. A cover of cladding and sheathing that
    carries nothing is such a gap.
    """
    root = ROOT_IN[diameter_in]
    wood = dowel_bearing_psi(gravity, diameter_in, grain_deg) * root
    steel = plate_psi * root
    yield_moment = BENDING_YIELD_PSI[diameter_in] * root**3 / 6
    k = 1 + 0.25 * grain_deg / 90
    # Reduction terms of Table 12.3.1B; its note 1 for screws whose root, but not whose shank, is thinner than 1/4 in.
    r1, r2, r3 = (4 * k, 3.6 * k, 3.2 * k) if root >= 0.25 else ((10 * root + 0.5) * k,) * 3
    return {
        "Im": wood * deep_in / r1,
        "Is": steel * plate_in / r1,
        "II": _yield_load(1 / (4 * steel) + 1 / (4 * wood), plate_in / 2 + gap_in + deep_in / 2,
                          steel * plate_in**2 / 4 + wood * deep_in**2 / 4) / r2,
        "IIIm": _yield_load(1 / (2 * steel) + 1 / (4 * wood), gap_in + deep_in / 2,
                            yield_moment + wood * deep_in**2 / 4) / r3,
        "IIIs": _yield_load(1 / (4 * steel) + 1 / (2 * wood), plate_in / 2 + gap_in,
                            steel * plate_in**2 / 4 + yield_moment) / r3,
        "IV": _yield_load(1 / (2 * steel) + 1 / (2 * wood), gap_in, 2 * yield_moment) / r3,
    }  # fmt: skip


def _yield_load(a: float, b: float, c: float) -> float:
    """The positive root P of a P² + b P − c = 0."""
    return (math.sqrt(b * b + 4 * a * c) - b) / (2 * a)


def steel_tension_lbf(diameter_in: float) -> float:
    """Return what the screw's own root section may carry straight out, lbf (11.2.3): 0.6 of its yield strength.

    Yield 45 000 psi is the base metal that the Wood Handbook takes; the 0.6 of allowable stress design is MEMORY. The
    shortest load does not raise this, as it raises the wood's values.
    """
    return 0.6 * 45_000 * math.pi * ROOT_IN[diameter_in] ** 2 / 4


def penetration_factor(penetration_in: float, diameter_in: float) -> float:
    """Return p/8D, at most 1, by which Z is reduced (Table 12K, note 3: MEMORY); 0 below the least, four diameters."""
    if penetration_in < MIN_PENETRATION_D * diameter_in - 1e-9:
        return 0.0
    return min(penetration_in / (FULL_PENETRATION_D * diameter_in), 1.0)


def combined_lbf(withdrawal_lbf: float, lateral_lbf_: float, angle_deg: float) -> float:
    """Return the allowable load at `angle_deg` to the wood's surface (90: straight out), 12.4.1; formula MEMORY.

    `withdrawal_lbf` is W'p and `lateral_lbf_` Z', both with all their factors.
    """
    turn = math.radians(angle_deg)
    return (
        withdrawal_lbf
        * lateral_lbf_
        / (withdrawal_lbf * math.cos(turn) ** 2 + lateral_lbf_ * math.sin(turn) ** 2)
    )  # fmt: skip


def lead_hole_in(gravity: float, diameter_in: float) -> tuple[float, float]:
    """Return the least and the largest lead hole for the thread, inches (12.1.4.2)."""
    least, most = next((low, high) for heaviest, low, high in _LEAD_HOLE if gravity <= heaviest)
    return least * diameter_in, most * diameter_in


def off_centre_in(member_in: float, diameter_in: float) -> float:
    """Return how far from a member's middle a screw may stand, load along the grain; negative: not in this member."""
    return member_in / 2 - EDGE_ALONG_D * diameter_in
