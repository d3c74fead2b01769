"""What must be on the van for a wall, as the crew reads it."""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.layout.documents import Fastener
from scheduler.layout.site.tools import Tool, ladder_sizes_ft, tools_for
from scheduler.layout.statics.fasteners import choose_fastener
from scheduler.layout.statics.loads import bracket_loads
from tests.surveys import ANCHOR_2, plain_survey, second_survey

ALWAYS = [
    "hidden-services detector", "tape measure", "level 4 ft", "chalk line", "caulking gun", "socket set and hex keys",
    "eye and hearing protection (2)",
]  # fmt: skip
MOTOR = ["extension cord with GFCI", "motor setting cable"]
LIFTED = ["stepladder 6 ft (2)", "material lift"]
DRILLED = [
    "hammer drill", "vacuum with dust shroud", "hole brush and pump", "torque wrench",
    "masonry bit as the anchor's report has it",
]  # fmt: skip
WOOD = ["drill driver", "stud finder and probe"]
BITS = ["drill bit 1/4 in, wood, long", "drill bit 3/8 in, wood, long", "impact socket 9/16 in"]


def tools(**changes: Any) -> list[str]:
    survey = plain_survey(**changes)
    held = choose_fastener(survey, bracket_loads(survey, [412.8, 1632.0, 2851.2, 3664.0]))
    return [str(tool) for tool in tools_for(survey, held.fastener)]


@pytest.mark.parametrize(
    ("kind", "between"),
    [
        ("wood-studs", [*WOOD, *BITS]),
        ("stucco-on-studs", [*WOOD, *BITS]),
        ("rafters", [*WOOD, *BITS]),
        ("concrete", DRILLED),
        ("solid-masonry", DRILLED),
        ("hollow-block", DRILLED),
        ("brick-veneer", DRILLED),
        ("fascia", []),
    ],
)
def test_tools_by_the_wall(kind: str, between: list[str]) -> None:
    assert tools(wall={"kind": kind}) == [*LIFTED, *between, *ALWAYS, *MOTOR]


def test_half_inch_screws_need_their_own_bits_and_socket() -> None:
    found = tools(awning={"weight_kg": 100})
    assert found[4:7] == ["drill bit 5/16 in, wood, long", "drill bit 1/2 in, wood, long", "impact socket 3/4 in"]


def test_no_motor_no_cable_and_a_light_awning_no_lift() -> None:
    found = tools(awning={"motor": None, "weight_kg": 25})
    assert found[:3] == ["stepladder 6 ft (2)", *WOOD]
    assert found[-len(ALWAYS) :] == ALWAYS
    assert "material lift" not in found


def test_shared_equipment_goes_by_its_id() -> None:
    survey = plain_survey(wall={"kind": "concrete"}, place={"height": 6096})
    shared = [tool for tool in tools_for(survey, None) if tool.equipment]
    assert shared == [
        Tool("extension ladder 28 ft", 2, "ladder-28"), Tool("material lift", 1, "material-lift"),
        Tool("hammer drill", 1, "hammer-drill"),
    ]  # fmt: skip


def test_ladders_are_those_that_the_business_has() -> None:
    survey = plain_survey(place={"height": 3500})  # 11 ft 6 in
    assert [str(tools_for(survey, None, stepladders_ft=sizes)[0]) for sizes in ((6, 8), (6, 10), (12,))] == [
        "stepladder 8 ft (2)", "stepladder 10 ft (2)", "stepladder 12 ft (2)",
    ]  # fmt: skip
    assert str(tools_for(survey, None, stepladders_ft=(), extension_ft=(20, 24))[0]) == "extension ladder 20 ft (2)"
    assert str(tools_for(survey, None, stepladders_ft=(), extension_ft=())[0]) == "material lift"


def test_ladder_ids_are_read_whole_or_not_at_all() -> None:
    ids = ["stepladder-10", "stepladder-6", "ladder-28", "xladder-4", "ladder-100", "ladder-2x", "my stepladder-8"]
    assert ladder_sizes_ft(ids) == ((6, 10), (28,))


def test_a_second_surveys_ladders_need_no_rails_above_and_its_anchor_has_its_own_bit() -> None:
    """20 ft up lean 20.7 ft: a ladder of 24 ft, where rails three feet above would ask for one of 28."""
    wall = {"kind": "concrete", "members": [], "member_width": None, "member_depth": None, "species": None}
    survey = second_survey(wall=wall, anchor=ANCHOR_2 | {"hole": 12.7}, place={"height": 6096})
    held = choose_fastener(survey, bracket_loads(survey, [412.8, 1632.0, 2851.2, 3664.0]))
    names = [str(tool) for tool in tools_for(survey, held.fastener)]
    assert names[0] == "extension ladder 24 ft (2)"
    assert "masonry bit 1/2 in (12.7 mm)" in names


@pytest.mark.parametrize(
    ("diameter", "pilot", "shank_hole", "bits"),
    [
        (7.9375, 4.7625, 7.9375,
         ["drill bit 3/16 in, wood, long", "drill bit 5/16 in, wood, long", "impact socket 1/2 in"]),
        (6.35, 3.175, 6.35,
         ["drill bit 1/8 in, wood, long", "drill bit 1/4 in, wood, long", "impact socket 7/16 in"]),
        (15.875, 9.525, 15.875, ["drill bit 3/8 in, wood, long", "drill bit 5/8 in, wood, long"]),  # a socket not known
        (None, 4.7625, 7.9375, []),
        (7.9375, None, 7.9375, []),
        (7.9375, 4.7625, None, []),
    ],
)  # fmt: skip
def test_bits_are_those_of_the_screws_holes(
    diameter: float | None, pilot: float | None, shank_hole: float | None, bits: list[str]
) -> None:
    screw = Fastener("lag", diameter, 101.6, 60.0, pilot, shank_hole, 4)
    names = [str(tool) for tool in tools_for(plain_survey(), screw)]
    assert [name for name in names if name.startswith(("drill bit", "impact"))] == bits
