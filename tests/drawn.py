"""Reading a drawing back: where its text and lines really lie, measured with the font itself."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from fontTools.ttLib import TTFont

NAMESPACE = "{http://www.w3.org/2000/svg}"
Segment = tuple[float, ...]
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Written:
    """A text of the drawing with its box of ink on the sheet, mm, and the lines that run through it."""

    text: str
    size: float
    box: Box
    struck: tuple[Segment, ...]


@cache
def font(bold: bool) -> tuple[dict[int, str], dict[str, tuple[int, int]], object]:
    """The DejaVu Sans that matplotlib ships: characters, advances, glyphs."""
    import matplotlib

    path = Path(matplotlib.get_data_path(), "fonts", "ttf", f"DejaVuSans{'-Bold' if bold else ''}.ttf")
    opened = TTFont(path)
    return opened.getBestCmap(), opened["hmtx"].metrics, opened["glyf"]


@cache
def ink(char: str, bold: bool) -> tuple[float, float, float]:
    """Advance, highest and lowest point of a character, em; a letter that the font lacks counts as a full square."""
    characters, advances, glyphs = font(bold)
    name = characters.get(ord(char))
    if name is None:
        return 1.0, 0.9, -0.3
    glyph = glyphs[name]  # type: ignore[index]
    high, low = (glyph.yMax, glyph.yMin) if glyph.numberOfContours else (0, 0)
    return advances[name][0] / 2048, high / 2048, low / 2048


def width(text: str, size: float, bold: bool) -> float:
    return size * sum(ink(char, bold)[0] for char in text)


def written(svg: str) -> list[Written]:
    """Return the texts of a drawing, each with the lines that strike it: later ones, and earlier ones left bare."""
    lines: list[tuple[int, Segment]] = []
    grounds: list[tuple[int, Box]] = []
    texts: list[tuple[int, str, float, Box]] = []
    for order, element in enumerate(ET.fromstring(svg)):
        if element.tag == f"{NAMESPACE}path":
            if element.get("stroke", "").lower() != "#ffffff":
                lines += [(order, segment) for segment in segments(element.get("d", ""))]
            if element.get("fill") not in (None, "none"):
                grounds.append((order, _extent(segments(element.get("d", "")))))
        elif element.tag == f"{NAMESPACE}rect":
            x, y, wide, high = (float(element.get(key, "0")) for key in ("x", "y", "width", "height"))
            grounds.append((order, (x, y, x + wide, y + high)))
        elif element.tag == f"{NAMESPACE}text":
            texts.append((order, element.text or "", float(element.get("font-size", "0")), _box(element)))
    when = np.array([order for order, _ in lines])
    drawn_lines = np.array([segment for _, segment in lines]).reshape(-1, 4)
    found = []
    for order, text, size, box in texts:
        covered = max((at for at, ground in grounds if at < order and _holds(ground, box)), default=-1)
        struck = drawn_lines[(when > covered) & _strikes(drawn_lines, box)]
        found.append(Written(text, size, box, tuple(tuple(line) for line in struck.tolist())))
    return found


def overlapping(texts: Sequence[Written]) -> list[tuple[str, str]]:
    """Return the pairs of texts whose ink overlaps."""
    boxes = np.array([text.box for text in texts]).reshape(-1, 4)
    left, top, right, bottom = boxes.T
    meet = (left[:, None] < right) & (left < right[:, None]) & (top[:, None] < bottom) & (top < bottom[:, None])
    return [(texts[a].text, texts[b].text) for a, b in np.argwhere(np.triu(meet, 1))]


def segments(d: str) -> list[Segment]:
    """The straight pieces of a path in the commands M, L, H, V, Z and m, l, h."""
    x = y = start_x = start_y = 0.0
    found: list[Segment] = []
    for command, rest in re.findall(r"([A-Za-z])([^A-Za-z]*)", d):
        values = [float(value) for value in re.findall(r"-?\d*\.?\d+", rest)]
        before = (x, y)
        match command:
            case "M" | "L":
                x, y = values
            case "m" | "l":
                x, y = x + values[0], y + values[1]
            case "H":
                x = values[0]
            case "V":
                y = values[0]
            case "h":
                x += values[0]
            case "Z":
                x, y = start_x, start_y
            case _:
                raise AssertionError(f"a path command that this reader does not know: {command}")
        if command in "Mm":
            start_x, start_y = x, y
        else:
            found.append((*before, x, y))
    return found


def _box(element: ET.Element) -> Box:
    text, size = element.text or "", float(element.get("font-size", "0"))
    bold = element.get("font-weight") == "bold"
    x, y, long = float(element.get("x", "0")), float(element.get("y", "0")), width(text, size, bold)
    high = size * max((ink(char, bold)[1] for char in text), default=0.0)
    low = size * min((ink(char, bold)[2] for char in text), default=0.0)
    before = {"start": 0.0, "middle": long / 2, "end": long}[element.get("text-anchor", "start")]
    if "rotate(-90" in element.get("transform", ""):
        return x - high, y - long + before, x - low, y + before
    return x - before, y - high, x - before + long, y - low


def _extent(lines: list[Segment]) -> Box:
    xs = [x for line in lines for x in (line[0], line[2])]
    ys = [y for line in lines for y in (line[1], line[3])]
    return min(xs), min(ys), max(xs), max(ys)


def _holds(ground: Box, box: Box) -> bool:
    near = 0.02
    return (
        ground[0] <= box[0] + near and ground[1] <= box[1] + near
        and ground[2] >= box[2] - near and ground[3] >= box[3] - near
    )  # fmt: skip


def _strikes(lines: np.ndarray, box: Box) -> np.ndarray:
    """Which of the lines (rows of x0, y0, x1, y1) meet the inside of a box: clipping by Liang and Barsky."""
    x0, y0, x1, y1 = lines.T
    left, top, right, bottom = box[0] + 0.05, box[1] + 0.05, box[2] - 0.05, box[3] - 0.05
    enter, leave = np.zeros(len(lines)), np.ones(len(lines))
    for step, gap in ((x0 - x1, x0 - left), (x1 - x0, right - x0), (y0 - y1, y0 - top), (y1 - y0, bottom - y0)):
        with np.errstate(divide="ignore", invalid="ignore"):
            at = gap / step
        enter = np.where(step < 0, np.maximum(enter, at), enter)
        leave = np.where(step > 0, np.minimum(leave, at), leave)
        leave = np.where((step == 0) & (gap < 0), -1.0, leave)
    return enter < leave
