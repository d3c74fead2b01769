"""Findings on the sheet: in full and in order as far as there is room, each begun by its mark and its word."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from scheduler.layout.drawing import findings
from scheduler.layout.drawing.cautions import ranked
from scheduler.layout.drawing.findings import SIZE, Set, fill
from scheduler.layout.drawing.page import draw_svg
from scheduler.layout.drawing.paper.lettering import width_of, wrap
from scheduler.layout.drawing.paper.sheet import Box, DrawingSheet
from tests.drawn import overlapping, written
from tests.shapes import GRAPHITE, rings, shapes
from tests.surveys import random_survey

LINE = 1.24 * SIZE
INDENT = 4.0
WIDE = 76.0


def column(lines: float, left: float = 10.0) -> Box:
    """A column with room for so many lines: the first base line lies a font size below its top."""
    return Box(left, 20.0, left + WIDE, 20.0 + SIZE + (lines - 1) * LINE + 0.3 * SIZE)


def told(lines: int, name: str, level: Any = "stop") -> Finding:
    """A finding that fills so many lines of a column: no two of its words go into one."""
    return Finding(level, name, " ".join([*["m" * 16] * (lines - 1), f"{'m' * 8}-{name}."]))


def ends(done: Set, *given: Finding) -> list[str]:
    """The names of the findings that are set to their ends."""
    text = " ".join(line.text for line in done.lines)
    return [finding.code for finding in given if f"-{finding.code}." in text]


def test_stops_come_first_and_each_level_keeps_its_order() -> None:
    given = [told(1, "a", "note"), told(1, "b", "caution"), told(1, "c"), told(1, "d", "caution"), told(1, "e")]
    assert [finding.code for finding in ranked(given)] == ["c", "e", "b", "d", "a"]


def test_findings_follow_each_other_down_the_column() -> None:
    one, two = told(2, "one"), told(3, "two")
    done = fill([one, two], [column(10)])
    assert done.left_over == ""
    assert " ".join(line.text for line in done.lines) == f"{one.text} {two.text}"
    assert [line.first for line in done.lines] == [True, False, True, False, False]
    assert done.lines[0].y == pytest.approx(20 + SIZE)
    steps = [b.y - a.y for a, b in pairwise(done.lines)]
    assert steps == pytest.approx([LINE, 1.28 * LINE, LINE, LINE])  # a little more between two findings
    word = width_of("Stop:", SIZE, True) + 1
    assert [line.x for line in done.lines] == pytest.approx([10 + INDENT + word * first for first in (1, 0, 1, 0, 0)])


def test_a_finding_stays_whole_where_a_later_column_can_take_it_whole() -> None:
    one, two, three = told(4, "one"), told(3, "two", "caution"), told(1, "three", "caution")
    done = fill([one, two, three], [column(3), column(9, left=100.0)])
    assert done.left_over == ""
    assert {line.x for line in done.lines if line.level == "stop" and not line.first} == {100 + INDENT}
    assert ends(done, one, two, three) == ["one", "two", "three"]
    assert next(line for line in done.lines if "three" in line.text).x < 100  # the short one takes what room is left


def test_no_stop_is_left_out_for_the_sake_of_keeping_it_whole() -> None:
    long = told(7, "long")
    done = fill([long, told(2, "two", "caution")], [column(5), column(5, left=100.0)])
    assert "long" in ends(done, long)


def test_a_finding_runs_on_into_the_next_column() -> None:
    long = told(8, "long")
    done = fill([long], [column(5), column(5, left=100.0)])
    assert done.left_over == ""
    assert [line.x > 100 for line in done.lines] == [False] * 5 + [True] * 3
    assert done.lines[5].y == pytest.approx(20 + SIZE)
    assert " ".join(line.text for line in done.lines) == long.text


def test_a_finding_that_runs_on_says_so_at_the_head_of_the_next_column() -> None:
    """Else its second half reads as a sentence without a beginning, and nobody knows what level it is of."""
    sheet = DrawingSheet(250, 100)
    findings.draw(sheet, fill([told(8, "long"), told(1, "two")], [column(5), column(6, left=100.0)]))
    texts = written(sheet.svg("t", "d"))
    said = [text.text for text in texts]
    assert said[0] == "Stop:"
    assert said[6:8] == ["Stop, continued:", said[7]]
    lead, goes_on = texts[6], texts[7]
    assert lead.box[0] >= 100
    assert lead.box[2] < goes_on.box[0]
    assert said.count("Stop:") == 2  # as many as there are stops
    assert overlapping(texts) == []
    assert len(shapes(sheet.svg("t", "d"))) == 2  # one mark each


def test_a_finding_runs_on_rather_than_to_the_next_page_where_two_columns_have_room() -> None:
    """Six lines, with four free at the foot of one column and three of another: white space is no help to a crew."""
    given = [told(5, "one"), told(6, "two"), told(6, "three", "caution")]
    done = fill(given, [column(10), column(10, left=100.0)])
    assert done.left_over == ""
    assert ends(done, *given) == ["one", "two", "three"]
    (goes_on,) = (line for line in done.lines if line.continued)
    assert (goes_on.x > 100, goes_on.y) == (True, pytest.approx(20 + SIZE))  # at the head, before what stands there


def test_what_is_left_out_is_named_at_the_foot_of_the_column_that_holds_no_more() -> None:
    """The last column would hold the second but for the statement; the first has a line free that holds no other."""
    given = [told(4, "one"), told(6, "two"), told(30, "three")]
    columns = [column(6), column(6.3, left=100.0)]
    done = fill(given, columns)
    assert ends(done, *given) == ["one", "two"]
    (more,) = (line for line in done.lines if line.level == "more")
    assert more.x < 100


def test_only_a_stop_runs_through_three_columns() -> None:
    columns = [column(5), column(5, left=100.0), column(9, left=200.0)]
    for level, here in (("stop", ["long"]), ("caution", [])):
        assert ends(fill([long := told(17, "long", level)], columns), long) == here


def test_who_comes_after_takes_no_room_that_one_before_could_have() -> None:
    given = [told(9, "long", "caution"), told(4, "one", "caution"), told(4, "two", "caution")]
    done = fill(given, [column(12)])
    assert ends(done, *given) == ["long"]
    given = [told(9, "long"), told(4, "one"), told(4, "two")]  # of stops as many as there is room for
    done = fill(given, [column(12)])
    assert ends(done, *given) == ["one", "two"]


def test_no_line_goes_on_alone() -> None:
    """Six lines, of which the column holds five: two go over, as nobody finds a last word by itself."""
    done = fill([told(6, "six")], [column(5), column(5, left=100.0)])
    assert [line.x > 100 for line in done.lines] == [False] * 4 + [True] * 2


@pytest.mark.parametrize(("lines", "beside", "torn"), [(7.3, 3, True), (6.3, 9, False)])
def test_fewer_than_three_lines_of_a_finding_do_not_stand_at_the_foot(lines: float, beside: float, torn: bool) -> None:
    """Four lines are taken; of the next finding three or more may stay, else it begins in the next column."""
    done = fill([told(4, "one"), told(5, "two")], [column(lines), column(beside, left=100.0)])
    assert done.left_over == ""
    assert sum(line.x < 100 for line in done.lines) == (7 if torn else 4)


def test_a_short_finding_of_two_lines_may_stand_at_the_foot() -> None:
    done = fill([told(4, "one"), told(2, "two")], [column(6.3), column(9, left=100.0)])
    assert all(line.x < 100 for line in done.lines)


def test_what_has_no_room_is_named_and_a_shorter_one_takes_its_place() -> None:
    first, long, short = told(2, "first"), told(30, "long-one"), told(2, "short")
    done = fill([first, long, short], [column(12)])
    assert ends(done, first, long, short) == ["first", "short"]
    assert done.left_over == "No room here, so on the next page: 1 stop (long one)."
    more = [line for line in done.lines if line.level == "more"]
    assert " ".join(line.text for line in more) == done.left_over
    assert [line.first for line in more] == [True] + [False] * (len(more) - 1)
    assert more[-1].y <= column(12).bottom
    assert more[-1].y > column(12).bottom - LINE
    others = [line for line in done.lines if line.level != "more"]
    assert more[0].y - others[-1].y >= LINE


@pytest.mark.parametrize(
    ("levels", "counts"),
    [
        (["stop", "stop", "caution"], "2 stops and 1 caution (n0, n1, n2)"),
        (["caution", "note", "note"], "1 caution and 2 notes (n0, n1, n2)"),
        (["note"], "1 note (n0)"),
    ],
)
def test_what_is_left_out_is_counted_by_level(levels: list[Any], counts: str) -> None:
    given = [told(40, f"n{k}", level) for k, level in enumerate(levels)]
    assert fill(given, [column(12)]).left_over == f"No room here, so on the next page: {counts}."


def test_the_statement_on_the_rest_stays_within_its_four_lines() -> None:
    given = [told(40, f"a-thing-with-a-rather-long-name-{k}") for k in range(30)]
    more = [line.text for line in fill(given, [column(12)]).lines]
    assert len(more) <= 4
    said = " ".join(more)
    assert said.startswith("No room here, so on the next page: 30 stops (a thing with a rather long name 0")
    named = said.count("a thing with")
    assert said.endswith(f" and {30 - named} more).")
    assert 0 < named < 30
    names = [f"a thing with a rather long name {k}" for k in range(named + 1)]
    longer = said.partition("(")[0] + f"({', '.join(names)} and {29 - named} more)."
    assert len(wrap(longer, SIZE, WIDE - INDENT)) > 4  # as many are named as go in


def test_the_rest_is_stated_at_the_foot_of_the_last_column() -> None:
    columns = [column(6), column(6, left=100.0), column(9, left=200.0)]
    given = [told(5, "one"), told(5, "two"), told(30, "three")]
    done = fill(given, columns)
    assert ends(done, *given) == ["one", "two"]
    more = [line for line in done.lines if line.level == "more"]
    assert all(line.x == 200 + INDENT for line in more)
    assert columns[2].bottom - LINE < more[-1].y <= columns[2].bottom
    last = told(5, "four")  # the last column keeps four of its nine lines for the statement
    done = fill([*given, last], columns)
    assert ends(done, *given, last) == ["one", "two", "four"]
    assert [line.x > 200 for line in done.lines if line.level == "stop"] == [False] * 10 + [True] * 5


def test_only_as_many_lines_are_kept_for_the_statement_as_it_takes() -> None:
    given = [told(8, "one"), told(8, "two")]
    done = fill(given, [column(10)])  # one line says what is left out: a column of ten has room for eight beside it
    assert ends(done, *given) == ["one"]


def test_what_has_no_room_is_called_by_words_that_a_crew_knows() -> None:
    given = [told(40, "outer-inside"), told(40, "run-off"), told(40, "old-paint")]
    said = " ".join(line.text for line in fill(given, [column(12)]).lines)
    assert "(outer bracket inside its arm, rain on the cloth, old paint)" in said


def drawn(level: str, levels: Sequence[Any]) -> str:
    sheet = DrawingSheet(150, 100)
    done = fill([told(1, f"n{k}", each) for k, each in enumerate(levels)], [column(12)])
    findings.draw(sheet, done)
    return sheet.svg("t", level)


def test_a_stop_begins_with_a_full_square() -> None:
    svg = drawn("stop", ["stop"])
    (square,) = shapes(svg)
    assert square.is_box
    assert square.fill == GRAPHITE
    assert square.box == pytest.approx((10, 20 + SIZE - 2.3, 12.4, 20 + SIZE + 0.1), abs=0.01)
    assert ">Stop:</text>" in svg


def test_a_caution_begins_with_a_triangle_round_an_exclamation_mark() -> None:
    svg = drawn("caution", ["caution"])
    triangle, *mark = shapes(svg)
    assert triangle.fill == "none"
    assert len(triangle.lines) == 3
    left, top, right, bottom = triangle.box
    assert (left, bottom) == pytest.approx((10, 20 + SIZE), abs=0.01)
    tip = min(triangle.lines, key=lambda line: line[1])
    assert {tip[0], tip[2]} & {(left + right) / 2} or tip[1] == top
    assert len(mark) == 2
    for stroke in mark:
        assert stroke.box[0] == stroke.box[2] == pytest.approx((left + right) / 2, abs=0.01)
        assert top < stroke.box[1] < stroke.box[3] < bottom
    assert mark[0].box[3] < mark[1].box[1]  # the stroke over its dot
    assert ">Caution:</text>" in svg


def test_a_note_begins_with_a_dot_and_the_rest_with_an_arrow() -> None:
    svg = drawn("note", ["note"])
    (dot,) = rings(svg)
    assert (dot.x, dot.y) == pytest.approx((11.2, 20 + SIZE - 0.95), abs=0.01)
    assert dot.radius < 0.6
    assert shapes(svg) == []
    assert ">Note:</text>" in svg
    sheet = DrawingSheet(150, 100)
    findings.draw(sheet, fill([told(40, "long")], [column(12)]))
    (arrow,) = shapes(sheet.svg("t", "d"))
    shaft, *head = arrow.lines
    assert shaft[1] == shaft[3]
    assert shaft[2] - shaft[0] == pytest.approx(2.4)
    assert shaft[0] == 10
    for stroke in head:
        assert (shaft[2], shaft[1]) in ((stroke[0], stroke[1]), pytest.approx((stroke[2], stroke[3]), abs=0.01))
        assert min(stroke[0], stroke[2]) == pytest.approx(shaft[2] - 0.9)
    assert "Stop:" not in sheet.svg("t", "d")


def test_findings_that_find_room_after_all_are_drawn() -> None:
    """Set in a shorter column they run on in another way, in which all of them find room: nothing stands elsewhere."""
    survey = random_survey(random.Random(120))
    svg = draw_svg(survey, lay_out(survey), paper="letter")
    assert "No room here" not in svg
