"""Running dimensions: every mark's distance from one zero, so that one hooked tape reads them all without adding up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from scheduler.layout.drawing.paper.lettering import width_of
from scheduler.layout.drawing.paper.sheet import FIGURE, GREY, LEADING, PAPER, SMALL, Box, DrawingSheet

_ROW = FIGURE * 1.12 + SMALL * 1.12 + 0.5  # a label of two lines
_GAP = 1.2  # least distance between labels, and from a label to another mark's line
_MOST_ROWS = 3
_MOST_TRIES = 2000
_DISC = 2.35  # radius of the ring round a bracket's number
_TURNED_PITCH = FIGURE * 1.08 + SMALL * 1.1 + _GAP
_OFFSET = 2.6  # from the base line to the nearest label


@dataclass(frozen=True)
class Mark:
    """A place on the wall: `x` on the sheet, its distance in the set unit and in the other one, its number or word."""

    x: float
    first: str
    other: str
    name: str
    ringed: bool

    @cached_property
    def wide(self) -> float:
        """How wide its label is that is not turned."""
        head = 2 * _DISC + 0.8 if self.ringed else 0.0
        below = max(width_of(self.other, SMALL), 0.0 if self.ringed else width_of(f"{self.name} {self.other}", SMALL))
        return max(head + width_of(self.first, FIGURE, True), below)


@dataclass(frozen=True)
class _Label:
    mark: Mark
    row: int
    left: float


@dataclass(frozen=True)
class Running:
    """Labels laid out between `left` and `right`; `height` is what they take from the base line outwards."""

    title: str
    zero: float | None
    labels: tuple[_Label, ...]
    turned: bool
    height: float


def lay_out(marks: Sequence[Mark], title: str, zero: float | None, left: float, right: float) -> Running:
    """Return where the labels of `marks` go between the sheet positions `left` and `right`.

    They stand in up to three rows; where that is too tight they are turned and spread. `zero` is the sheet position of
    the zero mark, None where it lies outside the drawing.
    """
    rows = _in_rows(marks, left, right)
    if rows is not None:
        deepest = max((label.row for label in rows), default=0) + 1
        return Running(title, zero, tuple(rows), False, _OFFSET + deepest * _ROW + SMALL * LEADING + 0.6)
    long = max(_turned_length(mark) for mark in marks)
    return Running(title, zero, tuple(_spread(marks, left, right)), True, _OFFSET + 6 + long + SMALL * LEADING + 1)


def _turned_length(mark: Mark) -> float:
    small = mark.other if mark.ringed else f"{mark.name} {mark.other}"
    return 2 * _DISC + 1 + max(width_of(mark.first, FIGURE, True), width_of(small, SMALL))


def _in_rows(marks: Sequence[Mark], left: float, right: float) -> list[_Label] | None:
    """Labels in as few rows as hold them, None where three do not, or where the search for it grows long."""
    ordered = sorted(marks, key=lambda mark: -mark.x)
    tries = 0

    def place(placed: list[_Label], rows: int) -> list[_Label] | None:
        nonlocal tries
        tries += 1
        if len(placed) == len(ordered) or tries > _MOST_TRIES:
            return placed if len(placed) == len(ordered) else None
        mark = ordered[len(placed)]
        wide = mark.wide
        for row in range(rows):
            for at in (mark.x - wide / 2, mark.x + _GAP, mark.x - _GAP - wide):
                if left <= at and at + wide <= right and _fits(mark, row, at, wide, placed):
                    found = place([*placed, _Label(mark, row, at)], rows)
                    if found is not None:
                        return found
        return None

    for rows in range(1, _MOST_ROWS + 1):
        tries = 0
        if (found := place([], rows)) is not None:
            return found
    return None


def _fits(mark: Mark, row: int, at: float, wide: float, placed: Sequence[_Label]) -> bool:
    for other in placed:
        other_wide = other.mark.wide
        if other.row == row and at < other.left + other_wide + _GAP and other.left < at + wide + _GAP:
            return False
        if other.row >= row and at - _GAP < other.mark.x < at + wide + _GAP:
            return False  # the other's line would run through this label
        if other.row <= row and other.left - _GAP < mark.x < other.left + other_wide + _GAP:
            return False  # this mark's line would run through the other label
    return True


def _spread(marks: Sequence[Mark], left: float, right: float) -> list[_Label]:
    """Push turned labels apart as little as needed, keeping their order."""
    ordered = sorted(marks, key=lambda mark: mark.x)
    pitch = min(_TURNED_PITCH, (right - left) / max(1, len(ordered)))
    at: list[float] = []
    for mark in ordered:
        at.append(max(mark.x, left + pitch / 2, at[-1] + pitch if at else left))
    limit = right - pitch / 2
    for k in range(len(at) - 1, -1, -1):
        at[k] = min(at[k], limit)
        limit = at[k] - pitch
    return [_Label(mark, 0, x) for mark, x in zip(ordered, at, strict=True)]


def draw(sheet: DrawingSheet, running: Running, base: float, upwards: bool, left: float, edge: float) -> None:
    """Draw the base line at sheet height `base` with its labels above (`upwards`) or below it.

    The title stands outermost from `left` on; where the zero mark is outside the drawing the line comes from `edge`.
    """
    away = -1 if upwards else 1
    marks = [label.mark for label in running.labels]
    ends = [edge if running.zero is None else running.zero, *(mark.x for mark in marks)]
    sheet.line(min(ends), base, max(ends), base)
    if running.zero is not None:
        sheet.circle(running.zero, base, 0.9, fill=PAPER, pen=0.25)
        for x in (running.zero - 2.4, running.zero + 2.4):
            if all(abs(mark.x - x) > 2.3 for mark in marks):
                sheet.text(x, base + SMALL * 0.365, "0", SMALL, anchor="middle", bold=True, ground=True)
                break
    else:
        inwards = 2 if edge < max(ends) else -2
        sheet.line(edge, base, edge + inwards, base - 0.9)
        sheet.line(edge, base, edge + inwards, base + 0.9)
    for label in running.labels:
        x = label.mark.x
        sheet.line(x - 0.9, base + 0.9, x + 0.9, base - 0.9, pen=0.35)
        if running.turned:
            _draw_turned(sheet, label, base, away)
        else:
            _draw_upright(sheet, label, base, away)
    edge = base + away * running.height
    sheet.text(left, edge + (SMALL * 0.85 if upwards else -SMALL * 0.35), running.title, SMALL, ink=GREY)


def _draw_upright(sheet: DrawingSheet, label: _Label, base: float, away: int) -> None:
    mark, wide = label.mark, label.mark.wide
    near = base + away * (_OFFSET + label.row * _ROW)
    top = near if away > 0 else near - _ROW
    beside = not label.left <= mark.x <= label.left + wide
    sheet.line(mark.x, base, mark.x, near + away * (_ROW - 0.8 if beside else -0.6), pen=0.13, ink=GREY)
    y = top + FIGURE * 0.95
    middle = label.left + wide / 2
    if mark.ringed:
        whole = 2 * _DISC + 0.8 + width_of(mark.first, FIGURE, True)
        x = middle - whole / 2
        ring(sheet, x + _DISC, y - FIGURE * 0.365, mark.name)
        sheet.text(x + 2 * _DISC + 0.8, y, mark.first, FIGURE, bold=True)
        sheet.text(middle, y + SMALL * 1.3, mark.other, SMALL, anchor="middle", ink=GREY)
    else:
        sheet.text(middle, y, mark.first, FIGURE, anchor="middle", bold=True)
        sheet.text(middle, y + SMALL * 1.3, f"{mark.name} {mark.other}", SMALL, anchor="middle", ink=GREY)


def _draw_turned(sheet: DrawingSheet, label: _Label, base: float, away: int) -> None:
    mark = label.mark
    knee, near = base + away * (_OFFSET - 1), base + away * (_OFFSET + 4)
    sheet.path(f"M{mark.x:.2f} {base:.2f}V{knee:.2f}L{label.left:.2f} {near:.2f}", pen=0.13, ink=GREY)
    x = label.left - _TURNED_PITCH / 2 + _GAP / 2 + FIGURE * 0.78
    # Written upwards on both sides of the wall: above it starts at the wall, below it ends there.
    y = near - 0.8 if away < 0 else near + 0.8 + _turned_length(mark)
    if mark.ringed:
        ring(sheet, label.left, y - _DISC, mark.name)
    y -= 2 * _DISC + 1
    sheet.text(x, y, mark.first, FIGURE, bold=True, turned=True)
    rest = mark.other if mark.ringed else f"{mark.name} {mark.other}"
    sheet.text(x + SMALL * 1.2, y, rest, SMALL, turned=True, ink=GREY)


def ring(sheet: DrawingSheet, x: float, y: float, name: str) -> Box:
    """Draw a bracket's number in a ring centred at (`x`, `y`)."""
    sheet.circle(x, y, _DISC, pen=0.25, fill=PAPER)
    size = FIGURE * (0.9 if len(name) < 2 else 0.76)
    return sheet.text(x, y + size * 0.365, name, size, anchor="middle", bold=True)
