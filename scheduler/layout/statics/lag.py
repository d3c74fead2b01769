"""Lag screws behind a bracket: which stocked ones fit the member, what each may carry, and what to say of the choice.

Taken for granted, each a finding on the drawing where it matters: a steel bracket plate of 1/4 in; a cover of cladding
and sheathing that carries nothing (a gap under the plate); members as deep as `MEMBER_DEPTH_IN`; a bracket's fasteners
in one line on the member's centre, half of them pulling (`loads.pulling_fasteners`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scheduler.layout.documents import CONTINUOUS, Fastener, Finding, Survey, Wall
from scheduler.layout.statics import nds
from scheduler.layout.statics.loads import BracketUse, on_one_fastener, pulling_fasteners
from scheduler.layout.statics.pattern import least_spacing, widest_across
from scheduler.units import INCH_MM, both

NEWTONS_PER_LBF = 4.4482216152605
# Hex lag screws on the shelf, in the order in which diameters are tried: awning brackets are mostly drilled for 3/8 in.
# Common practice, no published source: a business puts its own shelf in its place.
STOCKED_IN: Mapping[float, Sequence[float]] = {
    0.375: (2.5, 3, 3.5, 4, 4.5, 5, 6, 8),
    0.5: (3, 3.5, 4, 4.5, 5, 6, 8),
    0.3125: (2.5, 3, 3.5, 4, 5),
}
PLATE_IN = 0.25
# Depth of the member behind the cover: a 2×4 stud, a rim of 1-1/2 in, a rafter at least as deep as a 2×4 (PS 20 sizes).
MEMBER_DEPTH_IN = {"wood-studs": 3.5, "stucco-on-studs": 3.5, "rim-board": 1.5, "rafters": 3.5}
END_GRAIN_DEPTH_IN = 12.0  # along a rafter there is wood enough
# Screws may come out behind a rim by their tip and a little; behind a stud is a room.
THROUGH_IN = {"rim-board": 1.0}
# Down along an upright stud is along its grain; a rim lies across, and how a rafter is met the survey does not say.
ACROSS_GRAIN = frozenset({"rim-board", "rafters"})
CABLE_DEPTH_IN = 1.25  # a lawful cable may lie this deep in a stud without a steel plate (NEC 300.4(A)(1), (D))
PATTERN_APART_MM = 0.5  # what a pattern measured with a rule may be off
_DRILL_STEP_IN = 1 / 16
_DEAD_CENTRE_MM = 3.0
_DUST = 1e-9


@dataclass(frozen=True)
class Grip:
    """A lag screw in its member, inches: thread in the wood and penetration, both without the tip."""

    diameter_in: float
    length_in: float
    thread_in: float
    penetration_in: float


def grip(diameter_in: float, length_in: float, side_in: float, depth_in: float) -> Grip:
    """Return how a lag screw sits behind a plate and cover `side_in` thick in a member `depth_in` deep."""
    tip = nds.TIP_IN[diameter_in]
    end = min(length_in - tip, side_in + depth_in)
    thread_begins = length_in - tip - nds.thread_in(length_in, diameter_in)
    return Grip(diameter_in, length_in, max(end - max(thread_begins, side_in), 0.0), max(end - side_in, 0.0))


def member_depth_in(wall: Wall) -> float:
    """Return how deep the wood behind the cover is, in the screw's direction: as surveyed, else the usual size."""
    if wall.end_grain is True:
        return END_GRAIN_DEPTH_IN
    if isinstance(wall.member_depth, int | float):
        return wall.member_depth / INCH_MM
    return MEMBER_DEPTH_IN[wall.kind]


