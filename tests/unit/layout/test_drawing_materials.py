"""The patterns of walls: true courses and boards, never so fine that they print as a smear, never beyond the wall."""

from __future__ import annotations

from itertools import pairwise

import pytest

from scheduler.layout.documents import WallKind
from scheduler.layout.drawing.paper import materials
from scheduler.layout.drawing.paper.sheet import Box, DrawingSheet
from tests.shapes import GREY, PALE, Shape, shapes

BOX = Box(20.0, 30.0, 80.0, 70.0)
KINDS: tuple[WallKind, ...] = (
    "wood-studs", "rim-board", "rafters", "stucco-on-studs", "concrete", "solid-masonry", "hollow-block",
    "brick-veneer", "fascia",
)  # fmt: skip


def surface(kind: WallKind, scale: float) -> Shape:
    sheet = DrawingSheet(100, 100)
    materials.surface(sheet, BOX, kind, scale)
    (found,) = shapes(sheet.svg("t", "d"))
    return found


def section(kind: WallKind) -> list[Shape]:
    sheet = DrawingSheet(100, 100)
    materials.section(sheet, BOX, kind)
    return shapes(sheet.svg("t", "d"))


def level(found: Shape) -> list[float]:
    return sorted({line[1] for line in found.lines if line[1] == line[3] and line[2] - line[0] > 1})


def steps(values: list[float]) -> list[float]:
    return [b - a for a, b in pairwise(values)]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("scale", [8, 20, 50, 200])
def test_no_pattern_leaves_the_wall_or_smears(kind: WallKind, scale: float) -> None:
    found = surface(kind, scale)
    assert found.ink == PALE
    assert found.lines
    left, top, right, bottom = found.box
    assert left >= BOX.left - 0.01
    assert top >= BOX.top - 0.01
    assert right <= BOX.right + 0.03
    assert bottom <= BOX.bottom + 0.01
    assert all(step >= 1.49 for step in steps([y for y in level(found) if y > BOX.top + 0.01]))


@pytest.mark.parametrize(("kind", "board"), [("wood-studs", 152), ("rafters", 152), ("rim-board", 95), ("fascia", 95)])
def test_boards_lie_from_the_ground_up(kind: WallKind, board: float) -> None:
    found = surface(kind, 20)
    lines = [BOX.bottom - board / 20 * n for n in range(1, 20) if BOX.bottom - board / 20 * n > BOX.top]
    assert level(found) == pytest.approx(sorted(lines), abs=0.01)
    assert {(line[0], line[2]) for line in found.lines} == {(BOX.left, BOX.right)}
    assert steps(level(surface(kind, 200))) == pytest.approx([1.5] * (len(level(surface(kind, 200))) - 1), abs=0.011)


@pytest.mark.parametrize(
    ("kind", "course", "unit"), [("solid-masonry", 76, 230), ("brick-veneer", 76, 230), ("hollow-block", 203, 406)]
)
def test_courses_are_laid_half_over_half(kind: WallKind, course: float, unit: float) -> None:
    found = surface(kind, 20)
    rise, long = course / 20, unit / 20
    beds = [BOX.bottom - rise * n for n in range(1, 60) if BOX.bottom - rise * n > BOX.top]
    assert level(found) == pytest.approx(sorted(beds), abs=0.01)
    rows: dict[int, list[float]] = {}
    for x0, y0, x1, y1 in found.lines:
        if x0 == x1:
            row = round((BOX.bottom - max(y0, y1)) / rise)
            assert max(y0, y1) == pytest.approx(BOX.bottom - row * rise, abs=0.01)
            assert min(y0, y1) == pytest.approx(max(BOX.top, BOX.bottom - (row + 1) * rise), abs=0.01)
            rows.setdefault(row, []).append(x0)
    assert len(rows) == len(beds) + 1
    for row, xs in rows.items():
        joints = [BOX.left + (n + row % 2 / 2) * long for n in range(60)]
        assert xs == pytest.approx([x for x in joints if BOX.left < x < BOX.right], abs=0.01)


