"""Whose drawing it is, on a sheet of letter paper (279.4 × 215.9, margins of 9 mm): head, footer and title block."""

from __future__ import annotations

import datetime
import xml.etree.ElementTree as ET

import pytest
from msgspec.structs import replace

from scheduler.layout.compute import lay_out
from scheduler.layout.drawing.cautions import standing_words
from scheduler.layout.drawing.facts import datum_words
from scheduler.layout.drawing.paper.lettering import width_of, wrap
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import DrawingSheet
from scheduler.layout.drawing.title import GOES_FIRST, Pages, Title, foot, foot_height, head
from tests.drawn import NAMESPACE
from tests.shapes import shapes
from tests.surveys import second_survey

IMPERIAL = Measures("imperial")
JOB = Title("J-1048", "Betony Sallowfield", "63 Long Meadow, Tallow Bend", datetime.date(2027, 4, 12))
LEFT, RIGHT, LOW = 9.0, 270.4, 206.9
FOOTER_LINE = 2.8 * 1.24


def texts(sheet: DrawingSheet) -> list[tuple[str, float, float, float, str, bool]]:
    """Each text with its place, size, anchor and whether it is bold."""
    return [
        (t.text or "", float(t.get("x", "0")), float(t.get("y", "0")), float(t.get("font-size", "0")),
         t.get("text-anchor", "start"), t.get("font-weight") == "bold")
        for t in ET.fromstring(sheet.svg("title", "")).iter(f"{NAMESPACE}text")
    ]  # fmt: skip


def headed(title: Title = JOB, state: str = "", stop: bool = False) -> list[tuple[str, float, float, float, str, bool]]:
    sheet = DrawingSheet(279.4, 215.9)
    head(sheet, second_survey(), title, Pages(2, 3), state, stop, IMPERIAL)
    return texts(sheet)


def footed(title: Title = JOB, later: str = "", cells: tuple[str, ...] = ("one", "two", "three")) -> DrawingSheet:
    sheet = DrawingSheet(279.4, 215.9)
    survey = second_survey()
    foot(sheet, survey, lay_out(survey), title, Pages(1, 2, later), list(cells))
    return sheet


def test_the_head_says_which_job_whose_wall_which_page_and_what_the_zero_is() -> None:
    assert headed() == [
        ("Wall drawing J-1048", LEFT, 14.0, 5.0, "start", True),
        ("drawn 2027-04-12, page 2 of 3", RIGHT, 19.6, 3.19, "end", False),
        ("Betony Sallowfield, 63 Long Meadow, Tallow Bend", LEFT, 19.6, 3.19, "start", False),
        (datum_words(second_survey(), IMPERIAL), LEFT, 24.2, 2.9, "start", True),
    ]


@pytest.mark.parametrize(
    ("title", "name", "page", "whose"),
    [
        (Title(), "Wall drawing alder-4m", "page 2 of 3", "No job: drawn from a survey alone"),
        (Title("J-1", "", "3 Mill Ln"), "Wall drawing J-1", "page 2 of 3", "3 Mill Ln"),
        (Title("", "Ann Oz", ""), "Wall drawing alder-4m", "page 2 of 3", "Ann Oz"),
        (Title("J-1", "n" * 200), "Wall drawing J-1", "page 2 of 3", None),
    ],
)
def test_the_head_leaves_out_what_is_not_known(title: Title, name: str, page: str, whose: str | None) -> None:
    first, second, third, _ = (text for text, *_ in headed(title))
    assert (first, second) == (name, page)
    assert third == whose if whose is not None else third.endswith("n…")


def test_a_long_name_is_cut_off_just_before_what_stands_at_its_right() -> None:
    for title, state, row in ((Title("J-1", "n" * 200), "", 1), (Title("J" * 300), "2 cautions", 0)):
        lines: dict[float, list[tuple[str, float, float, float, str, bool]]] = {}
        for text in headed(title, state):
            lines.setdefault(text[2], []).append(text)
        right, left = sorted(lines[sorted(lines)[row]], key=lambda text: text[4])
        assert left[0].endswith("…")
        free = right[1] - width_of(right[0], right[3], right[5]) - LEFT - width_of(left[0], left[3], left[5])
        assert 3 <= free < 3 + width_of("m", left[3], left[5])


