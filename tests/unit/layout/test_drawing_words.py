"""The words and figures of the wall drawing, part by part: what a carpenter reads, what is read out to one."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding, Layout
from scheduler.layout.drawing import describe, draw_svg
from scheduler.layout.drawing.paper.measures import Measures, Units
from scheduler.layout.drawing.schedule import hole
from tests.drawn import written
from tests.surveys import plain_survey

CASE = "self weight and service wind class 2 down, open"
ANCHOR = {"name": "sleeve anchor 1/2 in", "tension_n": 9000, "shear_n": 9000, "source": "report 7"}
CONCRETE: dict[str, Any] = {"wall": {"kind": "concrete", "members": []}}
LIGHT = {"what": "light", "left": 3000, "right": 3150, "bottom": 2500, "top": 2600}
USE = [
    "Use: share of the fasteners' allowable load, in the load",
    "case that asks most: A self weight and service wind",
]


def bare(**changes: Any) -> Layout:
    """The layout without its findings, so that all else has room."""
    return msgspec.structs.replace(lay_out(plain_survey(**changes)), findings=())


def texts(layout: Layout | None = None, units: Units = "metric", **changes: Any) -> list[str]:
    """The texts of a drawing in the order in which they are written."""
    survey = plain_survey(**changes)
    return [text.text for text in written(draw_svg(survey, layout or bare(**changes), units=units))]


def between(found: list[str], first: str, after: str) -> list[str]:
    return found[found.index(first) : found.index(after)]


# Head and title block.


@pytest.mark.parametrize(
    ("levels", "head"),
    [
        (("stop", "caution"), "STOP: do not drill. 1 thing to settle first"),
        (("stop", "note", "stop"), "STOP: do not drill. 2 things to settle first"),
        (("caution", "note"), "1 caution of this wall to settle before drilling"),
        (("caution", "caution"), "2 cautions of this wall to settle before drilling"),
        (("note",), "Nothing special to this wall: see the footer"),
    ],
)
def test_the_head_says_first_whether_one_may_drill(levels: tuple[Any, ...], head: str) -> None:
    findings = tuple(Finding(level, f"code-{n}", f"Thing {n}.") for n, level in enumerate(levels))
    found = texts(msgspec.structs.replace(bare(), findings=findings))
    assert found[:2] == [head, "Wall drawing alder-4m"]


@pytest.mark.parametrize(
    ("units", "block"),
    [
        ("metric", ["Elevation 1 : 20, a stretch left out at the break lines", "Side view 1 : 100",
                    "Figures go before measuring off", "mm; small: ft, in and 1/16", "Rules layout/1"]),
        ("imperial", ["Elevation 1 : 24 (1/2 in = 1 ft), a stretch left out at the break lines",
                      "Side view 1 : 96 (1/8 in = 1 ft)", "ft, in and 1/16; small: mm", "Rules layout/1"]),
    ],
)  # fmt: skip
def test_the_title_block(units: Units, block: list[str]) -> None:
    goes_first = "The manufacturer's instructions and local codes go first. Check on site before drilling."
    found = texts(units=units)
    assert found[found.index(goes_first) :] == [goes_first, "Survey alder-4m", *block]


def test_the_title_block_of_a_wall_shown_whole_speaks_of_no_break() -> None:
    wide = {"awning": {"width": 12000, "arms": [1000, 11000]}, "band": {"right": 13000}, **CONCRETE}
    (line,) = [text for text in texts(**wide) if text.startswith("Elevation")]
    assert re.fullmatch(r"Elevation 1 : \d+", line)


def test_a_long_survey_id_is_cut_where_it_has_no_more_room() -> None:
    found = texts(id="long " * 30)
    assert found[1].startswith("Wall drawing long long")
    assert found[1].endswith("…")
    (name,) = [text for text in found if text.startswith("Survey long")]
    assert name.endswith("…")


# Scales and measures.


def test_scales_by_their_usual_names() -> None:
    imperial, metric = Measures("imperial"), Measures("metric")
    assert [imperial.scale_name(n) for n in (8, 24, 192, 250)] == [
        "1 : 8 (1 1/2 in = 1 ft)", "1 : 24 (1/2 in = 1 ft)", "1 : 192 (1/16 in = 1 ft)", "1 : 250",
    ]  # fmt: skip
    assert metric.scale_name(24) == "1 : 24"
    assert metric.scales()[:4] == (10, 15, 20, 25)
    assert imperial.scales()[-5:] == metric.scales()[-5:] == (250, 500, 1000, 2500, 5000)
    assert (imperial.first(914.4), imperial.other(914.4)) == ("3'", "914 mm")
    assert (metric.first(914.4), metric.other(914.4)) == ("914", "3'")


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (6.35, "6.3"),
        (9.525, "9.5"),
        (12.0, "12"),
        (19.94, "19.9"),
        (20.4, "20"),
        (0.02, "0"),
        (-0.04, "0"),
        (-6.5, "-6.5"),
        (812.8, "813"),
    ],
)
def test_holes_are_given_to_a_tenth_of_a_millimetre_and_walls_to_one(length: float, text: str) -> None:
    assert Measures("metric").first(length) == text


# Side view.


@pytest.mark.parametrize(
    ("units", "values"),
    [
        ("metric", ["3000", "9' 10 1/8\"", "726", "2' 4 9/16\"", "2911", "9' 6 5/8\"", "2094", "6' 10 7/16\"", "2900",
                    "9' 6 3/16\""]),
        ("imperial", ["9' 10 1/8\"", "3000 mm", "2' 4 9/16\"", "726 mm", "9' 6 5/8\"", "2911 mm", "6' 10 7/16\"",
                      "2094 mm", "9' 6 3/16\"", "2900 mm"]),
    ],
)  # fmt: skip
def test_the_values_beside_the_side_view(units: Units, values: list[str]) -> None:
    rows = [
        "projection, along the cloth",
        "drop at that pitch",
        "reach from the wall",
        "headroom, no valance",
        "chalk line height",
    ]
    wanted = [word for n, row in enumerate(rows) for word in (row, values[2 * n], values[2 * n + 1])]
    found = between(texts(units=units), "Side view, awning open", "Drill schedule")
    assert found == ["Side view, awning open", *wanted, "pitch 14°", "drop", "headroom", "reach"]


def test_no_headroom_is_said_in_words() -> None:
    found = texts(awning={"projection": 10000, "pitch_deg": 60})
    at = found.index("headroom")
    assert found[at : at + 3] == ["headroom", "none", "chalk line height"]


# Drill schedule.

ROWS = [
    ["1", "813", "3", "6.3 mm", "108 mm", "91 % A"],
    ["2", "2032", "6", "6.3 mm", "108 mm", "20 % A"],
    ["3", "2845", "8", "6.3 mm", "108 mm", "36 % A"],
    ["4", "4064", "11", "6.3 mm", "108 mm", "82 % A"],
]
WORDS = ["Each bracket: 4 × lag 3/8 x 4-1/2 in. Pilot 6.3 mm for",
         "the thread, 108 mm deep from the wall's face; 9.5 mm",
         "for the shank, 38 mm deep; hold in the wood 77 mm", '(3") without the tip.']  # fmt: skip
FIRST = "The manufacturer's instructions and local codes go first. Check on site before drilling."


def schedule(found: list[str]) -> list[str]:
    after = next(text for text in found if text.startswith("Bolt pattern"))
    return between(found, "Drill schedule", after)[1:]


def test_the_schedule_of_lag_screws() -> None:
    head = ["no.", "from zero", "stud", "pilot", "depth", "use"]
    assert schedule(texts()) == [*head, *(cell for row in ROWS for cell in row), *WORDS, *USE, "class 2 down, open."]


def test_the_schedule_in_inches() -> None:
    found = schedule(texts(units="imperial"))
    assert found[6:12] == ["1", "2' 8\"", "3", '1/4"', '4 1/4"', "91 % A"]
    assert " ".join(found[30:34]) == (
        'Each bracket: 4 × lag 3/8 x 4-1/2 in. Pilot 1/4" for the thread, 4 1/4" deep from the wall\'s face; 3/8"'
        " for the"
        ' shank, 1 1/2" deep; hold in the wood 3" (77 mm) without the tip.'
    )


def test_the_schedule_of_an_anchor_of_the_first_form_has_no_hole_and_the_sheet_stops() -> None:
    assert texts(**CONCRETE, anchor=ANCHOR)[0] == "STOP: do not drill. 1 thing to settle first"
    assert schedule(texts(**CONCRETE, anchor=ANCHOR)) == [
        "no.", "from zero", "from left end", "use", "1", "700", "300", "25 % A", "2", "1780", "1380", "15 % A",
        "3", "2860", "2460", "5 % A", "4", "3940", "3540", "32 % A",
        "Each bracket: 4 × sleeve anchor 1/2 in. No hole is", "known: the survey lacks the numbers of the anchor's",
        "report, so nothing is drilled.",
        *USE, "class 2 down, open.",
    ]  # fmt: skip
    found = schedule(texts(**CONCRETE))
    assert found[4:8] == ["1", "700", "300", "unknown A"]
    assert "No fastener is named: see the stops." in found


def test_the_hole_as_a_job_packet_gives_it() -> None:
    anchored, screwed = (bare(**changes).fastener for changes in (CONCRETE | {"anchor": ANCHOR}, {}))
    assert anchored is not None
    assert screwed is not None
    for units, pilot, deep in (("metric", "6.3 mm", "108 mm"), ("imperial", '1/4"', '4 1/4"')):
        measures = Measures(units)  # type: ignore[arg-type]
        assert hole(screwed, measures) == (pilot, deep)  # 4-1/2 in less the plate, 1/4 in
        assert hole(anchored, measures) is None  # its own report says
    between = msgspec.structs.replace(screwed, pilot=17 / 64 * 25.4)
    assert (hole(between, Measures("imperial")) or ("", ""))[0] == '17/64"'  # drill bits come in 64ths


def test_a_measure_from_the_awnings_end_that_is_that_from_the_datum_stands_once() -> None:
    found = schedule(texts(**CONCRETE, anchor=ANCHOR, place={"left_end": 0, "slide": 0}))
    assert found[:6] == ["no.", "from zero", "use", "1", "300", "25 % A"]


@pytest.mark.parametrize(("left_end", "same"), [(0.4, True), (-0.4, True), (0.5, False), (-0.5, False)])
def test_half_a_millimetre_from_the_datum_is_another_place(left_end: float, same: bool) -> None:
    found = texts(**CONCRETE, anchor=ANCHOR, place={"left_end": left_end, "slide": 0}, band={"left": -10})
    assert ("from left end" in found) is not same
    assert any("which is the awning's left end" in text for text in found) is same


def test_the_schedule_of_a_wall_that_may_not_be_drilled() -> None:
    assert schedule(texts(wall={"members": []})) == [
        "No holes: no brackets, where 4 are required. Drill", "nothing before every stop is settled.",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "word"),
    [("wood-studs", "stud"), ("stucco-on-studs", "stud"), ("rafters", "rafter"), ("hollow-block", "cell")],
)
def test_members_go_by_their_own_word(kind: str, word: str) -> None:
    found = texts(wall={"kind": kind}, anchor=ANCHOR)
    assert word in schedule(found)
    assert f"{word} no." in found
    survey = plain_survey(wall={"kind": kind}, anchor=ANCHOR)
    assert f"on {word} 3 from the left" in describe(survey, lay_out(survey))[9]


def test_loads_of_another_rules_edition_are_shown_without_a_case() -> None:
    layout = bare()
    brackets = [
        msgspec.structs.replace(b, tension_n=b.tension_n + 100 * (n == 1)) for n, b in enumerate(layout.brackets)
    ]
    changed = msgspec.structs.replace(layout, brackets=tuple(brackets))
    found = schedule(texts(changed))
    assert (found[11], found[17], found[23]) == ("91 % A", "20 %", "36 % A")
    assert found[-2:] == ["class 2 down, open; without a letter: the case that the", "layout was computed with."]
    assert describe(plain_survey(), changed)[10].endswith("it takes 20 % of its fasteners' allowable load.")
    none = msgspec.structs.replace(layout, brackets=tuple(msgspec.structs.replace(b, tension_n=1.0) for b in brackets))
    assert " ".join(schedule(texts(none))[-3:]).endswith(
        "in the load case that asks most: without a letter: the case that the layout was computed with."
    )


def test_each_case_has_its_letter() -> None:
    # The arms load the outer brackets when it is open; the middle ones take most of a light awning that is closed.
    found = schedule(
        texts(awning={"projection": 1500, "weight_kg": 30}, wind_class=1, wall={"members": [812.8, 2032, 3251.2, 4064]})
    )
    uses = [word for word in found if word.endswith(("A", "B")) and "%" in word]
    assert [use[-1] for use in uses] == ["A", "B", "A", "A"]
    assert "A self weight and service wind class 1 down, open; B self weight, closed." in " ".join(found)


def test_more_than_nine_brackets_stand_in_two_columns() -> None:
    studs = [round(406.4 * n, 1) for n in range(33)]
    wide = {
        "awning": {"width": 12000, "arms": [600, 6000, 11400]},
        "band": {"right": 13000},
        "wall": {"members": studs},
    }
    found = schedule(texts(**wide))
    heads = [n for n, word in enumerate(found) if word == "no."]
    assert len(heads) == 2
    assert found[heads[0] : heads[0] + 6] == ["no.", "from zero", "stud", "pilot", "depth", "use"]  # in small letters
    columns = heads[1] - heads[0]
    assert columns % 6 == 0  # the head and five brackets in either
    width = columns // 6
    assert [found[heads[0] + width * k] for k in range(1, 6)] == ["1", "2", "3", "4", "5"]
    assert [found[heads[1] + width * k] for k in range(1, 6)] == ["6", "7", "8", "9", "10"]


# Running dimensions and names.


@pytest.mark.parametrize(
    ("changes", "title"),
    [
        ({}, "From the wall's zero (0) to each bracket's center and to the awning's ends"),
        ({"place": {"left_end": 0, "slide": 0}},
         "From the wall's zero (0), which is the awning's left end, to each bracket's center and to the awning's"
         " right end"),
        ({"wall": {"members": []}},
         "From the wall's zero (0) to the middle of each backing to be put in and to the awning's ends"),
        ({"wall": {"kind": "fascia"}}, "From the wall's zero (0) to the awning's ends"),
    ],
)  # fmt: skip
def test_what_the_running_dimension_measures(changes: dict[str, Any], title: str) -> None:
    found = texts(**changes)
    assert title in found
    lower = [text for text in found if text.startswith("From the awning's left end (0) to")]
    if changes.get("place") or changes.get("wall", {}).get("kind") == "fascia":
        assert lower == []
    else:
        what = "the middle of each backing to be put in" if changes else "each bracket's center"
        assert lower == [f"From the awning's left end (0) to {what} and to its right end"]


@pytest.mark.parametrize(
    ("left_end", "away"), [(40000, "39746 mm (130' 4 13/16\") left"), (-40000, "35746 mm (117' 3 5/16\") right")]
)
def test_a_datum_far_away_is_told_with_its_distance(left_end: float, away: str) -> None:
    """The picture goes beyond the awning by 5 % of its width, 200, and a margin of 54."""
    changes: dict[str, Any] = {
        "place": {"left_end": left_end}, "band": {"left": left_end - 1000, "right": left_end + 8000},
        "wall": {"members": [left_end + 406.4 * n for n in range(20)]},
    }  # fmt: skip
    found = texts(**changes)
    assert f"From the wall's zero, {away} of this picture, to each bracket's center and to the awning's ends" in found
    assert {f"{left_end}", f"{left_end + 4000}"} <= set(found)


def test_every_thing_on_the_wall_is_named_in_the_picture_or_beside_it() -> None:
    obstacles = [
        LIGHT,
        LIGHT | {"what": "V" * 70, "left": 2500, "right": 2600},
        LIGHT | {"what": "box", "left": -3000, "right": -2900},
    ]
    found = texts(obstacles=obstacles)
    shown = between(found, "stud no.", "Side view, awning open")
    key = f"a: {'V' * 70}, 2500 mm (8' 2 7/16\") to 2600 mm (8' 6 3/8\") from the zero"  # too long for the picture
    assert [word for word in shown if not word.isdigit()] == [
        "stud no.", "light", "a", "door", "arm 1", "arm 2", "clear band", "closed awning", key,
    ]  # fmt: skip
    told = " ".join(word for word in found if word != "Note:")
    assert (
        "On the wall: box, -3000 mm (-9' 10 1/8\") to -2900 mm (-9' 6 3/16\") from the zero, outside this picture."
    ) in told


def test_what_a_letter_stands_for_is_under_the_picture_however_much_else_the_sheet_has_to_say() -> None:
    long = LIGHT | {"what": "V" * 70, "left": 2500, "right": 2600}
    obstacles = [long, long | {"left": 3500, "right": 3600}]
    findings = tuple(Finding("stop", f"n{n}", "A stop that has a good deal to say of itself. " * 12) for n in range(9))
    found = texts(msgspec.structs.replace(bare(obstacles=obstacles), findings=findings), obstacles=obstacles)
    assert {"a", "b"} <= set(found)
    shown = " ".join(between(found, "stud no.", "Side view, awning open"))
    assert re.search(r"a: V{70}, 2500 mm .*; b: V{70}, 3500 mm .* from the zero", shown)


def test_things_after_one_outside_the_picture_are_named_too() -> None:
    away = LIGHT | {"what": "vent", "left": -3000, "right": -2900}
    long = LIGHT | {"what": "V" * 70, "left": 2500, "right": 2600}
    found = texts(obstacles=[away, long, long | {"left": 3500, "right": 3600}, LIGHT])
    assert {"a", "b", "light"} <= set(found)


def test_what_is_not_in_the_picture_is_told_before_the_other_notes() -> None:
    away = LIGHT | {"left": -3000, "right": -2900}
    findings = (Finding("note", "n", "Later."), Finding("caution", "c", "Mind it."))
    found = texts(msgspec.structs.replace(bare(obstacles=[away]), findings=findings), obstacles=[away])
    told = [
        n for start in ("Mind it.", "On the wall: light", "Later.") for n, t in enumerate(found) if t.startswith(start)
    ]
    assert told == sorted(told)
    assert len(told) == 3


def test_a_door_with_no_room_for_its_name_is_told_beside_the_picture() -> None:
    narrow = {"left": 1500, "right": 1560, "top": 2050, "swings_out": True}
    found = " ".join(word for word in texts(doors=[narrow, narrow | {"swings_out": False}]) if word != "Note:")
    assert "On the wall: door 1, swings out, 1500 mm (4' 11 1/16\")" in found
    assert "from the zero; door 2, 1500 mm (4' 11 1/16\") to 1560 mm (5' 1 7/16\") from the zero." in found


def test_what_does_not_fit_the_sheet_is_counted_and_named() -> None:
    """Thirty findings of six lines each: the sheet has room for some, and says how many are left and which."""
    long = "A finding that takes its time to come to its end, as some of them do. " * 4
    findings = [Finding("stop", f"stop-{n}", f"{long}End {n}.") for n in range(12)]
    findings += [Finding("caution", f"caution-{n}", f"{long}End {n}.") for n in range(2)]
    findings += [Finding("note", "old-paint", f"{long}End.")]
    found = " ".join(texts(msgspec.structs.replace(bare(), findings=tuple(findings))))
    stops = sum(f"End {n}." in found for n in range(12))
    assert 0 < stops < 12
    left = ", ".join(f"stop {n}" for n in range(stops, 12))
    counted = f"No room here, so on the next page: {12 - stops} stops and 2 cautions"
    rest = found[found.index("No room here") :]
    assert f"{12 - stops} stops, 2 cautions, 1 note." in found  # the foot says what stands on the later pages
    assert rest.startswith(f"{counted} ({left}, caution 0, caution 1).") or rest.startswith(f"{counted} ({left[:20]}")
