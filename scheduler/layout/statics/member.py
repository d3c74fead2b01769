"""The wood behind the screws: bending and shear of a stud or rafter under a bracket's couple, by the NDS.

Inches, pounds and psi, as the specification has them. A stud is held at floor and plate: a couple anywhere between them
bends it by no more than the couple itself (the two parts of the line are M × a/L and M × b/L), so that the check holds
for any height of the storey. Between the pulling fasteners and the bearing edge the couple's own force shears it.
A rafter's tail is bent by the couple and by the load down times its overhang, which nobody measures from below: the
check gives the longest overhang for which it holds. The load along a stud's own length is left out: some 20 psi.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.layout.documents import Fastener, MemberUse, Survey
from scheduler.layout.measured import Wall
from scheduler.layout.statics import nds
from scheduler.layout.statics.loads import BracketForce, LoadCase
from scheduler.units import INCH_MM

LBF_IN_PER_NM = 8.850745791
LBF_N = 4.4482216152605
# Reference bending and shear, psi, of the lowest usual grade (NDS Supplement, Tables 4A and 4B): Stud grade of studs,
# No. 3 of rafters. MEMORY; shear of Douglas fir-larch (180) confirmed by a worked example.
BENDING_PSI = {
    "spruce-pine-fir": (675.0, 500.0), "douglas-fir-larch": (700.0, 525.0), "hem-fir": (675.0, 500.0),
    "southern-pine": (575.0, 475.0), "unknown": (600.0, 450.0),
}  # fmt: skip
SHEAR_PSI = {
    "spruce-pine-fir": 135.0, "douglas-fir-larch": 180.0, "hem-fir": 150.0, "southern-pine": 175.0, "unknown": 135.0,
}  # fmt: skip
STUDS = frozenset({"wood-studs", "stucco-on-studs"})
CHECKED = STUDS | {"rafters"}
REPETITIVE = 1.15  # three or more side by side, at most 24 in apart, joined by sheathing: 4.3.9
_SHANK_ENTERS_MM = 2.0
_WET_BENDING, _WET_SHEAR, _WET_FROM_PSI = 0.85, 0.97, 1150.0  # adjustment factors of Table 4A


def section_modulus_in3(width_in: float, depth_in: float) -> float:
    """Return the section modulus of a rectangle bent over its depth, in³."""
    return width_in * depth_in**2 / 6


def adjusted_bending_psi(
    reference_psi: float, duration: str, *, wet: bool = False, size: float = 1.0, repetitive: float = 1.0
) -> float:
    """Return Fb' of sawn lumber held against buckling sideways: Fb × C_D × C_M × C_F × C_r (NDS Table 4.3.1).

    `duration` is one of `nds.DURATION`. Wet wood keeps its value where Fb × C_F is at most 1150 psi.
    """
    moisture = _WET_BENDING if wet and reference_psi * size > _WET_FROM_PSI else 1.0
    return reference_psi * nds.DURATION[duration] * moisture * size * repetitive


def adjusted_shear_psi(reference_psi: float, duration: str, *, wet: bool = False) -> float:
    """Return Fv' of sawn lumber: Fv × C_D × C_M (NDS Table 4.3.1)."""
    return reference_psi * nds.DURATION[duration] * (_WET_SHEAR if wet else 1.0)


@dataclass(frozen=True)
class Member:
    """A stud or rafter, inches, with the reference values of its species; the screw's hole is taken out for bending."""

    width_in: float
    depth_in: float
    hole_in: float
    bending_psi: float
    shear_psi: float
    size: float
    repetitive: float

    def bending_use(self, moment_lbf_in: float, duration: str) -> float:
        """Return the share of the allowable bending that a moment takes."""
        stress = moment_lbf_in / section_modulus_in3(self.width_in - self.hole_in, self.depth_in)
        return stress / adjusted_bending_psi(self.bending_psi, duration, size=self.size, repetitive=self.repetitive)

    def shear_use(self, shear_lbf: float, duration: str) -> float:
        """Return the share of the allowable shear that a force across the member takes (3 V / 2 b d, NDS 3.4.2)."""
        stress = 1.5 * shear_lbf / (self.width_in * self.depth_in)
        return stress / adjusted_shear_psi(self.shear_psi, duration)


def bored_in(fastener: Fastener, cover_mm: float) -> float:
    """Return what the drill takes out of a member's width, inches: the plain shank's hole where it enters the wood."""
    shank_enters = isinstance(fastener.shank_depth, float) and fastener.shank_depth > cover_mm + _SHANK_ENTERS_MM
    return ((fastener.shank_hole if shank_enters else fastener.pilot) or 0.0) / INCH_MM


def member_of(wall: Wall, hole_in: float) -> Member | None:
    """Return the member behind a bracket, None where the drawing cannot check it: a rim, masonry, a first survey."""
    if wall.kind not in CHECKED or not isinstance(wall.member_depth, float) or not isinstance(wall.species, str):
        return None
    depth = wall.member_depth / INCH_MM
    stud = wall.kind in STUDS
    bending = BENDING_PSI[wall.species][0 if stud else 1]
    # Size factor of Stud grade to 4 in nominal; southern pine's values have theirs inside (Table 4B).
    size = 1.1 if stud and depth < 4 and wall.species != "southern-pine" else 1.0
    width = (wall.member_width or 0.0) / INCH_MM
    return Member(width, depth, hole_in, bending, SHEAR_PSI[wall.species], size, REPETITIVE)


def member_uses(survey: Survey, cases: Sequence[LoadCase], hole_in: float) -> tuple[MemberUse, ...]:
    """Return what the wood behind each bracket takes of what it may, in its hardest case; empty where unchecked."""
    member = member_of(survey.wall, hole_in)
    if member is None:
        return ()
    found = []
    for n in range(len(cases[0].brackets)):
        uses = [(*_uses(survey, member, case, case.brackets[n]), case.name) for case in cases]
        bending, shear, name = max(uses, key=lambda use: max(use[0], use[1]))
        found.append(MemberUse(bending, shear, name))
    return tuple(found)


def _uses(survey: Survey, member: Member, case: LoadCase, force: BracketForce) -> tuple[float, float]:
    moment = abs(force.moment_nm) * LBF_IN_PER_NM
    lever_in = survey.awning.bracket_lever / INCH_MM
    across = moment / lever_in if survey.wall.kind in STUDS else abs(force.shear_n) / LBF_N
    return member.bending_use(moment, case.duration), member.shear_use(across, case.duration)


def longest_overhang_mm(survey: Survey, cases: Sequence[LoadCase], hole_in: float) -> float | None:
    """Return the longest overhang of a rafter's tail for which its bending holds, mm; None where nothing bends it.

    At the tail's support the couple and the load down × overhang add up; 0 where the couple alone is too much.
    """
    member = member_of(survey.wall, hole_in)
    if member is None:
        return None
    longest: float | None = None
    for case in cases:
        full = section_modulus_in3(member.width_in - hole_in, member.depth_in) * adjusted_bending_psi(
            member.bending_psi, case.duration, size=member.size, repetitive=member.repetitive
        )
        for force in case.brackets:
            down = abs(force.shear_n) / LBF_N
            if down > 0:
                reach = max(full - abs(force.moment_nm) * LBF_IN_PER_NM, 0.0) / down * INCH_MM
                longest = reach if longest is None else min(longest, reach)
    return longest
