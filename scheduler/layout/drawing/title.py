"""Whose drawing it is: head, datum line and title block of each sheet, with the standing footer above the block."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from scheduler.layout.documents import Layout, Survey
from scheduler.layout.drawing.cautions import standing_words
from scheduler.layout.drawing.facts import datum_words
from scheduler.layout.drawing.paper.lettering import clean, shortened, width_of, wrap
from scheduler.layout.drawing.paper.measures import Measures, Say, in_english
from scheduler.layout.drawing.paper.sheet import GRAPHITE, GREY, PAPER, SMALL, TITLE, Box, DrawingSheet

GOES_FIRST = "The manufacturer's instructions and local codes go first. Check on site before drilling."
FIGURES_GO_FIRST = "Figures go before measuring off"
HEAD = 16.8  # title, whose, datum
_FOOTER_SIZE = 2.8
_ZERO_SMALL = 2.8  # of a zero that is long: no text on a drawing is smaller
_FOOTER_LINE = _FOOTER_SIZE * 1.24
_BLOCK = 12.5
MARGIN = 9.0


@dataclass(frozen=True)
class Title:
    """The job that a drawing is for, and the day on which it was drawn by the business's clock; empty: not known."""

    job: str = ""
    customer: str = ""
    address: str = ""
    drawn_on: datetime.date | None = None

    @property
    def name(self) -> str:
        return f"Wall drawing {self.job}" if self.job else "Wall drawing"


@dataclass(frozen=True)
class Pages:
    """Which sheet it is, of how many, and what stands on the later ones."""

    number: int
    count: int
    later: str = ""


def head(
    sheet: DrawingSheet, survey: Survey, title: Title, pages: Pages, state: str, stop: bool, measures: Measures
) -> None:
    """Draw title, condition (`state`, white on black for a `stop`), whose wall it is, and what the zero is."""
    area, say = Box(MARGIN, MARGIN, sheet.width - MARGIN, MARGIN + HEAD), measures.say
    y, right = area.top + TITLE, area.right
    if state and stop:
        wide = width_of(state, TITLE * 0.86, True)
        sheet.rect(Box(right - wide - 5, area.top - 1, right, area.top + 6.2), fill=GRAPHITE)
        sheet.text(right - 2.5, y - 0.6, state, TITLE * 0.86, anchor="end", bold=True, ink=PAPER)
        right -= wide + 8
    elif state:
        right = sheet.text(right, y, state, SMALL * 1.2, anchor="end").left - 3
    name = say(title.name if title.job else f"Wall drawing {survey.id}")
    sheet.text(area.left, y, shortened(name, TITLE, right - area.left, True), TITLE, bold=True)
    size, zero = _zero(say(datum_words(survey, measures)), area.right - area.left)
    y = area.top + (10.6 if len(zero) == 1 else 9.6)
    drawn = f"{say('drawn')} {title.drawn_on:%Y-%m-%d}, " if title.drawn_on else ""
    page = say(f"page {pages.number} of {pages.count}")
    where = sheet.text(area.right, y, f"{drawn}{page}", SMALL * 1.1, anchor="end").left
    whose = ", ".join(part for part in (title.customer, title.address) if part)
    whose = whose or say("No job: drawn from a survey alone")
    sheet.text(area.left, y, shortened(whose, SMALL * 1.1, where - area.left - 3), SMALL * 1.1)
    for line, down in zip(zero, (15.2,) if len(zero) == 1 else (13.0, 16.2), strict=True):
        sheet.text(area.left, area.top + down, line, size, bold=True)


def _zero(words: str, width: float) -> tuple[float, list[str]]:
    """Return what the zero is and how to check it, whole, and the size: on two lines where one does not hold it."""
    if width_of(clean(words), SMALL, True) <= width:
        return SMALL, [clean(words)]
    first, *rest = wrap(words, _ZERO_SMALL, width, bold=True)
    return _ZERO_SMALL, [first, shortened(" ".join(rest), _ZERO_SMALL, width, True)] if rest else [first]


def foot_height(survey: Survey, layout: Layout, width: float, say: Say = in_english) -> float:
    """Return how high standing footer and title block are together on a sheet whose inner width is `width`."""
    return _BLOCK + 2 + _FOOTER_LINE * (len(_footer(survey, layout, width, say)) + 1)


def _footer(survey: Survey, layout: Layout, width: float, say: Say) -> list[str]:
    return wrap(say(standing_words(survey, layout)), _FOOTER_SIZE, width)


def foot(
    sheet: DrawingSheet,
    survey: Survey,
    layout: Layout,
    title: Title,
    pages: Pages,
    cells: list[str],
    say: Say = in_english,
) -> None:
    """Draw the standing footer and, below it, the title block with `cells` in its second row."""
    area = Box(MARGIN, sheet.height - MARGIN - _BLOCK, sheet.width - MARGIN, sheet.height - MARGIN)
    width = area.right - area.left
    lines = _footer(survey, layout, width, say)
    later = shortened(pages.later, _FOOTER_SIZE, width, True)
    y = area.top - 2 - _FOOTER_LINE * len(lines)
    sheet.line(area.left, y - _FOOTER_SIZE - 0.7, area.right, y - _FOOTER_SIZE - 0.7, pen=0.13, ink=GREY)
    for line in lines:
        sheet.text(area.left, y, line, _FOOTER_SIZE)
        y += _FOOTER_LINE
    if later:
        sheet.text(area.left, y, later, _FOOTER_SIZE, bold=True)
    sheet.rect(area, pen=0.35)
    y = area.top + 4.6
    first = say(GOES_FIRST)
    sheet.text(area.left + 2.5, y, first, 3.3, bold=True)
    used = width_of(first, 3.3, True) + 8
    job = f"{say('job')} {title.job}" if title.job else ""
    ways = [f"{say('Survey')} {survey.id}{', ' if job else ''}{job}", *([f"{survey.id}, {job}", job] if job else [])]
    whose = next((way for way in ways if width_of(way, 3.3, True) <= width - used - 3), ways[-1])
    sheet.text(area.right - 2.5, y, shortened(whose, 3.3, width - used - 3, True), 3.3, anchor="end", bold=True)
    sheet.line(area.left, area.top + 6.4, area.right, area.top + 6.4, pen=0.13)
    spare = width - 5 - sum(width_of(cell, SMALL) for cell in cells)
    if spare < 3 * (len(cells) - 1) and len(cells) > 2:
        cells = [cell for cell in cells if cell != say(FIGURES_GO_FIRST)]
        spare = width - 5 - sum(width_of(cell, SMALL) for cell in cells)
    x = area.left + 2.5
    for cell in cells:
        x = sheet.text(x, area.top + 10.4, cell, SMALL, ink=GREY).right + spare / max(len(cells) - 1, 1)
