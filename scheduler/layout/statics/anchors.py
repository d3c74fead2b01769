"""Anchors in masonry and concrete for a survey of the second form: every number from the maker's report as entered."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from scheduler.layout.documents import Door, Fastener, Finding, Survey
from scheduler.layout.measured import Anchor, Wall
from scheduler.layout.statics.lag import force
from scheduler.layout.statics.loads import BracketUse
from scheduler.layout.statics.pattern import least_spacing
from scheduler.units import both, feet_inches

NM_PER_LBF_FT = 1.3558179483
# By which words a report's base material is known, in English and Spanish; a concrete block is block.
_UNITS = re.compile(r"\b(block|brick|masonry|cmu|bloque|ladrillo|mamposter)", re.IGNORECASE)
_POURED = re.compile(r"\b(concrete|concreto|hormig)", re.IGNORECASE)


def anchor_fastener(anchor: Anchor, bolts: int) -> Fastener:
    """Return the anchor as the layout has it: its hole, embedment, edge, spacing and torque as entered."""
    return Fastener(
        kind=anchor.name, diameter=None, length=None, penetration=_known(anchor.embedment), pilot=None, shank_hole=None,
        count=bolts, hole=_known(anchor.hole), hole_depth=_known(anchor.hole_depth), shank_depth=None,
        thread_depth=None, edge=_known(anchor.edge), spacing=_known(anchor.spacing), torque_nm=_known(anchor.torque_nm),
    )  # fmt: skip


def setting_words(fastener: Fastener, source: str) -> str:
    """Return one sentence on how an anchor is set, every number in it."""
    hole, deep = fastener.hole or 0.0, fastener.hole_depth or 0.0
    torque = fastener.torque_nm or 0.0
    turned = f"torque {torque:g} N·m ({torque / NM_PER_LBF_FT:.0f} ft-lb)" if torque else "no torque"
    return (
        f"Hole {feet_inches(hole, 64)} ({hole:.1f} mm), {both(deep)} deep from the masonry's face; embedment"
        f" {both(fastener.penetration or 0)}; {both(fastener.edge or 0)} or more from any edge and"
        f" {both(fastener.spacing or 0)} from the next anchor; {turned} ({source})"
    )


def anchor_findings(
    survey: Survey, anchor: Anchor, uses: Sequence[BracketUse], at: Sequence[float]
) -> Iterator[Finding]:
    """Yield what is to be said of an anchor whose report is entered; `at` are the brackets from the datum."""
    place = max(range(len(uses)), key=lambda n: uses[n].use or 0.0)
    hard = uses[place]
    fastener = anchor_fastener(anchor, survey.awning.bolts)
    text = (
        f"{anchor.name} in {anchor.base}: bracket {place + 1} takes most, {force(hard.tension_n)} out of the wall and"
        f" {force(hard.shear_n)} along it in the case {hard.case}, {hard.use:.2f} of the allowable loads of"
        f" {anchor.source} (straight-line interaction, worst anchor of the bolt pattern)."
    )
    yield Finding("note", "anchor", text)
    yield Finding("note", "drilling", f"{setting_words(fastener, anchor.source)}. Blow and brush every hole clean.")
    if (hard.use or 0.0) > 1:
        text = (
            f"{anchor.name} would take {hard.use:.2f} times its allowable load at bracket {place + 1} ({hard.case}):"
            " more anchors or brackets, another anchor with its report, or a design by an engineer is needed."
        )
        yield Finding("stop", "overloaded", text)
    other = is_for_another(survey.wall, str(anchor.base))
    if other:
        text = (
            f"The report is entered as for {anchor.base}, and this wall is {survey.wall.kind.replace('-', ' ')}: its"
            " loads do not hold here. Enter the anchor's report for such a wall, or take an anchor that has one."
        )
        yield Finding("stop", "anchor-base", text)
    spacing, least = least_spacing(survey.awning), fastener.spacing or 0.0
    if spacing is not None and spacing < least - 0.5:
        text = (
            f"The bracket's holes are {both(spacing)} apart, and {anchor.source} asks for {both(least)} between"
            " anchors:"
            " use fewer holes, another bracket, or an anchor with a report for this spacing."
        )
        yield Finding("stop", "anchor-spacing", text)
    yield from _edges(survey, fastener.edge or 0.0, at, anchor.source)
    if survey.wall.cover > 0:
        text = (
            f"A cover of {both(survey.wall.cover)} lies before the masonry and carries nothing: hole depth and"
            " embedment"
            " count from the masonry's own face, so drill that much deeper and take the longer anchor."
        )
        yield Finding("caution", "cover", text)
    if survey.wall.kind == "hollow-block" and not other:
        text = (
            f"Hollow block: the report is entered as for {anchor.base}; it must be for block as this one is, hollow or"
            " grouted. Drill one trial hole; where the drill falls into a cell that the report does not mean, stop."
        )
        yield Finding("caution", "hollow-block", text)


def is_for_another(wall: Wall, base: str) -> bool:
    """Whether a report's base material is by its words another one than the wall's; unknown words are not judged."""
    units, poured = bool(_UNITS.search(base)), bool(_POURED.search(base))
    return units and not poured if wall.kind == "concrete" else poured and not units


def _edges(survey: Survey, edge: float, at: Sequence[float], source: str) -> Iterator[Finding]:
    """Yield a stop for each opening whose edge is nearer to an anchor than the report allows."""
    holes = survey.awning.holes if isinstance(survey.awning.holes, tuple) else ()
    for number, door in enumerate(survey.doors, start=1):
        nearest = min(
            (_away(door, wall + hole.across, survey.place.height - hole.down) for wall in at for hole in holes),
            default=edge,
        )
        if nearest < edge - 0.5:
            called = "the door" if len(survey.doors) == 1 else f"door {number}"
            text = (
                f"An anchor is {both(nearest)} from the edge of {called}, and {source} asks for {both(edge)}:"
                " mount"
                " higher, or shift the awning."
            )
            yield Finding("stop", "anchor-edge", text)


def _away(door: Door, x: float, y: float) -> float:
    beside = max(door.left - x, x - door.right, 0.0)
    above = max(y - door.top, 0.0)
    return float((beside**2 + above**2) ** 0.5)


def _known(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
