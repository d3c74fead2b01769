"""What is to be said of the wood and its screws for a survey of the second form: pattern, edges, grain, the member.

The chain of load is followed as far as the survey reaches; where it ends, a finding says what follows for the crew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scheduler.layout.documents import Finding, MemberUse, Survey
from scheduler.layout.measured import Tie
from scheduler.layout.statics import nds
from scheduler.layout.statics.lag import CABLE_DEPTH_IN, PATTERN_APART_MM, Grip, force, inches, may_meet_cable
from scheduler.layout.statics.loads import BracketUse
from scheduler.layout.statics.pattern import height_of, least_spacing, widest_across
from scheduler.units import INCH_MM, both

_WORD = {"rafters": "rafter", "rim-board": "rim board"}
# Tension device of a deck's lateral load connection where there are four: IRC 2015 R507.2.4, R507.9.2 since 2018.
_HOLD_DOWN_LBF = 750
_LEAST_OFF_MM = 1.0  # nearer to the middle than anyone can set a screw by eye


def wood_findings(
    survey: Survey,
    held: Grip,
    overhang_mm: float | None,
    uses: Sequence[BracketUse],
    members: Sequence[MemberUse],
) -> Iterator[Finding]:
    """Yield what is to be said of bolt pattern, edges, grain and the member itself.

    `overhang_mm` is the longest overhang of a rafter's tail for which `members` hold, None where nothing bends it.
    """
    wall = survey.wall
    yield from _pattern(survey, held)
    if wall.kind == "rim-board":
        yield from _rim(survey, held, uses)
    else:
        yield from _stud_or_rafter(survey, held)
        yield from _member(survey, overhang_mm, members)
    if wall.end_grain:
        yield from _end_grain(survey, held)
    if wall.species == "unknown":
        text = (
            "Species of the wood unknown: reckoned as the lightest sold for framing (specific gravity"
            f" {wall.wood_gravity:g}). A grade stamp on a stud or rafter may allow more."
        )
        yield Finding("note", "species-unknown", text)
    text = "Values along the wall take a steel bracket plate of 1/4 in; for another the bracket's maker must give them."
    yield Finding("note", "bracket-plate", text)


def _pattern(survey: Survey, held: Grip) -> Iterator[Finding]:
    awning, spacing = survey.awning, least_spacing(survey.awning)
    least = nds.SPACING_D * held.diameter_in * INCH_MM
    if spacing is not None and spacing < least - PATTERN_APART_MM:
        text = (
            f"Two holes of the bracket are {both(spacing)} apart, and {inches(held.diameter_in)} in screws need"
            f" {both(least)} (four diameters): use only holes so far apart, or a bracket with another pattern."
        )
        yield Finding("stop", "hole-spacing", text)
    across = widest_across(awning)
    if survey.wall.kind == "rim-board":
        return
    room = max(nds.off_centre_in((survey.wall.member_width or 0.0) / INCH_MM, held.diameter_in) * INCH_MM, 0.0)
    word = _WORD.get(survey.wall.kind, "stud")
    if across > room + PATTERN_APART_MM:
        stand = f"may stand at most {both(room)} off" if room >= _LEAST_OFF_MM else "must stand exactly on the middle"
        text = (
            f"The bracket's holes lie up to {both(across)} off its middle, and in a {word}"
            f" {both(survey.wall.member_width or 0.0)} wide screws {stand}: put in solid"
            f" blocking beside the {word}, as wide as the pattern, or take a bracket with its holes in one line."
        )
        yield Finding("stop", "one-line", text)
        return
    off = room - across
    where = f"may stand at most {both(off)} off" if off >= _LEAST_OFF_MM else "must stand exactly on"
    text = f"Screws {where} the middle of the {word}: find both its edges with a probe before drilling."
    yield Finding("caution" if off < 3 else "note", "off-centre", text)


def _stud_or_rafter(survey: Survey, held: Grip) -> Iterator[Finding]:
    word = _WORD.get(survey.wall.kind, "stud")
    if may_meet_cable(held.penetration_in + nds.TIP_IN[held.diameter_in]):
        text = (
            f"The screw enters the {word} more than {inches(CABLE_DEPTH_IN)} in: a cable may lie there without a steel"
            " plate (NEC 300.4). Look for hidden services with a detector, and switch off circuits in this wall."
        )
        yield Finding("caution", "hidden-services", text)


def _member(survey: Survey, overhang_mm: float | None, members: Sequence[MemberUse]) -> Iterator[Finding]:
    if not members:
        return
    word = _WORD.get(survey.wall.kind, "stud")
    place = max(range(len(members)), key=lambda n: max(members[n].bending, members[n].shear))
    hard = members[place]
    size = f"{both(survey.wall.member_width or 0.0)} by {both(_depth(survey))}"
    species = "species unknown" if survey.wall.species == "unknown" else survey.wall.species
    told = (
        f"the {word} behind bracket {place + 1}, {size}, takes {hard.bending:.2f} of its allowable bending and"
        f" {hard.shear:.2f} of its shear in the case {hard.case} (NDS, {species}, lowest usual grade, the"
        " screw's hole taken out)"
    )
    if max(hard.bending, hard.shear) > 1:
        mend = f"double the {word} over its whole length" if word == "stud" else "sister the rafters back to the wall"
        text = (
            f"Too much for the wood itself: {told}. Use more brackets, {mend} or block between two of them, or have an"
            " engineer design it."
        )
        yield Finding("stop", "member", text)
    else:
        yield Finding("note", "member", f"{told[0].upper()}{told[1:]}.")
    if survey.wall.kind == "rafters" and overhang_mm:
        text = (
            f"The check of the rafters holds where their tails reach at most {both(overhang_mm)} beyond what carries"
            " them: measure the overhang at the first and last bracket; if it is longer, stop and call the office."
        )
        yield Finding("caution", "overhang", text)


def _end_grain(survey: Survey, held: Grip) -> Iterator[Finding]:
    need = (
        height_of(survey.awning) + (nds.LOADED_EDGE_ACROSS_D + nds.UNLOADED_EDGE_ACROSS_D) * held.diameter_in * INCH_MM
    )
    keep = (
        f"{both(nds.LOADED_EDGE_ACROSS_D * held.diameter_in * INCH_MM)} from the rafter's lower edge and"
        f" {both(nds.UNLOADED_EDGE_ACROSS_D * held.diameter_in * INCH_MM)} from its upper one"
    )
    if need > _depth(survey) + 0.5:
        text = (
            f"The bracket's holes with their edge distances need a cut end {both(need)} high, and the rafter is"
            f" {both(_depth(survey))} deep: reach the rafters from above or from the side, or put in a header."
        )
        yield Finding("stop", "end-grain-room", text)
    text = (
        "The screws go into the rafters' cut ends, which hold less: 0.75 of the withdrawal and 0.67 of the load along"
        f" the wall are counted (NDS 12.5.2). Keep every screw {keep}; no nails or wood screws in their place (12.2.3)."
        " A split end carries nothing: look at each before drilling."
    )
    yield Finding("caution", "end-grain", text)


def _rim(survey: Survey, held: Grip, uses: Sequence[BracketUse]) -> Iterator[Finding]:
    place = max(range(len(uses)), key=lambda n: uses[n].tension_n)
    pull, tie = uses[place].tension_n, survey.wall.tie
    text = (
        f"Load across the grain: keep every screw {both(nds.LOADED_EDGE_ACROSS_D * held.diameter_in * INCH_MM)} from"
        " the"
        f" rim's lower edge and {both(nds.UNLOADED_EDGE_ACROSS_D * held.diameter_in * INCH_MM)} from its upper one."
        " Measure both before drilling."
    )
    yield Finding("caution", "edge-distance", text)
    if not isinstance(tie, Tie):
        text = (
            f"What holds the rim itself is out of this drawing's reach: bracket {place + 1} pulls {force(pull)}, and"
            " rim"
            " and joists are only nailed into end grain, which counts for nothing in a pull (NDS 12.2.3). Before"
            " drilling, find or fit behind each bracket a tie from rim to joists or blocking (a deck's hold-down is"
            " good"
            f" for some {_HOLD_DOWN_LBF} lb, IRC R507.9.2), and write it into the survey; else an engineer designs it."
        )
        yield Finding("caution", "rim-fixing", text)
    elif pull > tie.pull_n:
        text = (
            f"The rim's tie ({tie.what}) may take {force(tie.pull_n)} by {tie.source}, and bracket {place + 1} pulls"
            f" {force(pull)}: more brackets, a second tie behind each, or a design by an engineer."
        )
        yield Finding("stop", "rim-fixing", text)
    else:
        text = (
            f"Behind each bracket the rim must have its tie ({tie.what}): bracket {place + 1} pulls {force(pull)},"
            f" {pull / tie.pull_n:.2f} of what {tie.source} allows. See each before drilling."
        )
        yield Finding("caution", "rim-fixing", text)


def _depth(survey: Survey) -> float:
    return survey.wall.member_depth if isinstance(survey.wall.member_depth, float) else 0.0
