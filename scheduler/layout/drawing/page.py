"""The wall drawing as one page: elevation, side view, drill schedule, findings and title block."""

from __future__ import annotations

from typing import Literal

from scheduler.errors import BadInput
from scheduler.layout.documents import Finding, Layout, Survey
from scheduler.layout.drawing import findings, schedule, side_view
from scheduler.layout.drawing.describe import GOES_FIRST, describe
from scheduler.layout.drawing.paper.lettering import clean, width_of
from scheduler.layout.drawing.paper.measures import Measures, Units
from scheduler.layout.drawing.paper.sheet import GRAPHITE, GREY, PAPER, SMALL, TITLE, Box, DrawingSheet
from scheduler.layout.drawing.wall import elevation, view

Paper = Literal["letter", "a4"]
PAPERS_MM: dict[Paper, tuple[float, float]] = {"letter": (279.4, 215.9), "a4": (297.0, 210.0)}

_MARGIN = 9.0
_HEAD = 8.0
_BLOCK = 12.5  # title block
_GAP = 4.0
_LEAST_PICTURE = 36.0  # height of the wall on the sheet below which it gives no more room to the findings
_LOWER = (62.0, 76.0, 90.0)  # heights of the lower half, the least that holds the findings is taken
_SIDE = 92.0
_LAST = 81.0
MOST_BRACKETS = 20


def draw_svg(survey: Survey, layout: Layout, *, units: Units = "imperial", paper: Paper = "letter") -> str:
    """Return the wall drawing of `layout` as an SVG file: one landscape page at the scales that it states.

    `units` is the unit that comes first, the other stands small beside it. The file needs nothing from elsewhere, holds
    no script whatever the survey's texts say, and is the same for the same input. Raises `BadInput` where the layout is
    not of this survey or has more brackets than the sheet has room for.
    """
    _check(survey, layout)
    measures, stands = Measures(units), view.standing(survey, layout)
    sheet = DrawingSheet(*PAPERS_MM[paper])
    inner = _inner(sheet)
    _head(sheet, survey, layout, Box(inner.left, inner.top, inner.right, inner.top + _HEAD))
    bottom = inner.bottom - _BLOCK
    picture, areas, top, done = _laid_out(survey, layout, stands, measures, sheet)
    elevation.draw(sheet, picture)
    sheet.line(inner.left, top - 1.5, inner.right, top - 1.5, pen=0.13, ink=GREY)
    side, _ = side_view.draw(sheet, survey, measures, areas[0])
    schedule.draw(sheet, survey, layout, measures, areas[1:])
    findings.draw(sheet, done)
    _block(sheet, survey, layout, measures, picture.view, side, Box(inner.left, bottom, inner.right, inner.bottom))
    return sheet.svg(f"Wall drawing {survey.id}", " ".join(describe(survey, layout, units=units)))


def bracket_places(
    survey: Survey, layout: Layout, *, units: Units = "imperial", paper: Paper = "letter"
) -> list[tuple[float, float]]:
    """Return where each bracket of `layout` stands on the page that `draw_svg` gives for the same arguments.

    Each is a point as parts of the page's width and height, from its upper left corner, in the layout's order. Raises
    `BadInput` as `draw_svg` does.
    """
    _check(survey, layout)
    measures, stands = Measures(units), view.standing(survey, layout)
    sheet = DrawingSheet(*PAPERS_MM[paper])
    picture, *_ = _laid_out(survey, layout, stands, measures, sheet)
    y = picture.view.y(survey.place.height)
    return [(picture.view.x(bracket.wall) / sheet.width, y / sheet.height) for bracket in layout.brackets]


def _inner(sheet: DrawingSheet) -> Box:
    return Box(_MARGIN, _MARGIN, sheet.width - _MARGIN, sheet.height - _MARGIN)


def _laid_out(
    survey: Survey, layout: Layout, stands: view.StandsOn, measures: Measures, sheet: DrawingSheet
) -> tuple[view.Elevation, list[Box], float, findings.Set]:
    """Lay out the elevation and what stands below it: the columns there, their top, and the findings in them."""
    inner = _inner(sheet)
    bottom = inner.bottom - _BLOCK
    lefts = (inner.left, inner.left + _SIDE + _GAP, inner.right - _LAST)
    rights = (inner.left + _SIDE, inner.right - _LAST - _GAP, inner.right)

    def columns(top: float) -> list[Box]:
        return [Box(left, top, right, bottom - 2) for left, right in zip(lefts, rights, strict=True)]

    least = max(_ends(survey, layout, measures, columns(0.0))) + 2.5
    heights = [height for height in _LOWER if height > least] or [least]
    for lower in heights:
        whole = Box(inner.left, inner.top + _HEAD + 1, inner.right, bottom - lower - 3)
        smaller = view.lay_out(survey, layout, stands, measures, whole)
        if lower > heights[0] and smaller.view.wall.bottom - smaller.view.wall.top < _LEAST_PICTURE:
            break  # the findings must not squeeze the wall
        picture = smaller
        top = picture.bottom + 3
        unnamed = elevation.draw(DrawingSheet(sheet.width, sheet.height, trial=True), picture)
        areas = columns(top)
        ends = _ends(survey, layout, measures, areas)
        below = [Box(box.left, end + 1.5, box.right, box.bottom) for box, end in zip(areas, ends, strict=True)]
        done = findings.fill(_said(layout, unnamed), below)
        if not done.left_over:
            break
    return picture, areas, top, done


