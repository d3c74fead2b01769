"""Running dimensions as they are drawn: base line, ticks, lines to the figures, rings, title."""

from __future__ import annotations

import pytest

from scheduler.layout.drawing.paper.lettering import width_of
from scheduler.layout.drawing.paper.sheet import FIGURE, SMALL, DrawingSheet
from scheduler.layout.drawing.wall import running
from scheduler.layout.drawing.wall.running import Mark, Running, lay_out
from tests.drawn import Written, overlapping, written
from tests.shapes import NEAR, Ring, Shape, near, rings, shapes

BASE, LEFT, RIGHT, EDGE = 100.0, 10.0, 260.0, 30.0
PITCH = 1.08 * FIGURE + 1.1 * SMALL + 1.2
RING = 2.35


def chain(xs: list[float], zero: float | None = None) -> Running:
    marks = [Mark(x, f"{20 * x:.0f}", f"{x:.0f}' 1 1/2\"", str(n), True) for n, x in enumerate(xs[:-1], 1)]
    return lay_out([*marks, Mark(xs[-1], "5000", "16' 5\"", "right end", False)], "From here", zero, LEFT, RIGHT)


def drawn(made: Running, upwards: bool) -> tuple[list[Shape], list[Ring], list[Written]]:
    sheet = DrawingSheet(280, 200)
    running.draw(sheet, made, BASE, upwards, LEFT, EDGE)
    svg = sheet.svg("t", "d")
    return shapes(svg), rings(svg), written(svg)


CHAINS: dict[str, tuple[list[float], float | None]] = {
    "one row": ([60, 110, 160, 220], 40.0),
    "more rows": ([100, 103, 106, 109, 220], 40.0),
    "at the edges": ([LEFT + 1, 120, RIGHT - 1], None),
    "turned": ([100 + 2.0 * n for n in range(16)], 40.0),
    "turned at the right": ([250 + 0.5 * n for n in range(16)], None),
}


@pytest.mark.parametrize("upwards", [True, False])
@pytest.mark.parametrize("name", CHAINS)
def test_base_line_ticks_and_title(name: str, upwards: bool) -> None:
    made = chain(*CHAINS[name])
    paths, circles, texts = drawn(made, upwards)
    start = EDGE if made.zero is None else made.zero
    xs = [label.mark.x for label in made.labels]
    assert near(paths[0].box, (min(start, *xs), BASE, max(start, *xs), BASE))
    for x in xs:
        assert [s for s in paths if s.is_line and near(s.lines[0], (x - 0.9, BASE + 0.9, x + 0.9, BASE - 0.9))]
    arrow = [s for s in paths[1:3] if s.is_line and s.lines[0][0] == EDGE and s.lines[0][1] == BASE]
    if made.zero is None:  # the datum lies beyond the picture: an arrow away from it
        ends = sorted(s.lines[0][2:] for s in arrow)
        assert ends == [(EDGE + 2, BASE - 0.9), (EDGE + 2, BASE + 0.9)]
        assert not [t for t in texts if t.text == "0"]
    else:
        assert [r for r in circles if (r.x, r.y, r.radius) == (made.zero, BASE, 0.9)]
        (zero,) = [t for t in texts if t.text == "0"]
        assert (zero.box[0] + zero.box[2]) / 2 == pytest.approx(made.zero - 2.4, abs=0.05)
        assert (zero.box[1] + zero.box[3]) / 2 == pytest.approx(BASE, abs=0.1)
    (title,) = [t for t in texts if t.text == "From here"]
    assert title.box[0] == LEFT
    others = [t.box for t in texts if t is not title]
    if upwards:
        assert BASE - made.height <= title.box[1]
        assert title.box[3] <= min(box[1] for box in others)
    else:
        assert title.box[3] <= BASE + made.height
        assert title.box[1] >= max(box[3] for box in others) - 0.1


def test_the_arrow_to_a_datum_at_the_right_points_there() -> None:
    sheet = DrawingSheet(280, 200)
    running.draw(sheet, chain([60, 110, 160]), BASE, True, LEFT, 200.0)
    paths = shapes(sheet.svg("t", "d"))
    assert near(paths[0].box, (60, BASE, 200, BASE))
    assert sorted(s.lines[0][2:] for s in paths[1:3]) == [(198, BASE - 0.9), (198, BASE + 0.9)]


def test_the_zero_moves_to_the_other_side_where_a_tick_is_near() -> None:
    made = chain([38, 120, 220], zero=40.0)
    (zero,) = [t for t in drawn(made, True)[2] if t.text == "0"]
    assert (zero.box[0] + zero.box[2]) / 2 == pytest.approx(42.4, abs=0.05)
    crowded = chain([38, 42, 220], zero=40.0)
    assert not [t for t in drawn(crowded, True)[2] if t.text == "0"]


@pytest.mark.parametrize("upwards", [True, False])
@pytest.mark.parametrize("name", CHAINS)
def test_nothing_of_a_chain_covers_anything(name: str, upwards: bool) -> None:
    made = chain(*CHAINS[name])
    paths, _, texts = drawn(made, upwards)
    assert overlapping(texts) == []
    assert [t.text for t in texts if t.struck] == []
    low, high = (BASE - made.height, BASE + 1.5) if upwards else (BASE - 1.5, BASE + made.height)
    for box in [*(t.box for t in texts), *(s.box for s in paths)]:
        assert low <= box[1] + 0.1
        assert box[3] <= high + 0.1


