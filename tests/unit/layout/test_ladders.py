"""Ladders and tools that a height and a wall ask for."""

from __future__ import annotations

import pytest

from scheduler.layout.documents import WallKind
from scheduler.layout.site.ladders import foot_out_mm, ladders_for, leaning_length_mm
from scheduler.layout.site.tools import ladder_sizes_ft, tools_for
from scheduler.layout.statics.fasteners import choose_fastener
from scheduler.layout.statics.loads import bracket_loads
from tests.surveys import plain_survey

FOOT = 304.8


@pytest.mark.parametrize(
    ("height_ft", "kind", "size_ft"),
    [
        (8.5, "stepladder", 6), (10, "stepladder", 6), (10.1, "stepladder", 8), (16, "stepladder", 12),
        (16.1, "extension ladder", 24), (20, "extension ladder", 28), (42, None, None),
    ],
)  # fmt: skip
def test_shortest_ladder_that_reaches(height_ft: float, kind: str | None, size_ft: int | None) -> None:
    ladders = ladders_for(height_ft * FOOT)
    assert (ladders.kind, ladders.size_ft) == (kind, size_ft)
    assert bool([f for f in ladders.findings if f.level == "stop"]) == (kind is None)
    if kind == "extension ladder":
        assert ladders.foot_out_mm == pytest.approx(foot_out_mm(leaning_length_mm(height_ft * FOOT)))
    else:
        assert ladders.foot_out_mm is None


def test_only_ladders_that_the_business_has_are_named() -> None:
    ladders = ladders_for(9 * FOOT, stepladders_ft=(8,), extension_ft=(24, 32))
    assert (ladders.kind, ladders.size_ft) == ("stepladder", 8)
    ladders = ladders_for(13 * FOOT, stepladders_ft=(8,), extension_ft=(24, 32))
    assert (ladders.kind, ladders.size_ft, ladders.equipment) == ("extension ladder", 24, "ladder-24")
    nothing = ladders_for(9 * FOOT, stepladders_ft=(), extension_ft=())
    assert nothing.kind is None
    assert nothing.equipment is None
    assert [f.level for f in nothing.findings] == ["stop"]


def test_a_load_beyond_every_duty_rating_is_a_stop() -> None:
    ladders = ladders_for(9 * FOOT, load_kg=180)
    assert ladders.rating is None
    assert "ladder-load" in {f.code for f in ladders.findings if f.level == "stop"}
    assert ladders_for(9 * FOOT).rating == "IA"


def test_what_is_said_of_more_and_heavier_lifters() -> None:
    heavy, ladder, _ = ladders_for(9 * FOOT, load_kg=180).findings  # IAA carries 375 lb
    assert heavy.text == "180 kg on one ladder is beyond the highest duty rating (IAA, 170 kg): share the load."
    assert ladder.text.startswith("2 stepladders of 6 ft, type IAA or better, for work 9' (2743 mm) up: ")
    found = ladders_for(32 * FOOT, load_kg=90, count=3)  # 35 ft along the rails are 36.1, and 4 ft overlap
    assert (found.count, found.size_ft, found.rating) == (3, 48, "III")
    assert found.findings[0].text.startswith("3 extension ladders of 48 ft, type III or better, for work 32' (9754 mm)")
    assert "sections overlapping 4 ft or more" in found.findings[0].text


@pytest.mark.parametrize(("rails_ft", "size_ft"), [(21.0, 24), (21.001, 28), (33.0, 36), (33.001, 40), (44.001, None)])
def test_sections_that_just_reach_overlap_enough(rails_ft: float, size_ft: int | None) -> None:
    """The working height is that at which rails so long along the wall end three feet higher."""
    height = rails_ft * FOOT / leaning_length_mm(1.0) - 3 * FOOT
    assert ladders_for(height, stepladders_ft=()).size_ft == size_ft


def test_every_ladder_comes_with_its_cautions() -> None:
    for height_ft in (9, 20):
        findings = ladders_for(height_ft * FOOT).findings
        assert {f.code for f in findings} == {"ladder", "ladder-surroundings"}
        assert all(f.level == "caution" and "safe" not in f.text for f in findings)
        assert any("power lines" in f.text for f in findings)


def test_tools_of_a_wooden_wall_follow_from_its_screw() -> None:
    survey = plain_survey()
    fastener = choose_fastener(survey, bracket_loads(survey, [412.8, 1632.0, 2851.2, 3664.0])).fastener
    names = [str(tool) for tool in tools_for(survey, fastener)]
    assert names[:2] == ["stepladder 6 ft (2)", "material lift"]
    assert "drill bit 1/4 in, wood, long" in names
    assert "drill bit 3/8 in, wood, long" in names
    assert "impact socket 9/16 in" in names
    assert "hammer drill" not in names


@pytest.mark.parametrize("kind", ["concrete", "solid-masonry", "hollow-block"])
def test_masonry_needs_the_hammer_drill_and_dust_control(kind: WallKind) -> None:
    tools = tools_for(plain_survey(wall={"kind": kind}), None)
    assert {"hammer-drill", "material-lift"} <= {tool.equipment for tool in tools}
    assert "vacuum with dust shroud" in {tool.name for tool in tools}


def test_ladder_sizes_are_read_from_equipment_ids() -> None:
    assert ladder_sizes_ft(["ladder-32", "stepladder-8", "scaffold", "ladder-24", "ladder-24"]) == ((8,), (24, 32))
    assert ladder_sizes_ft(["material-lift", "ladder-x"]) == ((), ())


@pytest.mark.parametrize(("height_ft", "kind"), [(10, "stepladder"), (18, "extension ladder"), (42, None)])
def test_too_much_on_one_ladder_is_a_stop_on_every_kind_of_ladder(height_ft: float, kind: str | None) -> None:
    ladders = ladders_for(height_ft * FOOT, load_kg=200)
    assert (ladders.kind, ladders.rating) == (kind, None)
    (load,) = [one.text for one in ladders.findings if one.code == "ladder-load"]
    assert load == "200 kg on one ladder is beyond the highest duty rating (IAA, 170 kg): share the load."