def _ends(survey: Survey, layout: Layout, measures: Measures, areas: list[Box]) -> list[float]:
    """Where side view and schedule end in the three columns of the lower half."""
    trial = DrawingSheet(*PAPERS_MM["letter"], trial=True)
    _, side_end = side_view.draw(trial, survey, measures, areas[0])
    return [side_end, *schedule.draw(trial, survey, layout, measures, areas[1:])]


def _check(survey: Survey, layout: Layout) -> None:
    if layout.survey != survey.id:
        raise BadInput("survey", f'must be the id of the survey drawn ("{survey.id}"), is "{layout.survey}"')
    if len(layout.brackets) > MOST_BRACKETS:
        raise BadInput(
            "brackets", f"must be {MOST_BRACKETS} or fewer to be drawn on one sheet, are {len(layout.brackets)}"
        )
    for k, bracket in enumerate(layout.brackets):
        if bracket.member is not None and not 0 <= bracket.member < len(survey.wall.members):
            raise BadInput(f"brackets[{k}].member", f"must be one of the survey's members, is {bracket.member}")


def _said(layout: Layout, unnamed: list[str]) -> list[Finding]:
    """The findings in order, and before the notes what the picture shows without its name."""
    said = findings.in_order(layout.findings)
    if not unnamed:
        return said
    note = Finding("note", "obstacles", f"On the wall: {'; '.join(unnamed)}.")
    at = sum(finding.level != "note" for finding in said)
    return [*said[:at], note, *said[at:]]


def _head(sheet: DrawingSheet, survey: Survey, layout: Layout, area: Box) -> None:
    stops = sum(finding.level == "stop" for finding in layout.findings)
    cautions = sum(finding.level == "caution" for finding in layout.findings)
    y = area.top + TITLE
    right = area.right
    if stops:
        text = f"STOP: do not drill. {stops} thing{'s' * (stops > 1)} to settle first"
        wide = width_of(text, TITLE * 0.86, True)
        sheet.rect(Box(right - wide - 5, area.top - 1, right, area.top + 6.2), fill=GRAPHITE)
        sheet.text(right - 2.5, y - 0.6, text, TITLE * 0.86, anchor="end", bold=True, ink=PAPER)
        right -= wide + 8
    elif cautions:
        text = f"{cautions} caution{'s' * (cautions > 1)} to settle before drilling"
        right = sheet.text(right, y, text, SMALL * 1.2, anchor="end").left - 3
    title = shortened(f"Wall drawing {survey.id}", TITLE, right - area.left, True)
    sheet.text(area.left, y, title, TITLE, bold=True)


def _block(
    sheet: DrawingSheet, survey: Survey, layout: Layout, measures: Measures, shown: view.View, side: int, area: Box
) -> None:
    sheet.rect(area, pen=0.35)
    y = area.top + 4.6
    sheet.text(area.left + 2.5, y, GOES_FIRST, 3.3, bold=True)
    used = width_of(GOES_FIRST, 3.3, True) + 8
    name = shortened(f"Survey {survey.id}", 3.3, area.right - area.left - used - 3, True)
    sheet.text(area.right - 2.5, y, name, 3.3, anchor="end", bold=True)
    sheet.line(area.left, area.top + 6.4, area.right, area.top + 6.4, pen=0.13)
    left_out = ", a stretch left out at the break lines" if shown.cut else ""
    cells = [
        f"Elevation {measures.scale_name(shown.scale)}{left_out}",
        f"Side view {measures.scale_name(side)}",
        "Figures go before measuring off",
        "ft, in and 1/16; small: mm" if measures.units == "imperial" else "mm; small: ft, in and 1/16",
        f"Rules {layout.format}",
    ]
    spare = area.right - area.left - 5 - sum(width_of(cell, SMALL) for cell in cells)
    if spare < 3 * (len(cells) - 1):
        cells.remove("Figures go before measuring off")
        spare = area.right - area.left - 5 - sum(width_of(cell, SMALL) for cell in cells)
    x = area.left + 2.5
    for cell in cells:
        x = sheet.text(x, area.top + 10.4, cell, SMALL, ink=GREY).right + spare / (len(cells) - 1)


def shortened(text: str, size: float, width: float, bold: bool = False) -> str:
    """Return `text`, cut and ended with … where it is wider than `width`."""
    text = clean(text)
    if width_of(text, size, bold) <= width:
        return text
    return next((part for k in range(len(text), 0, -1) if width_of(part := f"{text[:k]}…", size, bold) <= width), "")