def test_a_condition_stands_at_the_heads_right_before_the_title() -> None:
    caution, title, *_ = headed(state="2 cautions")
    assert caution == ("2 cautions", RIGHT, 14.0, 3.48, "end", False)
    assert title[0] == "Wall drawing J-1048"
    stop = headed(state="STOP: do not drill.", stop=True)[0]
    assert stop == ("STOP: do not drill.", RIGHT - 2.5, 13.4, 4.3, "end", True)


def test_the_footer_has_what_holds_on_every_wall_over_the_title_block() -> None:
    survey = second_survey()
    lines = wrap(standing_words(survey, lay_out(survey)), 2.8, RIGHT - LEFT)
    assert len(lines) > 2
    sheet = footed(later="page 2: the bracket")
    top = LOW - 12.5
    first = top - 2 - FOOTER_LINE * len(lines)
    found = {text: (x, y, size, bold) for text, x, y, size, _, bold in texts(sheet)}
    for n, line in enumerate(lines):
        assert found[line] == (LEFT, pytest.approx(first + n * FOOTER_LINE, abs=0.01), 2.8, False)
    assert found["page 2: the bracket"] == (LEFT, pytest.approx(top - 2, abs=0.01), 2.8, True)
    rule = shapes(sheet.svg("", ""))[0].lines[0]
    assert rule == pytest.approx((LEFT, first - 3.5, RIGHT, first - 3.5), abs=0.01)
    assert len(texts(footed())) == len(texts(sheet)) - 1
    assert foot_height(survey, lay_out(survey), RIGHT - LEFT) == pytest.approx(14.5 + FOOTER_LINE * (len(lines) + 1))


def test_the_block_names_survey_and_job_and_spreads_its_cells() -> None:
    sheet = footed()
    top = LOW - 12.5
    found = {text: (x, y, size, anchor, bold) for text, x, y, size, anchor, bold in texts(sheet)}
    goes_first = "The manufacturer's instructions and local codes go first. Check on site before drilling."
    assert found[goes_first] == (LEFT + 2.5, pytest.approx(top + 4.6), 3.3, "start", True)
    assert found["Survey alder-4m, job J-1048"] == (RIGHT - 2.5, pytest.approx(top + 4.6), 3.3, "end", True)
    assert "Survey alder-4m" in {text for text, *_ in texts(footed(Title()))}
    assert found["one"][:2] == pytest.approx((LEFT + 2.5, top + 10.4))
    ends = [box.right for box in sheet.taken[-3:]]
    assert ends[-1] == pytest.approx(RIGHT - 2.5)
    starts = [box.left for box in sheet.taken[-3:]]
    assert starts[1] - ends[0] == pytest.approx(starts[2] - ends[1])


def test_where_cells_have_no_room_the_rule_on_figures_goes_first() -> None:
    wide, figures = "m" * 38, "Figures go before measuring off"
    crowded = {text for text, *_ in texts(footed(cells=(wide, figures, wide)))}
    assert figures not in crowded
    assert wide in crowded
    assert figures in {text for text, *_ in texts(footed(cells=("one", figures, "two")))}


@pytest.mark.parametrize(
    ("more", "lines"), [(" de ahí", 1), (" hacia la derecha de la esquina izquierda de la casa" * 3, 2)]
)
def test_the_zero_stands_whole_in_a_language_of_more_words(more: str, lines: int) -> None:
    sheet, zero = DrawingSheet(279.4, 215.9), datum_words(second_survey(), IMPERIAL)
    said = Measures("imperial", lambda text: text + more if text == zero else text)
    head(sheet, second_survey(), JOB, Pages(2, 3), "", False, said)
    drawn = [t for t in texts(sheet) if t[2] > 20 and t[5]]
    assert " ".join(t[0] for t in drawn) == zero + more
    assert len(drawn) == lines
    assert all(t[2] + 0.6 <= 9 + 16.8 for t in drawn)  # above what follows


def test_the_title_block_names_the_job_even_where_other_words_take_much_room() -> None:
    survey = second_survey()
    first = "Las instrucciones del fabricante y los códigos locales van primero. Revise en el lugar antes de taladrar."
    said = {"Survey": "Medición", "job": "trabajo", GOES_FIRST: first}
    for named, whose in (("birch-6", "birch-6, trabajo J-1048"), ("birch-6" * 9, "trabajo J-1048")):
        sheet = DrawingSheet(279.4, 215.9)
        of_it = replace(survey, id=named)
        foot(sheet, of_it, lay_out(of_it), JOB, Pages(1, 2), ["one"], lambda text: said.get(text, text))
        assert [text for text, _, _, _, anchor, _ in texts(sheet) if anchor == "end"] == [whose]
