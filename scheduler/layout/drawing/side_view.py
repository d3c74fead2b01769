"""The awning seen from the side, open: projection, pitch, drop, reach and headroom."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scheduler.layout.documents import Survey
from scheduler.layout.drawing.paper import materials
from scheduler.layout.drawing.paper.lettering import shortened
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import (
    FIGURE,
    GRAPHITE,
    GREY,
    LEADING,
    RUST,
    SMALL,
    Box,
    DrawingSheet,
    n,
    text_box,
)
from scheduler.layout.site.clearance import valance

_WALL = 4.0  # thickness of the cut wall and of the ground on the sheet
_VALUES = 45.0  # width of the column of values
_HIGHEST = 62.0  # of the view with its title
_ROOM = 9.0  # right of the front bar and below the ground, for dimensions


@dataclass(frozen=True)
class Open:
    """The open awning's measures, mm, and its pitch; `headroom` is under the valance, where the survey has one.

    `lowest` is what hangs lowest; `without` says in words that the survey knows of no valance, where it does not.
    """

    projection: float
    pitch_deg: float
    drop: float
    reach: float
    headroom: float
    lowest: str
    without: str


def opened(survey: Survey) -> Open:
    """Return drop = projection × sin pitch, reach = projection × cos pitch, and what is left under the front bar."""
    awning = survey.awning
    pitch = math.radians(awning.pitch_deg)
    drop, reach = awning.projection * math.sin(pitch), awning.projection * math.cos(pitch)
    headroom = survey.place.height - drop - awning.front_drop - valance(survey)
    lowest = "valance" if valance(survey) else "front bar"
    without = "" if survey.is_second else ", without a valance"
    return Open(awning.projection, awning.pitch_deg, drop, reach, headroom, lowest, without)


def draw(sheet: DrawingSheet, survey: Survey, measures: Measures, area: Box) -> tuple[int, float]:
    """Draw the side view at the top of `area`; return its scale and the height on the sheet where it ends."""
    it, say = opened(survey), measures.say
    y = area.top + SMALL * 1.1
    sheet.text(area.left, y, say("Side view, awning open"), SMALL, bold=True)
    picture = Box(area.left, y + 5.5, area.right - _VALUES - 3, min(area.bottom, area.top + _HIGHEST) - _ROOM)
    end = _values(sheet, it, survey, measures, area.right - _VALUES, y + SMALL * LEADING + 1.5)
    top_mm = survey.place.height + survey.awning.body_above + 150
    wide, high = picture.right - picture.left - _WALL - _ROOM, picture.bottom - picture.top - 1
    fitting = (s for s in measures.scales() if it.reach / s <= wide and top_mm / s <= high)
    scale = next(fitting, measures.scales()[-1])
    # No lower than the column of values where that is enough.
    face, ground = picture.left + _WALL, min(picture.bottom, max(picture.top + top_mm / scale, end - _ROOM - 1.5))

    def at(height_mm: float) -> float:
        return ground - min(max(height_mm, 0.0), high * scale) / scale

    front = face + min(it.reach / scale, wide)
    line, axis = at(survey.place.height), at(survey.place.height - it.drop)
    lowest = at(it.headroom)
    materials.section(sheet, Box(picture.left, at(top_mm), face, ground), survey.wall.kind)
    sheet.line(picture.left - 0.5, ground, front + _ROOM, ground, pen=0.6)
    materials.slanted(sheet, Box(face, ground + 0.3, front + _ROOM, ground + 1.7), 1.7)

    _awning(sheet, survey, measures, (face, line), (front, axis), lowest, scale)
    right = front + 4.0
    sheet.line(face, line, right + 1, line, pen=0.13, ink=GREY, dash="1.2 0.8")
    for y in (axis, lowest):
        sheet.line(front + 1.2, y, right + 1, y, pen=0.13, ink=GREY)
    _dimension(sheet, right, (line, axis), say("drop"))
    _dimension(sheet, right, (lowest, ground), say("headroom"))
    below = ground + 4.2
    for x in (face, front):
        sheet.line(x, ground + 1.9, x, below + 0.8, pen=0.13, ink=GREY)
        sheet.line(x - 0.8, below + 0.8, x + 0.8, below - 0.8, pen=0.35)
    sheet.line(face, below, front, below)
    sheet.text(max((face + front) / 2, picture.left + 4.5), below + 3.4, say("reach"), SMALL, anchor="middle", ink=GREY)
    return scale, max(end, below + 4.5)


def _awning(
    sheet: DrawingSheet,
    survey: Survey,
    measures: Measures,
    back: tuple[float, float],
    front: tuple[float, float],
    lowest: float,
    scale: int,
) -> None:
    awning, (x, y) = survey.awning, back
    body = Box(x, y - awning.body_above / scale, x + max(1.2, (awning.body_above + awning.body_below) / 2 / scale),
               y + awning.body_below / scale)  # fmt: skip
    elbow = ((x + front[0]) / 2, (body.bottom + front[1]) / 2 - 0.4)
    sheet.path(
        f"M{n(x)} {n(body.bottom - 0.5)}L{n(elbow[0])} {n(elbow[1])}L{n(front[0])} {n(front[1])}", pen=0.3, ink=RUST
    )
    sheet.circle(*elbow, 0.45, pen=0.2, ink=RUST, fill="#ffffff")
    sheet.line(*back, *front, pen=0.6, ink=RUST)
    sheet.rect(body, pen=0.35, ink=RUST, fill="#ffffff")
    half = 0.6
    upper = front[1] - min(0.8, max(0.2, lowest - front[1]))
    sheet.rect(Box(front[0] - half, upper, front[0] + half, max(lowest, front[1] + 0.2)), pen=0.2, fill=GRAPHITE)
    text = f"{measures.say('pitch')} {awning.pitch_deg:g}°"
    box = text_box(x + 2.5, y - 1.6 - awning.body_above / scale, text)
    sheet.text(box.left, y - 1.6 - awning.body_above / scale, text, ink=GREY)


def _dimension(sheet: DrawingSheet, x: float, ends: tuple[float, float], word: str) -> None:
    top, bottom = min(ends), max(ends)
    sheet.line(x, top, x, bottom)
    for y in (top, bottom):
        sheet.line(x - 0.8, y + 0.8, x + 0.8, y - 0.8, pen=0.35)
    box = text_box(x + 3.1, (top + bottom) / 2, word, anchor="middle", turned=True)
    if bottom - top > box.bottom - box.top and sheet.is_free(box):
        sheet.text(x + 3.1, (top + bottom) / 2, word, anchor="middle", turned=True, ink=GREY)


def _values(sheet: DrawingSheet, it: Open, survey: Survey, measures: Measures, x: float, y: float) -> float:
    def row(name: str, value: str, small: str) -> None:
        nonlocal y
        sheet.text(x, y, shortened(measures.say(name), SMALL, _VALUES), SMALL, ink=GREY)
        y += FIGURE * 1.18
        box = sheet.text(x, y, value, FIGURE, bold=True)
        if small:
            sheet.text(box.right + 1.6, y, small, SMALL, ink=GREY)
        y += SMALL * 1.5

    def length(name: str, length_mm: float) -> None:
        row(name, measures.first(length_mm), measures.other(length_mm))

    length("projection, along the cloth", it.projection)
    length("drop at that pitch", it.drop)
    length("reach from the wall", it.reach)
    if it.headroom > 0:
        length("headroom, no valance" if it.without else f"headroom under the {it.lowest}", it.headroom)
    else:
        row("headroom", measures.say("none"), "")
    length("chalk line height", survey.place.height)
    return y - SMALL * 0.9
