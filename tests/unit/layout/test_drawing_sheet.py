"""The sheet of paper: boxes, text where it is said to lie, and numbers as a file holds them."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from scheduler.layout.drawing.paper.lettering import clean, is_known, rise_of, width_of, wrap
from scheduler.layout.drawing.paper.sheet import GREY, LEADING, SMALL, Box, DrawingSheet, n, text_box
from tests.drawn import NAMESPACE
from tests.shapes import shapes

HERE = Box(10, 10, 20, 20)


@pytest.mark.parametrize(
    ("other", "gap", "meet"),
    [
        (Box(19, 19, 30, 30), 0.0, True),
        (Box(20, 10, 30, 20), 0.0, False),  # side by side is no overlap
        (Box(0, 10, 10, 20), 0.0, False),
        (Box(10, 20, 20, 30), 0.0, False),
        (Box(10, 0, 20, 10), 0.0, False),
        (Box(20.4, 10, 30, 20), 0.5, True),
        (Box(20.5, 10, 30, 20), 0.5, False),
        (Box(0, 10, 9.6, 20), 0.5, True),
        (Box(0, 10, 9.5, 20), 0.5, False),
        (Box(10, 20.4, 20, 30), 0.5, True),
        (Box(10, 20.5, 20, 30), 0.5, False),
        (Box(10, 0, 20, 9.6), 0.5, True),
        (Box(10, 0, 20, 9.5), 0.5, False),
        (Box(12, 12, 14, 14), 0.0, True),
    ],
)
def test_boxes_overlap_where_they_share_more_than_an_edge(other: Box, gap: float, meet: bool) -> None:
    assert HERE.overlaps(other, gap) is meet
    assert other.overlaps(HERE, gap) is meet


@pytest.mark.parametrize(
    ("box", "inside"),
    [
        (Box(10, 10, 20, 20), True),
        (Box(9.9, 10, 20, 20), False),
        (Box(10, 9.9, 20, 20), False),
        (Box(10, 10, 20.1, 20), False),
        (Box(10, 10, 20, 20.1), False),
    ],
)
def test_a_box_is_inside_up_to_the_edge(box: Box, inside: bool) -> None:
    assert box.inside(HERE) is inside


def test_numbers_are_short_and_to_a_hundredth() -> None:
    assert [n(v) for v in (1.0, 10.0, 1.25, 1.256, 0.5, -0.001, -2.5, 100)] == [
        "1", "10", "1.25", "1.26", "0.5", "0", "-2.5", "100",
    ]  # fmt: skip


def test_a_text_lies_where_its_anchor_puts_it() -> None:
    long = width_of("drop", 4.0)
    up, down = 0.78 * 4, 0.24 * 4
    for anchor, before in (("start", 0.0), ("middle", long / 2), ("end", long)):
        flat = text_box(50, 60, "drop", 4.0, anchor=anchor)  # type: ignore[arg-type]
        assert flat == Box(50 - before, 60 - up, 50 - before + long, 60 + down)
        turned = text_box(50, 60, "drop", 4.0, anchor=anchor, turned=True)  # type: ignore[arg-type]
        assert turned == Box(50 - up, 60 - long + before, 50 + down, 60 + before)


def test_bold_text_is_wider() -> None:
    bold, plain = (text_box(0, 0, "stud no.", bold=bold) for bold in (True, False))
    assert bold.right == width_of("stud no.", SMALL, True) > plain.right == width_of("stud no.", SMALL)


def test_the_sheet_remembers_where_text_lies() -> None:
    sheet = DrawingSheet(100, 100)
    box = sheet.text(10, 20, "drop")
    assert box == text_box(10, 20, "drop")
    assert sheet.taken == [box]
    assert not sheet.is_free(Box(box.right + 0.4, box.top, 40, box.bottom))  # half a millimetre stays free
    assert sheet.is_free(Box(box.right + 0.5, box.top, 40, box.bottom))
    assert not sheet.is_free(Box(box.right + 0.9, box.top, 40, box.bottom), gap=1.0)
    assert not sheet.is_free(Box(50, 50, 60, 60), [Box(60.2, 50, 70, 60)])
    assert sheet.is_free(Box(50, 50, 60, 60), [Box(60.5, 50, 70, 60)])


def test_a_sheet_on_trial_takes_the_same_places_and_draws_nothing() -> None:
    for trial in (True, False):
        sheet = DrawingSheet(100, 100, trial=trial)
        sheet.line(0, 0, 10, 10)
        sheet.rect(Box(0, 0, 5, 5))
        sheet.polygon([(0, 0), (1, 1), (2, 0)])
        sheet.circle(5, 5, 1)
        sheet.text(10, 20, "drop", ground=True)
        assert sheet.taken == [text_box(10, 20, "drop")]
        assert len(sheet.parts) == (0 if trial else 6)


def test_paragraphs_go_down_by_their_leading() -> None:
    sheet = DrawingSheet(100, 100)
    after = sheet.paragraph(10, 20, ["one", "two"], 4.0)
    assert [box.top for box in sheet.taken] == pytest.approx([20 - 3.12, 20 + 4 * LEADING - 3.12])
    assert after == pytest.approx(20 + 8 * LEADING)


def test_text_as_the_file_has_it() -> None:
    sheet = DrawingSheet(100, 100)
    sheet.text(10, 20, " a <b>  & c ", 4.0)
    sheet.text(30, 40, "drop", anchor="middle", bold=True, ink=GREY, turned=True)
    sheet.text(50, 60, "煙", ground=True)
    flat, turned, strange = ET.fromstring(sheet.svg("t", "d")).iter(f"{NAMESPACE}text")
    assert flat.text == "a <b> & c"
    assert flat.attrib == {
        "x": "10", "y": "20", "font-size": "4", "fill": "#262626", "textLength": n(width_of("a <b> & c", 4.0)),
        "lengthAdjust": "spacingAndGlyphs",
    }  # fmt: skip
    assert turned.attrib == {
        "x": "30", "y": "40", "font-size": "2.9", "fill": GREY, "text-anchor": "middle", "font-weight": "bold",
        "transform": "rotate(-90 30 40)", "textLength": n(width_of("drop", 2.9, True)),
        "lengthAdjust": "spacingAndGlyphs",
    }  # fmt: skip
    assert "textLength" not in strange.attrib  # of a letter whose width is not known
    ground = [element for element in ET.fromstring(sheet.svg("t", "d")) if element.tag == f"{NAMESPACE}rect"][-1]
    box = sheet.taken[2]
    place = [float(ground.get(key, "0")) for key in ("x", "y", "width", "height")]
    assert place == pytest.approx(
        [box.left - 0.3, box.top - 0.2, box.right - box.left + 0.6, box.bottom - box.top + 0.4], abs=0.011
    )
    assert ground.get("fill") == "#ffffff"


def test_lines_and_shapes_have_their_pen_colour_and_dashes() -> None:
    sheet = DrawingSheet(100, 100)
    sheet.line(1, 2, 3, 4)
    sheet.line(1, 2, 3, 4, pen=0.5, ink=GREY, dash="2 1")
    sheet.rect(HERE, pen=0.4, ink=GREY, fill="#ffffff", dash="1 1")
    sheet.rect(HERE)
    thin, dashed, full, empty = shapes(sheet.svg("t", "d"))
    assert (thin.lines, thin.pen, thin.ink, thin.fill, thin.dash) == (((1, 2, 3, 4),), 0.18, "#262626", "none", "")
    assert (dashed.pen, dashed.ink, dashed.dash) == (0.5, GREY, "2 1")
    assert (full.box, full.pen, full.ink, full.fill, full.dash) == ((10, 10, 20, 20), 0.4, GREY, "#ffffff", "1 1")
    assert (empty.pen, empty.ink, empty.fill, empty.dash) == (0.18, "#262626", "none", "")


# Letters.


def test_a_measure_stays_on_one_line() -> None:
    text = "It hangs 12' 10 1/16\" (3913 mm) down, 45 lb, 1' 0 3/4\" and 5 N."
    for width in range(24, 60, 2):
        lines = wrap(text, 2.8, width)
        for measure in ("12' 10 1/16\"", "3913 mm", "45 lb", "1' 0 3/4\"", "5 N"):
            assert any(measure in line for line in lines), (width, lines)
        assert " ".join(lines) == text


def test_lines_are_filled_as_far_as_they_go() -> None:
    five = width_of("m m m", 2.8)
    assert wrap("m m m m m", 2.8, five) == ["m m m", "m m"]
    assert wrap("m m m m m", 2.8, five - 0.01) == ["m m", "m m", "m"]
    assert wrap("m m m m m", 2.8, five, indent=0.01) == ["m m", "m m m"]
    assert wrap("mmmm m", 2.8, width_of("mm", 2.8)) == ["mm", "mm", "m"]
    assert wrap("m mmmm", 2.8, width_of("mm", 2.8)) == ["m", "mm", "mm"]
    assert wrap("mmm", 2.8, 0.1) == ["m", "m", "m"]
    assert wrap("  ", 2.8, 10) == []
    bold = width_of("m m", 2.8, True)
    assert wrap("m m m", 2.8, bold, bold=True) == ["m m", "m"]


def test_strange_letters_are_given_more_room() -> None:
    assert rise_of("Stud 3") == (0.78, 0.24)
    assert rise_of("5 × 3°") == (0.78, 0.24)
    assert rise_of("Ä") == (0.95, 0.3)
    assert rise_of("煙") == (1.15, 0.45)
    assert width_of("煙", 10) == 14
    assert width_of("x\u0301", 10) == width_of("x", 10)  # a mark takes no room of its own
    assert not is_known("a煙")
    assert is_known("aÄ×")


def test_a_text_is_cleaned_of_what_moves_its_neighbours() -> None:
    assert clean("a\u202eb\x07c\n d") == "abc d"
    assert clean("e\u0301\u0302\u0303\u0304x") == "é\u0302\u0303x"  # one mark goes into the letter, two more stay
    assert clean("  porch   light ") == "porch light"
