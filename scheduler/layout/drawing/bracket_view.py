"""The bracket from the front with its bolt pattern: each hole's place, the lever, and what goes into the hole."""

from __future__ import annotations

from scheduler.layout.documents import Survey
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import GRAPHITE, GREY, LEADING, SMALL, Box, DrawingSheet, text_box
from scheduler.layout.measured import BoltHole

_SCALES = (2, 3, 4, 5, 6, 8, 10, 15, 20, 40, 80)


def pattern_words(survey: Survey, measures: Measures) -> str:
    """Return the bolt pattern with its lever in a sentence."""
    awning = survey.awning
    lever = f"lever {measures.both(awning.bracket_lever)} from the upper fasteners to the lower bearing edge"
    if not isinstance(awning.holes, tuple):
        return f"Bolt pattern not surveyed: {awning.bolts} fasteners, half of them taken to pull; {lever}."
    holes = sorted(awning.holes, key=lambda one: (one.down, one.across))
    if any(abs(hole.across) >= 0.5 for hole in holes):
        told = "; ".join(_place(hole, measures) for hole in holes)
        return f"Bolt pattern, down from the upper fasteners and off the middle: {told}; {lever}."
    told = ", ".join(_down(hole, measures) for hole in holes)
    return f"Bolt pattern: holes at {told} below the upper fasteners, all on its middle; {lever}."


def _down(hole: BoltHole, measures: Measures) -> str:
    return measures.worded(hole.down) if hole.down else "0"


def _place(hole: BoltHole, measures: Measures) -> str:
    down, far = _down(hole, measures), measures.worded(abs(hole.across))
    if abs(hole.across) < 0.5:
        return f"{down} down"
    return f"{down} down, {far} right" if hole.across > 0 else f"{down} down, {far} left"


def draw(sheet: DrawingSheet, survey: Survey, measures: Measures, area: Box) -> float:
    """Draw the bracket at the top of `area`; return the height on the sheet where it ends."""
    awning, say = survey.awning, measures.say
    holes: tuple[BoltHole, ...] = awning.holes if isinstance(awning.holes, tuple) else ()
    y = area.top + SMALL * 1.1
    sheet.text(area.left, y, say("Bracket from the front, and its bolt pattern"), SMALL, bold=True)
    lowest = awning.bracket_lever - max((hole.down for hole in holes), default=0.0)
    above = min(lowest, 40.0)  # the plate above the upper holes: not surveyed, drawn open
    wide, high = area.right - area.left - 62, 24.0
    scale = next(
        (s for s in _SCALES if awning.bracket_width / s <= wide and (awning.bracket_lever + above) / s <= high),
        _SCALES[-1],
    )
    half = min(awning.bracket_width / scale, wide) / 2
    middle, upper = area.left + 26 + half, y + 5 + above / scale
    lower = upper + awning.bracket_lever / scale
    plate = Box(middle - half, upper - above / scale, middle + half, lower)
    sheet.rect(plate, pen=0.35)
    sheet.line(middle, plate.top - 1, middle, plate.bottom + 1, pen=0.13, ink=GREY, dash="4 0.8 0.6 0.8")
    x = plate.left - 4
    for level in (upper, lower):
        sheet.line(x - 1, level, plate.left, level, pen=0.13, ink=GREY)
        sheet.line(x - 0.8, level + 0.8, x + 0.8, level - 0.8, pen=0.35)
    sheet.line(x, upper, x, lower)
    sheet.text(x - 1.6, upper + 4, measures.worded(awning.bracket_lever), SMALL, anchor="end", bold=True)
    sheet.text(x - 1.6, upper + 4 + SMALL * LEADING, say("lever"), SMALL, anchor="end", ink=GREY)
    labels = plate.right + 6
    for hole in sorted(holes, key=lambda one: (one.down, one.across)):
        at = upper + hole.down / scale
        sheet.circle(middle + hole.across / scale, at, 0.9, pen=0.3, fill=GRAPHITE)
        text = say(_place(hole, measures))
        base = at + 1
        while not sheet.is_free(text_box(labels, base, text), gap=0.2):
            base += 0.5
        sheet.line(middle + hole.across / scale + 1, at, labels - 1, base - 1, pen=0.1, ink=GREY)
        sheet.text(labels, base, text)
        lower = max(lower, base)
    if not holes:
        sheet.text(labels, upper + 1, say("holes not surveyed"))
    return max(plate.bottom, lower) + 2
