"""The page round the picture: head, title block, and what a stop looks like from across the room."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from scheduler.layout.drawing import draw_svg
from scheduler.layout.drawing.page import draw_sheets
from scheduler.layout.drawing.paper.lettering import shortened, width_of
from tests.drawn import Box, Written, written
from tests.shapes import GRAPHITE, shapes
from tests.surveys import plain_survey

GOES_FIRST = "The manufacturer's instructions and local codes go first. Check on site before drilling."
WIDE, HIGH, MARGIN = 279.4, 215.9, 9.0


def page(levels: tuple[Any, ...] = (), **changes: Any) -> tuple[str, list[Written]]:
    survey = plain_survey(**changes)
    findings = tuple(Finding(level, f"code-{n}", f"Thing {n}.") for n, level in enumerate(levels))
    svg = draw_svg(survey, msgspec.structs.replace(lay_out(survey), findings=findings), units="metric")
    return svg, written(svg)


def one(texts: list[Written], start: str) -> Written:
    (found,) = [text for text in texts if text.text.startswith(start)]
    return found


def test_a_stop_stands_white_on_black_at_the_heads_right() -> None:
    svg, texts = page(("stop",))
    stop = one(texts, "STOP: do not drill.")
    black = [s.box for s in shapes(svg) if s.is_box and s.fill == GRAPHITE and s.box[3] < 20]
    assert len(black) == 1
    left, top, right, bottom = black[0]
    assert right == pytest.approx(WIDE - MARGIN, abs=0.01)
    assert (stop.box[0] - left, right - stop.box[2]) == pytest.approx((2.5, 2.5), abs=0.2)
    assert 1 < stop.box[1] - top < 3
    assert 0.5 < bottom - stop.box[3] < 3
    assert 'fill="#ffffff"' in svg.partition(">STOP")[0].rpartition("<text")[2]
    assert stop.size == pytest.approx(4.3)
    title = one(texts, "Wall drawing")
    assert title.size == 5
    assert title.box[0] == MARGIN
    assert title.box[2] < left


def test_cautions_are_counted_at_the_heads_right_in_small_letters() -> None:
    svg, texts = page(("caution", "caution"))
    count = one(texts, "2 cautions")
    assert count.box[2] == pytest.approx(WIDE - MARGIN, abs=0.05)
    assert count.size == pytest.approx(2.9 * 1.2)
    assert not [s for s in shapes(svg) if s.fill == GRAPHITE and s.box[3] < 20]


def test_a_long_title_ends_before_what_stands_at_its_right() -> None:
    for levels in (("stop",), ("caution",), ()):
        svg, texts = page(levels, id="m" * 200)
        title = one(texts, "Wall drawing")
        others = [text.box[0] for text in texts if text is not title and text.box[1] < 16]
        black = [s.box[0] for s in shapes(svg) if s.fill == GRAPHITE and s.box[3] < 20]
        end = min([*others, *black, WIDE - MARGIN])
        assert title.text.endswith("…")
        assert 0 <= end - title.box[2] < 9  # as long as it can be: less than two letters more


def block(svg: str) -> Box:
    return next(s.box for s in shapes(svg) if s.is_box and s.pen == 0.35 and s.box[3] == pytest.approx(HIGH - MARGIN))


def test_the_title_block_lies_along_the_foot() -> None:
    svg, texts = page()
    left, top, right, bottom = block(svg)
    assert (left, right, bottom) == pytest.approx((MARGIN, WIDE - MARGIN, HIGH - MARGIN))
    first, name = one(texts, GOES_FIRST[:30]), one(texts, "Survey alder")
    cells = [one(texts, start) for start in ("Elevation 1", "Side view 1", "Figures go", "mm; small", "Rules")]
    rule = next(s.lines[0] for s in shapes(svg) if s.is_line and top < s.lines[0][1] < bottom)
    assert rule == pytest.approx((left, rule[1], right, rule[1]))
    assert first.box[0] == pytest.approx(left + 2.5, abs=0.05)
    assert name.box[2] == pytest.approx(right - 2.5, abs=0.05)
    for text in (first, name):
        assert text.size == 3.3  # what goes first is larger than what describes the sheet
        assert top < text.box[1] < text.box[3] < rule[1]
    for cell in cells:
        assert cell.size == 2.9
        assert rule[1] < cell.box[1] < cell.box[3] < bottom
    assert cells[0].box[0] == pytest.approx(left + 2.5, abs=0.05)
    assert cells[-1].box[2] == pytest.approx(right - 2.5, abs=0.3)
    gaps = [b.box[0] - a.box[2] for a, b in pairwise(cells)]
    assert gaps == pytest.approx([gaps[0]] * len(gaps), abs=0.3)  # even
    assert gaps[0] >= 3


def test_the_lower_half_is_parted_from_the_picture_by_a_line() -> None:
    svg, texts = page()
    foot = block(svg)[1]
    level = [s.lines[0] for s in shapes(svg) if s.is_line and s.lines[0][0] == MARGIN and s.lines[0][1] < foot]
    rule = next(line for line in level if line[2] == pytest.approx(WIDE - MARGIN))
    below = ("Side view, awning open", "Drill schedule")
    assert all(one(texts, start).box[1] > rule[1] for start in below)
    assert one(texts, "closed awning").box[3] < rule[1]
    assert one(texts, "From the wall's zero").box[1] >= MARGIN + 8 + 1  # under the head
    tops = [one(texts, start).box[1] for start in below]
    assert tops[0] == pytest.approx(tops[1], abs=0.3)
    assert one(texts, "Drill schedule").box[0] == pytest.approx(MARGIN + 92 + 4)


@pytest.mark.parametrize("count", range(0, 40, 3))
def test_the_findings_squeeze_the_wall_only_so_far(count: int) -> None:
    """With more findings the lower half grows, to room for five of these, but the wall keeps 36 mm of the sheet.

    Where 24 mm are enough to have every stop on the first sheet, it keeps these.
    """
    survey = plain_survey()
    findings = tuple(
        Finding("stop", f"code-{n}", f"{'A finding of some length that says what it has to. ' * 3}End {n}.")
        for n in range(count)
    )
    svg, *later = draw_sheets(survey, msgspec.structs.replace(lay_out(survey), findings=findings), units="metric")
    ground = next(s.lines[0][1] for s in shapes(svg) if s.is_line and s.pen == 0.6)
    top = min(s.box[1] for s in shapes(svg) if s.dash == "1.6 0.8")
    words = " ".join(text.text for text in written(svg)).replace("Stop, continued: ", "")
    ended = sum(f"End {n}." in words for n in range(count))
    assert ground - top >= (24 if ended == count else 36)
    assert (f"{count - ended} stop" in words) is (ended < count)  # at the foot: what stands on the later pages
    assert ended >= min(count, 5)
    beyond = " ".join(text.text for page in later for text in written(page))
    assert all(f"End {n}." in words or f"End {n}." in beyond for n in range(count))


@pytest.mark.parametrize(("longer", "here", "high"), [(1, 5, 39), (3, 5, 33), (4, 4, 39)])
def test_the_wall_gives_way_a_little_where_that_brings_every_caution_to_the_first_sheet(
    longer: int, here: int, high: float
) -> None:
    """Of five cautions as many are longer: room is made while 30 mm of wall are left, and never for a part."""
    survey = plain_survey()
    found = tuple(
        Finding("caution", f"code-{n}", f"{'A finding of some length that says what it has to. ' * lines}End {n}.")
        for n, lines in enumerate([6] * longer + [4] * (5 - longer))
    )
    svg = draw_svg(survey, msgspec.structs.replace(lay_out(survey), findings=found), units="metric")
    ground = next(s.lines[0][1] for s in shapes(svg) if s.is_line and s.pen == 0.6)
    top = min(s.box[1] for s in shapes(svg) if s.dash == "1.6 0.8")
    words = " ".join(text.text for text in written(svg))
    assert sum(f"End {n}." in words for n in range(5)) == here
    assert ground - top == pytest.approx(high, abs=0.5)


def test_text_is_cut_to_its_width_and_no_further() -> None:
    full = width_of("Wall drawing", 5, True)
    assert shortened("Wall drawing", 5, full, True) == "Wall drawing"
    cut = shortened("Wall drawing", 5, full - 0.01, True)
    assert width_of(cut, 5, True) <= full - 0.01
    assert width_of("Wall drawing"[: len(cut)] + "…", 5, True) > full - 0.01
    assert shortened("Wall drawing", 5, 1.0, True) == ""
    assert shortened("  Wall   drawing ", 5, full, True) == "Wall drawing"
    assert shortened("Wall drawing", 5, width_of("Wall drawing", 5)) == "Wall drawing"


def test_a_stop_that_fills_a_sheet_says_at_its_end_that_it_goes_on_and_at_the_head_of_the_next_that_it_began() -> None:
    long = " ".join(f"Thing {n} of many that hold the work up here." for n in range(400))
    survey = plain_survey()
    layout = msgspec.structs.replace(lay_out(survey), findings=(Finding("stop", "obstacle", long),))
    first, *later = draw_sheets(survey, layout)
    pages = [[text.text for text in written(sheet)] for sheet in later]
    assert len(pages) > 2
    told = " ".join(pages[0])
    assert told.count("Stop:") == 1
    assert all("Stop:" not in page and "Stop, continued:" in page for page in pages[1:])
    for page in map(" ".join, pages[:-1]):
        assert "(goes on)" in page[page.rindex("Thing ") :]
    assert "here." in (last := " ".join(pages[-1]))[last.rindex("Thing ") :]
    assert "1 stop." in " ".join(text.text for text in written(first))  # at the foot: one, in however many pieces
    assert "1 thing to settle first, 1 of them on the next page" in " ".join(text.text for text in written(first))
