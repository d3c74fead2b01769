"""What a survey of the second form cannot say, each refused in one sentence that names its key."""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.errors import BadInput
from tests.surveys import ANCHOR_2, plain_survey, second_survey

STONE = {"kind": "concrete", "members": [], "member_width": None, "member_depth": None, "species": None, "cover": 0}
TIE = {"what": "hold-down", "pull_n": 9000, "source": "its maker's list"}


def holes(*downs: float, across: float = 0.0) -> list[dict[str, float]]:
    return [{"across": across, "down": down} for down in downs]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"wall": {"member_depth": None}},
         "wall.member_depth: must be the member's depth behind the cover (2×6: 139.7), is null"),
        ({"wall": {"species": None, "gravity": 0.5}},
         'wall.species: must be the wood\'s species group, "unknown" where nobody can say, is null'),
        ({"wall": {"gravity": 0.57}},
         "wall.gravity: must be near that of the species group (douglas-fir-larch: 0.5), is 0.57; or say that the"
         " species is unknown"),
        ({"anchor": ANCHOR_2}, "anchor: is for masonry and concrete; this wall is wood-studs: leave it null"),
        ({"wall": {"end_grain": True}},
         "wall.end_grain: can be true of rafters alone, whose cut ends show; this wall is wood-studs"),
        ({"wall": {"tie": TIE}}, "wall.tie: is for a rim board; this wall is wood-studs: leave it null"),
        ({"wall": STONE, "anchor": ANCHOR_2 | {"hole_depth": 59.5}},
         "anchor.hole_depth: must be the embedment (60) or more, is 59.5"),
        ({"awning": {"holes": holes(0, 42)}}, "awning.holes: must hold one hole for each of the 4 fasteners, holds 2"),
        ({"awning": {"holes": holes(0, 42, 84, 150)}},
         "awning.holes[3].down: must be less than the bracket's lever (150), is 150"),
        ({"awning": {"holes": [*holes(0, 42, 84), *holes(126, across=-60.5)]}},
         "awning.holes[3].across: must be on the bracket, 120 wide, is -60.5 off its middle"),
        ({"awning": {"holes": holes(1, 42, 84, 126)}},
         "awning.holes: must have a hole at the upper fasteners' height (down 0)"),
        ({"awning": {"holes": holes(0, 42, 84, 42.9)}}, "awning.holes[3]: must be another hole than awning.holes[1]"),
        ({"awning": {"holes": [*holes(0, 42, 84), *holes(0, across=0.9)]}},
         "awning.holes[3]: must be another hole than awning.holes[0]"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_sentence(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInput) as refused:
        second_survey(**changes)
    assert str(refused.value) == says


@pytest.mark.parametrize(
    "changes",
    [
        {"wall": {"gravity": 0.56}},  # six hundredths from the group's are measured so
        {"wall": {"gravity": 0.44}},
        {"wall": {"gravity": 0.7, "species": "unknown"}},
        {"wall": {"kind": "rafters", "end_grain": True}},
        {"wall": {"kind": "rim-board", "members": [], "tie": TIE}},
        {"wall": STONE, "anchor": ANCHOR_2 | {"hole_depth": 60}},
        {"awning": {"holes": holes(0, 42, 84, 149.9)}},
        {"awning": {"holes": [*holes(0, 42, 84), *holes(126, across=60)]}},
        {"awning": {"holes": [*holes(0, 42, 84), *holes(84, across=1)]}},
        {"awning": {"holes": holes(0, 42, 84, 43)}},
    ],
)
def test_what_is_just_possible_is_taken(changes: dict[str, Any]) -> None:
    assert second_survey(**changes).is_second


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"awning": {"valance": 0}}, "awning.valance"),
        ({"wall": {"species": "unknown"}}, "wall.species"),
        ({"place": {"under": "private"}}, "place.under"),
        ({"anchor": {"name": "x", "tension_n": 1, "shear_n": 1, "source": "y", "edge": 50}}, "anchor.edge"),
    ],
)
def test_a_first_survey_has_no_key_of_the_second(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInput) as refused:
        plain_survey(**changes)
    assert str(refused.value) == f'{says}: is a key of "survey/2"; this survey says that it is "survey/1"'


def test_a_second_surveys_anchor_has_all_of_its_setting() -> None:
    bare = {key: value for key, value in ANCHOR_2.items() if key != "torque_nm"}
    with pytest.raises(BadInput) as refused:
        second_survey(wall=STONE, anchor=bare)
    assert str(refused.value) == 'anchor.torque_nm: is missing, and "survey/2" asks for it'