def test_courses_too_fine_to_print_are_drawn_several_as_one() -> None:
    found = surface("solid-masonry", 100)  # 0.76 mm: two of them are 1.52, and so a brick is 4.6 long
    assert steps(level(found)) == pytest.approx([1.52] * (len(level(found)) - 1), abs=0.011)
    row = sorted(x0 for x0, y0, x1, y1 in found.lines if x0 == x1 and max(y0, y1) == BOX.bottom)
    assert steps(row) == pytest.approx([4.6] * (len(row) - 1), abs=0.011)


@pytest.mark.parametrize(("kind", "step"), [("concrete", 3.2), ("stucco-on-studs", 2.4)])
def test_dots_are_strewn_evenly_not_in_a_grid(kind: WallKind, step: float) -> None:
    found = surface(kind, 20)
    assert all(x1 - x0 == pytest.approx(0.02) and y0 == y1 for x0, y0, x1, y1 in found.lines)
    cells = {(int((x - BOX.left) // step), int((y - BOX.top) // step)) for x, y, *_ in found.lines}
    across, down = (BOX.right - BOX.left) / step, (BOX.bottom - BOX.top) / step
    assert len(found.lines) == pytest.approx(across * down, rel=0.08)
    assert len(cells) > 0.97 * len(found.lines)  # one to a cell
    assert len({round((x - BOX.left) % step, 1) for x, *_ in found.lines}) > 20
    assert len({round((y - BOX.top) % step, 1) for _, y, *_ in found.lines}) > 12


@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize("step", [1.1, 2.4])
def test_hatching_is_at_45_degrees_from_edge_to_edge(step: float, rising: bool) -> None:
    sheet = DrawingSheet(100, 100)
    materials.slanted(sheet, BOX, step, rising=rising)
    (found,) = shapes(sheet.svg("t", "d"))
    assert found.ink == GREY
    offsets = []
    for x0, y0, x1, y1 in found.lines:
        assert x1 > x0
        assert (y0 - y1 if rising else y1 - y0) == pytest.approx(x1 - x0, abs=0.021)
        for x, y in ((x0, y0), (x1, y1)):
            assert min(abs(x - BOX.left), abs(x - BOX.right), abs(y - BOX.top), abs(y - BOX.bottom)) <= 0.011
            assert BOX.left - 0.01 <= x <= BOX.right + 0.01
            assert BOX.top - 0.01 <= y <= BOX.bottom + 0.01
        offsets.append(x0 + (y0 - BOX.bottom if rising else BOX.top - y0))
    assert steps(offsets) == pytest.approx([step] * (len(offsets) - 1), abs=0.03)
    assert len(offsets) == pytest.approx((BOX.right - BOX.left + BOX.bottom - BOX.top) / step, abs=1.5)


def test_cut_walls_are_hatched_by_what_they_are_made_of() -> None:
    """Masonry closely, hollow block both ways, concrete dotted, timber widely; each with its outline."""
    outline = (BOX.left, BOX.top, BOX.right, BOX.bottom)
    found = {kind: section(kind) for kind in KINDS}
    for made in found.values():
        assert made[-1].box == pytest.approx(outline)
        assert made[-1].is_box
        assert all(part.ink == GREY for part in made[:-1])
    assert len(found["solid-masonry"][0].lines) > 1.5 * len(found["wood-studs"][0].lines)
    assert {kind for kind, made in found.items() if len(made) == 3} == {"hollow-block"}
    assert all(len(made) in (2, 3) for made in found.values())
    rising, falling = found["hollow-block"][:2]
    assert len(rising.lines) == len(falling.lines) == len(found["solid-masonry"][0].lines)
    assert {line[1] > line[3] for line in rising.lines} == {True}
    assert {line[1] > line[3] for line in falling.lines} == {False}
    assert all(line[1] == line[3] for line in found["concrete"][0].lines)
    assert len(found["concrete"][0].lines) == pytest.approx(60 * 40 / 1.3**2, rel=0.06)


def test_a_sheet_on_trial_is_spared_the_patterns() -> None:
    sheet = DrawingSheet(100, 100, trial=True)
    materials.surface(sheet, BOX, "concrete", 20)
    materials.section(sheet, BOX, "concrete")
    materials.slanted(sheet, BOX, 1.4)
    assert sheet.parts == []