@pytest.mark.parametrize("upwards", [True, False])
@pytest.mark.parametrize("name", ["one row", "more rows", "at the edges"])
def test_upright_figures_stand_with_their_ring_in_their_row(name: str, upwards: bool) -> None:
    made = chain(*CHAINS[name])
    paths, circles, texts = drawn(made, upwards)
    row = 1.12 * (FIGURE + SMALL) + 0.5
    for label in made.labels:
        mark, right = label.mark, label.left + label.mark.wide
        near_end = BASE + (-1 if upwards else 1) * (2.6 + label.row * row)
        top, bottom = (near_end - row, near_end) if upwards else (near_end, near_end + row)
        mine = [
            t
            for t in texts
            if t.text in (mark.first, mark.other, f"{mark.name} {mark.other}") and label.left - 0.1 <= t.box[0] <= right
        ]
        assert len(mine) == 2
        first, other = mine
        assert first.size > other.size
        for text in mine:
            assert label.left - 0.1 <= text.box[0]
            assert text.box[2] <= right + 0.1
            assert top - 0.1 <= text.box[1] < text.box[3] <= bottom + 0.4
        assert (other.box[0] + other.box[2]) / 2 == pytest.approx((label.left + right) / 2, abs=0.1)
        assert other.box[1] > first.box[3]
        if mark.ringed:
            (ring,) = [
                r
                for r in circles
                if r.radius == RING
                and label.left - 0.1 <= r.x - RING
                and r.x + RING <= right
                and top - 0.1 <= r.y - RING <= r.y + RING < bottom + 0.1
            ]
            assert first.box[0] - (ring.x + RING) == pytest.approx(0.8, abs=0.35)
            assert ring.y == pytest.approx((first.box[1] + first.box[3]) / 2, abs=0.2)
            assert ((ring.x - RING + first.box[2]) / 2) == pytest.approx((label.left + right) / 2, abs=0.25)
            (number,) = [t for t in texts if t.text == mark.name and abs((t.box[0] + t.box[2]) / 2 - ring.x) < 0.3]
            assert (number.box[1] + number.box[3]) / 2 == pytest.approx(ring.y, abs=0.15)
        else:
            assert (first.box[0] + first.box[2]) / 2 == pytest.approx((label.left + right) / 2, abs=0.1)
        (line,) = [
            s.lines[0] for s in paths if s.is_line and s.lines[0][0] == s.lines[0][2] == pytest.approx(mark.x, abs=NEAR)
        ]
        assert line[1] == BASE
        beside = not label.left <= mark.x <= right
        far = line[3] - near_end if not upwards else near_end - line[3]
        assert far == pytest.approx(row - 0.8 if beside else -0.6, abs=NEAR)  # up beside the figure, or up to it


@pytest.mark.parametrize("upwards", [True, False])
@pytest.mark.parametrize("name", ["turned", "turned at the right"])
def test_turned_figures_stand_over_the_end_of_their_line(name: str, upwards: bool) -> None:
    made = chain(*CHAINS[name])
    away = -1 if upwards else 1
    paths, circles, texts = drawn(made, upwards)
    bent = [s for s in paths if len(s.lines) == 2]
    assert len(bent) == len(made.labels)
    for label, line in zip(made.labels, bent, strict=True):
        mark = label.mark
        assert line.pen < 0.2
        assert line.lines[0] == pytest.approx((mark.x, BASE, mark.x, BASE + away * 1.6), abs=NEAR)
        assert line.lines[1] == pytest.approx((mark.x, BASE + away * 1.6, label.left, BASE + away * 6.6), abs=NEAR)
        words = {mark.first, mark.other, f"{mark.name} {mark.other}"}
        mine = [t for t in texts if t.text in words and abs((t.box[0] + t.box[2]) / 2 - label.left) < PITCH / 2]
        assert len(mine) == 2
        for text in mine:
            assert text.box[3] - text.box[1] > text.box[2] - text.box[0]  # turned
            assert label.left - PITCH / 2 <= text.box[0]
            assert text.box[2] <= label.left + PITCH / 2
        first, other = sorted(mine, key=lambda text: text.box[0])
        assert first.size > other.size
        assert first.box[3] == pytest.approx(other.box[3], abs=0.3)  # both begin at one height
        end = BASE + away * 6.6
        outer, inner = (first.box[1], first.box[3]) if upwards else (first.box[3], first.box[1])
        assert (outer - end) * away > 0
        assert (inner - end) * away > 0.5
        if mark.ringed:
            (ring,) = [r for r in circles if r.radius == RING and abs(r.x - label.left) < NEAR]
            assert ring.y - RING - first.box[3] == pytest.approx(1, abs=0.35)  # the ring below the figure, one reads up
            long = 2 * RING + 1 + max(width_of(mark.first, FIGURE, True), width_of(mark.other, SMALL))
            assert (ring.y + RING - end) * away == pytest.approx(0.8 + (0 if upwards else long), abs=NEAR)