def lag_allowable_lbf(held: Grip, survey: Survey, duration: str) -> tuple[float, float]:
    """Return the allowable withdrawal and lateral load of one screw, lbf, with every factor for `nds.DURATION`."""
    wall = survey.wall
    gravity = wall.wood_gravity or 0.0
    factor = nds.DURATION[duration] * (nds.WET_SERVICE if wall.wet else 1.0)
    out = nds.withdrawal_lbf_per_in(gravity, held.diameter_in) * held.thread_in * factor
    if wall.end_grain is True:
        out *= nds.END_GRAIN_OUT
    aside = nds.lateral_lbf(
        gravity,
        held.diameter_in,
        90.0 if wall.kind in ACROSS_GRAIN else 0.0,
        PLATE_IN,
        nds.STEEL_QUARTER_PSI,
        wall.cover / INCH_MM,
    )
    aside *= nds.penetration_factor(held.penetration_in, held.diameter_in) * factor
    if wall.end_grain is True:
        aside *= nds.END_GRAIN_ALONG
    return min(out, nds.steel_tension_lbf(held.diameter_in)), aside


def screw_use(tension: float, shear: float, allowable_lbf: tuple[float, float]) -> float:
    """Return the fraction of the combined allowable load (NDS 12.4.1) that one screw takes of a pull and shear, N."""
    load = math.hypot(tension, shear) / NEWTONS_PER_LBF
    if load == 0:
        return 0.0
    return load / nds.combined_lbf(*allowable_lbf, math.degrees(math.atan2(tension, shear)))


def may_meet_cable(thread_enters_in: float) -> bool:
    """Whether a screw that enters a stud so far can meet a cable that lies there lawfully and unplated."""
    return thread_enters_in > CABLE_DEPTH_IN


def force(newtons: float) -> str:
    """Return a force in both measures, for sentences: `5340 N (1200 lb)`."""
    return f"{newtons:.0f} N ({newtons / NEWTONS_PER_LBF:.0f} lb)"


def inches(value_in: float) -> str:
    """Return a fastener's size as it is sold: `3/8`, `4`, `4-1/2`."""
    whole, rest = divmod(Fraction(value_in).limit_denominator(64), 1)
    return "-".join([str(whole)] * bool(whole) + [str(rest)] * bool(rest)) or "0"


def fastener_name(fastener: Fastener) -> str:
    """Return the fastener's name on lists: `lag 3/8 x 4 in`; an anchor goes by the name in its report."""
    if fastener.diameter is None or fastener.length is None:
        return fastener.kind
    return f"{fastener.kind} {inches(fastener.diameter / INCH_MM)} x {inches(fastener.length / INCH_MM)} in"


def fitting_lags(survey: Survey, stocked_in: Mapping[float, Sequence[float]]) -> Iterator[Grip]:
    """Yield the stocked screws that reach deep enough, stay inside the member and keep their edge distance."""
    wall = survey.wall
    side, depth = PLATE_IN + wall.cover / INCH_MM, member_depth_in(wall)
    fitting = {d: lengths for d, lengths in stocked_in.items() if suits_pattern(survey, d)}
    for diameter, lengths in (fitting or stocked_in).items():  # where none suits, a stop says so of the first
        if wall.kind not in CONTINUOUS and wall.member_width is not None:
            room_in = nds.off_centre_in(wall.member_width / INCH_MM, diameter)
            if room_in < -_DUST:
                continue
        for length in sorted(lengths):
            held = grip(diameter, length, side, depth)
            deep_enough = held.penetration_in >= nds.MIN_PENETRATION_D * diameter - _DUST
            if deep_enough and held.thread_in > 0 and length <= side + depth + THROUGH_IN.get(wall.kind, 0.0) + _DUST:
                yield held


def suits_pattern(survey: Survey, diameter_in: float) -> bool:
    """Whether the bracket's holes are far enough apart for such screws, and near enough to the member's middle."""
    spacing, wall = least_spacing(survey.awning), survey.wall
    if spacing is not None and spacing < nds.SPACING_D * diameter_in * INCH_MM - PATTERN_APART_MM:
        return False
    if wall.kind in CONTINUOUS or wall.member_width is None:
        return True
    room = max(nds.off_centre_in(wall.member_width / INCH_MM, diameter_in) * INCH_MM, 0.0)
    return widest_across(survey.awning) <= room + PATTERN_APART_MM


