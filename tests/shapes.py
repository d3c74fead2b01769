"""A drawing read back as shapes on the sheet, and held against the wall at the scale that it states."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from typing import Any

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Layout, Survey
from scheduler.layout.drawing import draw_svg
from scheduler.layout.drawing.paper.measures import Units
from tests.drawn import NAMESPACE, Box, Segment, segments, written
from tests.surveys import plain_survey

GRAPHITE, GREY, PALE, PAPER, RUST, CLOTH = "#262626", "#5c5c5c", "#b4b4b4", "#ffffff", "#9c3f1d", "#f4e6df"
NEAR = 0.021  # the file gives hundredths of a millimetre: two of them, rounded


@dataclass(frozen=True)
class Shape:
    """A path of the drawing: its straight pieces, its colours, the width of its line and its dashes."""

    lines: tuple[Segment, ...]
    fill: str
    ink: str
    pen: float
    dash: str

    @property
    def box(self) -> Box:
        xs = [x for line in self.lines for x in (line[0], line[2])]
        ys = [y for line in self.lines for y in (line[1], line[3])]
        return min(xs), min(ys), max(xs), max(ys)

    @property
    def is_box(self) -> bool:
        return len(self.lines) == 4 and all(x0 == x1 or y0 == y1 for x0, y0, x1, y1 in self.lines)

    @property
    def is_line(self) -> bool:
        return len(self.lines) == 1


@dataclass(frozen=True)
class Ring:
    """A circle of the drawing."""

    x: float
    y: float
    radius: float


def shapes(svg: str) -> list[Shape]:
    """Return the paths of a drawing in the order in which they are drawn."""
    return [
        Shape(
            tuple(segments(re.sub(r"\s+-", " -", path.get("d", "")))), path.get("fill", ""), path.get("stroke", ""),
            float(path.get("stroke-width", "nan")), path.get("stroke-dasharray", ""),
        )
        for path in ET.fromstring(svg).iter(f"{NAMESPACE}path")
    ]  # fmt: skip


def rings(svg: str) -> list[Ring]:
    return [
        Ring(*(float(circle.get(key, "nan")) for key in ("cx", "cy", "r")))
        for circle in ET.fromstring(svg).iter(f"{NAMESPACE}circle")
    ]


def near(box: Box, other: Box) -> bool:
    return all(abs(a - b) <= NEAR for a, b in zip(box, other, strict=True))


def held(found: list[Box], *wanted: Box) -> bool:
    """Whether `found` are the boxes `wanted` and no others, in any order."""
    return len(found) == len(wanted) and all(any(near(box, want) for box in found) for want in wanted)


def scale_of(svg: str, view: str) -> int:
    """Return the scale that the title block states for `view` ("Elevation" or "Side view")."""
    words = " ".join(text.text for text in written(svg))
    found = re.search(rf"{view} 1 : (\d+)", words)
    assert found, words
    return int(found[1])


def place(svg: str, text: str) -> Box:
    """Return where `text` stands, which the drawing holds once."""
    (found,) = [each.box for each in written(svg) if each.text == text]
    return found


@dataclass(frozen=True)
class Picture:
    """A drawing with what turns a place on the wall into one on the sheet."""

    survey: Survey
    layout: Layout
    svg: str
    shapes: list[Shape]
    scale: int
    left: float  # the awning's, on the sheet
    chalk: float
    ground: float

    def x(self, position: float) -> float:
        return self.left + (position - self.survey.place.left_end - self.layout.shift) / self.scale

    def y(self, height: float) -> float:
        """Above the break lines, where there are any."""
        return self.chalk + (self.survey.place.height - height) / self.scale

    def from_ground(self, height: float) -> float:
        return self.ground - height / self.scale

    @property
    def is_broken(self) -> bool:
        return abs(self.from_ground(self.survey.place.height) - self.chalk) > NEAR

    def boxes(self, **style: Any) -> list[Box]:
        return [s.box for s in self.shapes if s.is_box and all(getattr(s, key) == v for key, v in style.items())]

    def lines(self, **style: Any) -> list[Box]:
        """The straight lines of a style, as (x0, y0, x1, y1)."""
        return [s.lines[0] for s in self.shapes if s.is_line and all(getattr(s, key) == v for key, v in style.items())]  # type: ignore[misc]


def picture(changes: dict[str, Any], units: Units = "metric") -> Picture:
    survey = plain_survey(**changes)
    layout = lay_out(survey)
    svg = draw_svg(survey, layout, units=units)
    made = shapes(svg)
    (body,) = [s.box for s in made if s.fill == CLOTH]
    chalk, _ = [s.lines[0] for s in made if s.dash == "3 0.7 0.7 0.7"]
    ground = next(s.lines[0] for s in made if s.is_line and s.pen == 0.6)
    return Picture(survey, layout, svg, made, scale_of(svg, "Elevation"), body[0], chalk[1], ground[1])
