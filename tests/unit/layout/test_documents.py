from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from scheduler.documents import decode, encode
from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Layout, read_survey, survey_from_data
from tests.surveys import PLAIN, plain_survey

LIGHT = {"what": "light", "left": 5, "right": 6, "bottom": 0, "top": 9}


def _with(path: str, value: Any) -> dict[str, Any]:
    data = copy.deepcopy(PLAIN)
    *parents, last = path.split(".")
    part: Any = data
    for name in parents:
        part = part[int(name)] if name.isdigit() else part[name]
    part[last] = value
    return data


def test_a_survey_is_read_and_written_without_loss() -> None:
    survey = plain_survey()
    assert read_survey(encode(survey)) == survey
    assert read_survey(json.dumps(PLAIN)) == survey


def test_a_survey_in_which_nothing_can_be_read_is_called_a_survey() -> None:
    with pytest.raises(BadInput, match="this survey holds a key that is no text"):
        survey_from_data({(600, 3400): "arms"})
    with pytest.raises(BadInput, match="this survey file is not valid JSON"):
        read_survey("600 mm")


def test_a_layout_is_read_and_written_without_loss() -> None:
    layout = lay_out(plain_survey())
    assert decode(encode(layout), Layout, "layout file") == layout


@pytest.mark.parametrize(
    ("path", "value", "where", "words"),
    [
        ("awning.width", -4000, "awning.width", "more than 0"),
        ("awning.width", float("nan"), "awning.width", "finite"),
        ("awning.width", 4_000_000, "awning.width", "at most 20000"),
        ("awning.width", "4 m", "awning.width", "a number"),
        ("awning.width", True, "awning.width", "a number"),
        ("awning.arms", [600, 4001], "awning.arms[1]", "on the bar"),
        ("awning.arms", [3400, 600], "awning.arms[1]", "further right"),
        ("awning.arms", [600, 600], "awning.arms[1]", "further right"),
        ("awning.arms", [600], "awning.arms", "two arm centers"),
        ("awning.arms", [-1, 600], "awning.arms[0]", "at least 0"),
        ("awning.bracket_width", 5000, "awning.bracket_width", "width"),
        ("awning.bracket_lever", 0, "awning.bracket_lever", "more than 0"),
        ("awning.bolts", 2.5, "awning.bolts", "whole number"),
        ("awning.pitch_deg", 90, "awning.pitch_deg", "at most 85"),
        ("awning.motor", "top", "awning.motor", "must be"),
        ("awning.colour", "rust", "awning.colour", "not a key"),
        ("wall.kind", "straw", "wall.kind", "must be"),
        ("wall.gravity", 0, "wall.gravity", "specific gravity"),
        ("wall.gravity", None, "wall.gravity", "specific gravity"),
        ("wall.member_width", 0, "wall.member_width", "width"),
        ("wall.members", [0, float("inf")], "wall.members[1]", "finite"),
        ("band.right", -1, "band.right", "further right"),
        ("band.top", 2700, "band.top", "above bottom"),
        ("obstacles", [{**LIGHT, "right": 5}], "obstacles[0].right", "further right"),
        ("obstacles", [{**LIGHT, "bottom": 9}], "obstacles[0].top", "above bottom"),
        ("obstacles", [{**LIGHT, "what": ""}], "obstacles[0].what", "empty"),
        ("doors.0.right", 1500, "doors[0].right", "further right"),
        ("doors.0.top", 0, "doors[0].top", "more than 0"),
        ("place.slide", -1, "place.slide", "at least 0"),
        ("wind_class", 4, "wind_class", "at most 3"),
        ("anchor", {"name": "x", "tension_n": 0, "shear_n": 1, "source": "y"}, "anchor.tension_n", "more than 0"),
        ("format", "survey/3", "format", "must be"),
        ("format", "survey/2", "datum", "is missing"),
        ("built", 1950, "built", "is a key of"),
    ],
)  # fmt: skip
def test_an_impossible_measure_is_refused_by_its_key(path: str, value: Any, where: str, words: str) -> None:
    with pytest.raises(BadInput) as refused:
        survey_from_data(_with(path, value))
    assert refused.value.where == where
    assert words in refused.value.problem


def test_a_missing_key_is_named() -> None:
    data = copy.deepcopy(PLAIN)
    del data["place"]["height"]
    with pytest.raises(BadInput, match=r"place\.height: is missing"):
        survey_from_data(data)


def test_a_masonry_wall_needs_no_wood() -> None:
    survey = plain_survey(wall={"kind": "concrete", "members": []})
    data = json.loads(encode(survey))
    data["wall"]["gravity"] = data["wall"]["member_width"] = None
    assert survey_from_data(data).wall.gravity is None


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("awning.arms", [600], "awning.arms: must hold two arm centers or more, holds 1"),
        ("awning.arms", [100 * n for n in range(1, 8)], "awning.arms: must hold 6 arm centers or fewer, holds 7"),
        ("awning.arms", [600, 4000.5], "awning.arms[1]: must be on the bar, from 0 to its width (4000), is 4000.5"),
        ("awning.arms", [600, 600], "awning.arms[1]: must be further right than the arm before it (600), is 600"),
        ("awning.arm_half", 4001, "awning.arm_half: must not be more than the awning's width (4000), is 4001"),
        (
            "awning.bracket_width",
            4001,
            "awning.bracket_width: must not be more than the awning's width (4000), is 4001",
        ),
        ("wall.gravity", None, "wall.gravity: must be the wood's specific gravity (spruce-pine-fir 0.42), is None"),
        ("wall.member_width", None, "wall.member_width: must be the members' width along the wall, is None"),
        ("band.right", 0, "band.right: must be further right than left (0), is 0"),
        ("band.top", 2700, "band.top: must be above bottom (2700), is 2700"),
        ("obstacles", [LIGHT, {**LIGHT, "right": 4}], "obstacles[1].right: must be further right than left (5), is 4"),
        ("obstacles", [{**LIGHT, "bottom": 10}], "obstacles[0].top: must be above bottom (10), is 9"),
        ("doors.0.right", 1500, "doors[0].right: must be further right than left (1500), is 1500"),
    ],
)
def test_what_is_impossible_together_is_said_in_one_sentence(path: str, value: Any, says: str) -> None:
    with pytest.raises(BadInput) as refused:
        survey_from_data(_with(path, value))
    assert str(refused.value) == says


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("awning.arms", [0, 4000]),  # at both ends of the bar
        ("awning.arms", [100 * n for n in range(1, 7)]),
        ("awning.arm_half", 4000),
        ("awning.bracket_width", 4000),
        ("band.right", 0.1),
        ("band.top", 2700.1),
        ("obstacles", [{**LIGHT, "right": 5.1}]),
    ],
)
def test_what_is_just_possible_is_taken(path: str, value: Any) -> None:
    survey_from_data(_with(path, value))


def test_wood_that_carries_anywhere_needs_no_members_width() -> None:
    data = _with("wall.member_width", None)
    data["wall"]["kind"] = "rim-board"
    assert survey_from_data(data).wall.member_width is None
    data["wall"]["gravity"] = None
    with pytest.raises(BadInput, match="specific gravity"):
        survey_from_data(data)


def test_a_file_that_is_no_json_is_named_for_what_it_should_be() -> None:
    with pytest.raises(BadInput) as refused:
        read_survey(b"{")
    assert str(refused.value).startswith("this survey file is not valid JSON: ")