def lag_fastener(held: Grip, survey: Survey) -> Fastener:
    least, most = nds.lead_hole_in(survey.wall.wood_gravity or 0.0, held.diameter_in)
    pilot = math.floor(most / _DRILL_STEP_IN + _DUST) * _DRILL_STEP_IN
    if pilot < least - _DUST:
        pilot = most  # no bit of that step: the drawing gives the size itself
    return Fastener(
        kind="lag",
        diameter=_mm(held.diameter_in),
        length=_mm(held.length_in),
        penetration=_mm(held.penetration_in),
        pilot=_mm(pilot),
        shank_hole=_mm(held.diameter_in),
        count=survey.awning.bolts,
        **(_depths(held, survey) if survey.is_second else {}),
    )


def _depths(held: Grip, survey: Survey) -> dict[str, float | None]:
    """Return what a layout of the second form has besides: depths from the wall's face, edge and spacing."""
    thread_begins = held.length_in - nds.TIP_IN[held.diameter_in] - nds.thread_in(held.length_in, held.diameter_in)
    across = survey.wall.kind in ACROSS_GRAIN
    edge = (nds.LOADED_EDGE_ACROSS_D if across else nds.EDGE_ALONG_D) * held.diameter_in
    return {
        "hole": None, "hole_depth": None, "torque_nm": None, "shank_depth": _mm(max(thread_begins - PLATE_IN, 0.0)),
        "thread_depth": _mm(held.length_in - PLATE_IN), "edge": _mm(edge),
        "spacing": _mm(nds.SPACING_D * held.diameter_in),
    }  # fmt: skip


def _mm(value_in: float) -> float:
    """Inches in millimetres, without the dust of binary fractions."""
    return round(value_in * INCH_MM, 4)


def lag_findings(
    survey: Survey, held: Grip, fastener: Fastener, uses: Sequence[BracketUse], worst: float
) -> Iterator[Finding]:
    wall, name = survey.wall, fastener_name(fastener)
    place = max(range(len(uses)), key=lambda n: uses[n].use or 0.0)
    hard = uses[place]
    if worst > 1:
        yield Finding(
            "stop",
            "overloaded",
            f"{name} would take {worst:.2f} times its allowable load at bracket {place + 1} ({hard.case}), and no"
            " stocked screw does better: more fasteners or brackets, blocking, or a design by an engineer is needed.",
        )
    yield from _how_it_holds(survey, held, fastener, hard, place, worst)
    if not survey.is_second:
        yield from _first_findings(survey, held)
    if wall.cover > 0:
        yield Finding(
            "caution",
            "cover",
            f"The cover of {both(wall.cover)} carries nothing: support the bracket's bearing edges on solid blocking or"
            " shims, so that tightening and the lower edge do not crush it.",
        )
    if wall.wet:
        text = (
            "Exposed to moisture: hot-dip galvanized or stainless screws, also in treated wood, and every hole sealed."
        )
        if not survey.is_second:  # layouts of first surveys keep their very words
            text = (
                "Exposed to moisture: hot-dip galvanised or stainless screws, also in treated wood, and every hole"
                " sealed."
            )
        yield Finding("note", "wet-service", text)
    if not survey.is_second:
        yield Finding(
            "note",
            "bracket-plate",
            f"Values along the wall take a steel bracket plate of {inches(PLATE_IN)} in; for an aluminium or thinner"
            " one the bracket's maker must give them. The bracket's holes must take the screw.",
        )


