from __future__ import annotations

from typing import Any

import pytest

from api.survey.compare import differences
from api.survey.fields import single_fields
from api.survey.form import fields_of, label_of, read_fields, sketch
from tests.surveys import second_survey

ANCHOR = {one.name for one in single_fields() if one.name.startswith("anchor.")}
PLAIN = fields_of(second_survey())


def faults(**changes: str) -> dict[str, str]:
    return read_fields({**PLAIN, **changes}, "x").faults


@pytest.mark.parametrize(
    "text", ["13' 1 1/2\"", "13-1-8", "13ft 1.5in", "157 1/2 in", "4000.5 mm", "400.05 cm", "13′ 1 ½″"]
)
def test_a_measure_is_understood_in_any_usual_way_and_shown_back(text: str) -> None:
    reading = read_fields({**PLAIN, "awning.width": text}, "x")
    assert reading.survey is not None
    assert reading.survey.awning.width == pytest.approx(4000.5)
    assert reading.understood["awning.width"] == "13' 1 1/2\" (4000.5 mm)"
    metric = read_fields({**PLAIN, "awning.width": text}, "x", "metric")
    assert metric.understood["awning.width"] == "4000.5 mm (13' 1 1/2\")"


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("awning.width", "13 ft 14 in", "14 inches after its feet"),
        ("awning.width", "99 ft", "Must be at most 65' 7 3/8\" (20000 mm), is 99' (30175 mm)."),
        ("awning.width", "0", "Must be more than 0\" (0 mm), is 0\" (0 mm)."),
        ("awning.bolts", "4.5", 'Must be a whole number, is "4.5".'),
        ("awning.bolts", "0", "Must be at least 1, is 0."),
        ("awning.pitch_deg", "steep", 'Must be a number such as 0.42, is "steep".'),
        ("awning.weight_kg", "heavy", '"heavy" is no weight; write it as 54 kg or 119 lb.'),
        ("wall.kind", "straw", "Is none of the choices; choose one of the list."),
        ("wall.species", "", "Must be the wood's species group"),
        ("wall.member_depth", "", "Must be the member's depth behind the cover"),
        ("wall.gravity", "0.42", "Must be near that of the species group (douglas-fir-larch: 0.5), is 0.42"),
        ("datum.name", "", "Not filled in yet."),
        ("awning.holes.1.down", "9 in", "Must be less than the bracket's lever"),
        ("band.right", "-1 ft", "Must be further right than left (0\" (0 mm)), is -1' (-305 mm)."),
        ("awning.arms.1", "1 ft", "Must be further right than the arm before it (1' 11 5/8\" (600 mm)), "
         "is 1' (305 mm)."),
    ],
)  # fmt: skip
def test_a_field_that_is_wrong_says_how_to_mend_it(name: str, text: str, words: str) -> None:
    found = faults(**{name: text})
    assert list(found) == [name]
    assert words in found[name]


def test_all_wrong_fields_are_told_at_once() -> None:
    assert set(faults(**{"awning.width": "x", "wall.cover": "y", "place.height": ""})) == {
        "awning.width", "wall.cover", "place.height",
    }  # fmt: skip


def test_empty_rows_are_none_and_faults_name_the_row_of_the_form() -> None:
    light = {"what": "light", "left": "2 ft", "right": "1 ft", "bottom": "8 ft", "top": "9 ft"}
    changes = {"obstacles.3.what": "", **{f"obstacles.7.{name}": text for name, text in light.items()}}
    assert list(faults(**changes)) == ["obstacles.7.right"]
    reading = read_fields({**PLAIN, **changes, "obstacles.7.right": "3 ft"}, "x")
    assert reading.survey is not None
    assert [obstacle.what for obstacle in reading.survey.obstacles] == ["light"]


def test_an_anchor_is_whole_or_none() -> None:
    assert read_fields(PLAIN, "x").document["anchor"] is None
    assert set(faults(**{"anchor.name": "sleeve"})) == ANCHOR - {"anchor.name"}


def test_an_empty_form_is_drawn_with_usual_values_that_are_named_and_never_saved() -> None:
    reading = read_fields({}, "x")
    survey, usual = sketch(reading)
    assert survey is not None
    assert reading.survey is None
    assert "width of the mounting bar" in usual
    assert set(reading.missing) >= {"awning.width", "place.height", "band.top", "wall.kind", "wind_class"}


def test_what_one_side_changed_is_chosen_and_what_both_changed_is_asked() -> None:
    mine = {**PLAIN, "band.right": "19 ft", "place.height": "10 ft", "wall.cover": "1 in"}
    theirs = {**PLAIN, "band.top": "11 ft", "place.height": "9 ft", "wall.cover": "2.54 cm"}
    found = {one.name: one.pick for one in differences(mine, theirs, PLAIN)}
    assert found == {"band.right": "mine", "band.top": "theirs", "place.height": ""}
    assert all(one.pick == "" for one in differences(mine, theirs, {}))


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("awning.width", "Width of the mounting bar"), ("obstacles.1.left", "Obstacle 2, left"),
        ("wall.members.0", "Member 1, center"), ("surveyed_on", "Measured on"), ("", "The survey"),
    ],
)  # fmt: skip
def test_fields_are_called_by_their_labels(name: str, label: str) -> None:
    assert label_of(name) == label


def test_words_that_no_file_can_hold_are_refused() -> None:
    changes: dict[str, Any] = {
        "anchor.source": "a\x00b",
        "anchor.name": "x" * 201,
        "anchor.tension_n": "1 kN",
        "anchor.shear_n": "1 kN",
    }
    missing = ANCHOR - set(changes)
    assert set(faults(**changes)) - missing == {"anchor.source", "anchor.name"}
