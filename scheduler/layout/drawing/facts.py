"""What of the survey a drawing must say in words: the zero, the members, what the form asks beyond measures."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.layout.documents import CONTINUOUS, MASONRY, WOOD, Survey
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.measured import Datum, Outlet


def datum_words(survey: Survey, measures: Measures) -> str:
    """Return what the zero is, how left is meant, and the control dimension, in a line."""
    left = "left as seen from outside, facing the wall"
    if not isinstance(survey.datum, Datum):
        return f"0 is where the surveyor chose it, without a name: ask before drilling; {left}."
    control = survey.datum.control
    side = "right" if control.at >= 0 else "left"
    return (
        f"0 is the {_bare(survey.datum.name)}, {left}. Check: {_bare(control.what)} at {measures.both(abs(control.at))}"
        f" to the {side} of it."
    )


def _bare(name: str) -> str:
    """Return a thing's name without an article of its own, so that it stands in a sentence."""
    text = name.strip().rstrip(".")
    return text[4:] if text.lower().startswith("the ") else text


def fact_lines(survey: Survey, measures: Measures) -> Iterator[str]:
    """Yield what was surveyed besides places: the wall's make, the wood, valance, outlet and year."""
    wall = survey.wall
    text = f"Wall: {wall.kind.replace('-', ' ')}"
    if wall.kind in WOOD:
        depth = wall.member_depth if isinstance(wall.member_depth, int | float) else None
        wide = wall.member_width if wall.kind not in CONTINUOUS else None
        sizes = [measures.both(size) for size in (wide, depth) if size]
        text += f", {' by '.join(sizes)}" if sizes else ""
        if isinstance(wall.species, str):
            text += ", species unknown" if wall.species == "unknown" else f", {wall.species.replace('-', ' ')}"
        gravity = f"specific gravity {wall.wood_gravity:g}"
        text += f" ({gravity})"
        text += ", screws into the cut ends" if wall.end_grain is True else ""
    elif wall.kind in MASONRY and survey.anchor is not None:
        text += f", {survey.anchor.base}" if isinstance(survey.anchor.base, str) else ""
    text += f", cover {measures.both(wall.cover)}" if wall.cover else ", no cover"
    yield f"{text}, {'wet' if wall.wet else 'dry'}."
    if not survey.is_second:
        return
    valance = survey.awning.valance
    yield f"Valance: {measures.both(valance)} below the front bar." if valance else "No valance."
    if isinstance(survey.outlet, Outlet):
        kind = "GFCI-protected" if survey.outlet.gfci else "not GFCI-protected"
        yield f"Outlet: {measures.both(survey.outlet.at)} from 0, {measures.both(survey.outlet.height)} up, {kind}."
    elif survey.awning.motor is not None:
        yield "No outlet was found for the motor."
    yield f"House of {survey.built}." if isinstance(survey.built, int) else "Year of the house not known."