def _how_it_holds(
    survey: Survey, held: Grip, fastener: Fastener, hard: BracketUse, place: int, worst: float
) -> Iterator[Finding]:
    wall, awning = survey.wall, survey.awning
    name, diameter = fastener_name(fastener), held.diameter_in
    pulling = pulling_fasteners(awning.bolts)
    pull, shear = on_one_fastener(hard.tension_n, hard.shear_n, awning.bolts)
    failing = nds.withdrawal_ultimate_lbf_per_in(wall.wood_gravity or 0.0, diameter) * held.thread_in * NEWTONS_PER_LBF
    times = f"{failing * pulling / hard.tension_n:.1f} times this pull" if hard.tension_n > 0 else "far more"
    shared = (
        f"{pulling} of the {awning.bolts} fasteners {'is' if pulling == 1 else 'are'} taken to pull, {force(pull)}"
        " each,"
        f" and all to bear along the wall, {force(shear)} each."
    )
    if survey.is_second:
        shared = "That is the worst screw of the bracket's bolt pattern."
    yield Finding(
        "note",
        "fastener",
        f"{name}, {awning.bolts} a bracket: bracket {place + 1} takes most, {force(hard.tension_n)} out of the wall and"
        f" {force(hard.shear_n)} along it in the case {hard.case}, {worst:.2f} of the allowable load (NDS, specific"
        f" gravity {wall.wood_gravity:g}{', wet service' if wall.wet else ''}). {shared} Cross-check, no design value:"
        " screws so deep pull out of dry wood of that gravity at"
        f" {times} on average (Wood Handbook).",
    )
    least, most = nds.lead_hole_in(wall.wood_gravity or 0.0, diameter)
    yield Finding(
        "note",
        "drilling",
        f"Lead hole {inches(fastener.pilot / INCH_MM) if fastener.pilot else '?'} in for the thread (allowed"
        f" {least:.3f} to {most:.3f} in), then {inches(diameter)} in as deep as the plain shank, cover included; soap"
        " or wax the thread, turn it in, never hammer it.",
    )


def _first_findings(survey: Survey, held: Grip) -> Iterator[Finding]:
    """Yield what a survey of the first form leaves to the crew: it has no depth of the member and no bolt pattern."""
    wall, diameter = survey.wall, held.diameter_in
    if wall.kind in ACROSS_GRAIN:
        yield Finding(
            "caution",
            "edge-distance",
            f"Load across the grain: keep every screw {both(nds.LOADED_EDGE_ACROSS_D * diameter * INCH_MM)} from the"
            f" member's lower edge and {both(nds.UNLOADED_EDGE_ACROSS_D * diameter * INCH_MM)} from its upper one; the"
            f" member is taken as {inches(MEMBER_DEPTH_IN[wall.kind])} in deep. Measure both before drilling.",
        )
    else:
        yield from _stud_findings(survey, held)


def _stud_findings(survey: Survey, held: Grip) -> Iterator[Finding]:
    wall, bolts = survey.wall, survey.awning.bolts
    room_mm = nds.off_centre_in((wall.member_width or 0.0) / INCH_MM, held.diameter_in) * INCH_MM
    text = (
        f"Screws may stand at most {both(max(room_mm, 0.0))} off the middle of a member"
        f" {both(wall.member_width or 0.0)} wide: find both its edges with a probe before drilling."
    )
    yield Finding("caution" if room_mm < _DEAD_CENTRE_MM else "note", "off-centre", text)
    if bolts > 1:
        text = (
            f"All {bolts} fasteners of a bracket must stand in one line on the member's centre, at least"
            f" {both(4 * held.diameter_in * INCH_MM)} apart: holes side by side need blocking."
        )
        yield Finding("caution", "one-line", text)
    text = f"Studs are taken as {inches(MEMBER_DEPTH_IN[wall.kind])} in deep (2×4): measure, in less it comes out."
    yield Finding("note", "member-depth", text)
    if may_meet_cable(held.penetration_in + nds.TIP_IN[held.diameter_in]):
        text = (
            f"The screw enters the stud more than {inches(CABLE_DEPTH_IN)} in: a cable may lie there without a steel"
            " plate (NEC 300.4). Look for hidden services with a detector, and switch off circuits in this wall."
        )
        yield Finding("caution", "hidden-services", text)
