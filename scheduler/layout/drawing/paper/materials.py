"""What the wall is made of, as a draughtsman hatches it: a light pattern seen from the front, and cut sections."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scheduler.layout.documents import WallKind
from scheduler.layout.drawing.paper.sheet import GREY, PALE, Box, DrawingSheet, n

Segment = tuple[float, float, float, float]

# Course height and unit length in mm of what is laid in courses, real sizes rounded (common practice, no source).
_COURSES = {"solid-masonry": (76.0, 230.0), "brick-veneer": (76.0, 230.0), "hollow-block": (203.0, 406.0)}
_BOARD = {"wood-studs": 152.0, "rafters": 152.0, "rim-board": 95.0, "fascia": 95.0}
_FINEST = 1.5  # lines closer than this would print as a grey smear, mm on the sheet


def surface(sheet: DrawingSheet, box: Box, kind: WallKind, scale: float) -> None:
    """Fill `box` with the surface of a wall of `kind`, drawn at 1 : `scale`."""
    if sheet.trial:
        return
    if kind in ("concrete", "stucco-on-studs"):
        dots = "".join(f"M{n(x)} {n(y)}h.02" for x, y in _stipple(box, 3.2 if kind == "concrete" else 2.4))
        sheet.path(dots, pen=0.22, ink=PALE)
        return
    if kind in _COURSES:
        segments = _bricks(box, *(length / scale for length in _COURSES[kind]))
    else:
        step = max(_FINEST, _BOARD[kind] / scale)
        segments = ((box.left, y, box.right, y) for y in _from_below(box, step))
    sheet.path("".join(f"M{n(x0)} {n(y0)}L{n(x1)} {n(y1)}" for x0, y0, x1, y1 in segments), pen=0.09, ink=PALE)


def section(sheet: DrawingSheet, box: Box, kind: WallKind) -> None:
    """Fill `box` with the hatching of a cut through a wall of `kind` and outline it."""
    if sheet.trial:
        return
    if kind == "concrete":
        sheet.path("".join(f"M{n(x)} {n(y)}h.02" for x, y in _stipple(box, 1.3)), pen=0.3, ink=GREY)
    elif kind in ("solid-masonry", "hollow-block", "brick-veneer"):
        slanted(sheet, box, 1.4)
        if kind == "hollow-block":
            slanted(sheet, box, 1.4, rising=False)
    else:
        slanted(sheet, box, 2.4)
    sheet.rect(box, pen=0.3)


def slanted(sheet: DrawingSheet, box: Box, step: float, *, rising: bool = True, ink: str = GREY) -> None:
    """Fill `box` with lines at 45 degrees, `step` mm apart along its edge."""
    if sheet.trial:
        return
    high = box.bottom - box.top
    parts: list[str] = []
    start = box.left - high
    for k in range(math.ceil((box.right - start) / step) + 1):
        x = start + k * step
        low, up = max(x, box.left), min(x + high, box.right)
        if up - low > 0.05:
            y0, y1 = low - x, up - x
            if rising:
                y0, y1 = high - y0, high - y1
            parts.append(f"M{n(low)} {n(box.top + y0)}L{n(up)} {n(box.top + y1)}")
    sheet.path("".join(parts), pen=0.1, ink=ink)


def _from_below(box: Box, step: float) -> Iterator[float]:
    for k in range(1, math.ceil((box.bottom - box.top) / step)):
        yield box.bottom - k * step


def _bricks(box: Box, course: float, length: float) -> Iterator[Segment]:
    rise = course * math.ceil(_FINEST / course) if course < _FINEST else course
    length = length * rise / course
    for k in range(math.ceil((box.bottom - box.top) / rise)):
        low, high = box.bottom - k * rise, max(box.top, box.bottom - (k + 1) * rise)
        if high > box.top:
            yield box.left, high, box.right, high
        for j in range(math.ceil((box.right - box.left) / length) + 1):
            x = box.left + (j + 0.5 * (k % 2)) * length
            if box.left < x < box.right:
                yield x, low, x, high


def _stipple(box: Box, step: float) -> Iterator[tuple[float, float]]:
    """Points that look strewn but are the same every time: a grid, each point moved by a fixed irrational step."""
    for row in range(math.ceil((box.bottom - box.top) / step)):
        for column in range(math.ceil((box.right - box.left) / step)):
            x = box.left + step * (column + (0.618034 * (row * 7 + column * 3)) % 1)
            y = box.top + step * (row + (0.754878 * (row * 3 + column * 5)) % 1)
            if x < box.right and y < box.bottom:
                yield x, y
