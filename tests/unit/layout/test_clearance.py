from __future__ import annotations

from typing import Any

import pytest

from scheduler.layout.documents import Finding
from scheduler.layout.placement.brackets import place_brackets
from scheduler.layout.site.clearance import clearance_findings, front_bar
from tests.surveys import FOOT_MM, INCH_MM, plain_survey


def _found(code: str, **changes: Any) -> list[Finding]:
    survey = plain_survey(**changes)
    return [finding for finding in clearance_findings(survey, place_brackets(survey)) if finding.code == code]


def _one(code: str, **changes: Any) -> Finding:
    (finding,) = _found(code, **changes)
    return finding


@pytest.mark.parametrize(
    ("projection", "pitch", "drop", "reach", "within"),
    [
        (3000, 14, 725.8, 2910.9, 0.05),  # projection × sin and cos of the pitch, to a tenth of a millimetre
        (10 * FOOT_MM, 15, 2.588 * FOOT_MM, 9.659 * FOOT_MM, 0.001 * FOOT_MM),
    ],
)
def test_drop_and_reach_follow_from_the_pitch(
    projection: float, pitch: float, drop: float, reach: float, within: float
) -> None:
    bar = front_bar(plain_survey(awning={"projection": projection, "pitch_deg": pitch}))
    assert bar.drop == pytest.approx(drop, abs=within)
    assert bar.reach == pytest.approx(reach, abs=within)
    assert bar.underside == pytest.approx(2900 - bar.drop - 80)


def test_the_usual_least_mounting_height_does_not_give_headroom() -> None:
    """8 ft 6 in up, 10 ft of cloth at 14°: 29 in of drop leave 6 ft 1 in under the front bar."""
    changes = {
        "awning": {"projection": 10 * FOOT_MM, "pitch_deg": 14, "front_drop": 0},
        "place": {"height": 102 * INCH_MM},
        "band": {"bottom": 2300},
    }
    assert _found("mounting-height", **changes) == []
    finding = _one("headroom", **changes)
    assert finding.level == "stop"
    assert "6' 1\" (1853 mm)" in finding.text
    assert 'mount it 7" (179 mm) higher' in finding.text


def test_a_bar_a_millimetre_above_the_ground_still_has_that_millimetre() -> None:
    for height, left in ((2001, 'only 1/16" (1 mm) clear under it'), (2000, "no room at all under it")):
        finding = _one("headroom", awning=FLAT | {"front_drop": 2000}, place={"height": height})
        assert (finding.level, left in finding.text) == ("stop", True)


@pytest.mark.parametrize(("height", "level"), [(2838, "caution"), (2837, "stop"), (2939.5, "note"), (2939, "caution")])
def test_headroom_has_three_levels(height: float, level: str) -> None:
    """Drop 725.77 and 80 below the axis: 80 in (2032) are left from 2837.8 on, 7 ft (2133.6) from 2939.4 on."""
    assert _one("headroom", place={"height": height}).level == level


def test_each_way_to_more_headroom_that_is_named_gives_it() -> None:
    finding = _one("headroom", place={"height": 2600}, awning={"pitch_deg": 14})
    assert "set the pitch to 9.3° or less" in finding.text
    assert _one("headroom", place={"height": 2600}, awning={"pitch_deg": 9.3}).level == "caution"
    assert _one("headroom", place={"height": 2600}, awning={"pitch_deg": 9.4}).level == "stop"


def test_a_low_mounting_is_measured_against_the_usual_least_height() -> None:
    finding = _one("mounting-height", place={"height": 2540}, band={"bottom": 2300})
    assert (finding.level, '2" (51 mm) less' in finding.text) == ("caution", True)


def test_a_door_that_strikes_the_cloth_is_a_stop() -> None:
    """The leaf is 900 wide; there the cloth at 14° is 224.4 below the fasteners: 2675.6 up."""
    door = {"left": 1500, "right": 2400, "top": 2700, "swings_out": True}
    body = {"body_below": 100}
    finding = _one("door", doors=[door], awning=body)
    assert (finding.level, '15/16" (24 mm) lower' in finding.text) == ("stop", True)
    assert _one("door", doors=[{**door, "top": 2600}], awning=body).level == "caution"
    assert _found("door", doors=[{**door, "top": 2590}], awning=body) == []
    assert _found("door", doors=[{**door, "swings_out": False}], awning=body) == []
    assert _found("door", doors=[{**door, "left": 4450, "right": 5350}], awning=body) == []


def test_a_leaf_that_reaches_beyond_the_front_bar_meets_its_underside() -> None:
    """Projection 800 at 30°: reach 693, underside 2900 − 400 − 80 = 2420."""
    door = {"left": 1500, "right": 2400, "top": 2450, "swings_out": True}
    finding = _one("door", doors=[door], awning={"projection": 800, "pitch_deg": 30})
    assert (finding.level, 'front bar is 1 3/16" (30 mm) lower' in finding.text) == ("stop", True)


def test_a_closed_awning_over_a_door_is_a_stop_only_if_the_door_swings_out() -> None:
    door = {"left": 1500, "right": 2400, "top": 2730, "swings_out": True}
    assert _one("door", doors=[door]).level == "stop"
    assert _one("door", doors=[{**door, "swings_out": False}]).level == "caution"


def test_the_closed_awning_must_be_inside_the_band() -> None:
    assert '3/8" (10 mm) above' in _one("above-band", band={"top": 2950}).text
    assert '1 15/16" (50 mm) below' in _one("below-band", band={"bottom": 2770, "top": 3100}).text
    assert '1 9/16" (40 mm) more' in _one("band-height-short", band={"bottom": 2760, "top": 2960}).text
    assert _found("band-height") == []
    assert _one("band-height", band={"bottom": 2760, "top": 2960}).level == "caution"


def test_an_obstacle_is_named_with_the_nearest_ways_out() -> None:
    """The light is 40 mm under the closed awning's bottom edge (2720), so 40 down, or 340 up."""
    light = {"what": "porch light", "left": 2000, "right": 2100, "bottom": 2620, "top": 2760}
    finding = _one("obstacle", obstacles=[light])
    assert finding.level == "stop"
    assert "porch light" in finding.text
    assert 'moved 1 9/16" (40 mm) down or 1\' 1 3/8" (340 mm) up' in finding.text


@pytest.mark.parametrize(("pitch", "levels"), [(13.9, ["caution"]), (14, []), (20, [])])
def test_a_flat_pitch_does_not_shed_rain(pitch: float, levels: list[str]) -> None:
    assert [finding.level for finding in _found("run-off", awning={"pitch_deg": pitch})] == levels


def test_an_outer_bracket_inside_its_arm_is_said() -> None:
    finding = _one("outer-inside", awning={"arms": [500, 3400]}, place={"slide": 40})
    assert "arm 1 is" in finding.text


def test_an_arm_without_a_bracket_is_said() -> None:
    members = [812.8, 1225.6, 2844.8, 4064]
    finding = _one("arm-unserved", awning={"arms": [600, 1700, 3400]}, wall={"members": members}, place={"slide": 0})
    assert "Arm 2 has no bracket" in finding.text


def test_the_motor_asks_for_an_electrician_at_its_end() -> None:
    assert "4400 mm" in _one("power").text
    assert "licensed electrician" in _one("power", awning={"motor": "left"}).text


def test_no_motor_no_outlet() -> None:
    assert _found("power", awning={"motor": None}) == []


FLAT = {"pitch_deg": 0, "front_drop": 0}


@pytest.mark.parametrize(
    ("code", "changes", "levels"),
    [
        ("mounting-height", {"place": {"height": 2590.8}}, []),
        ("mounting-height", {"place": {"height": 2590.7995}}, []),  # a thousandth of a millimetre is nothing
        ("mounting-height", {"place": {"height": 2590.79}}, ["caution"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2133.6}}, ["note"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2133.5995}}, ["note"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2133.59}}, ["caution"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2032}}, ["caution"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2031.9995}}, ["caution"]),
        ("headroom", {"awning": FLAT, "place": {"height": 2031.99}}, ["stop"]),
        ("band-height", {"band": {"bottom": 2700, "top": 2903.2}}, []),
        ("band-height", {"band": {"bottom": 2700, "top": 2903.19}}, ["caution"]),
        ("band-height-short", {"band": {"bottom": 2720, "top": 2960}}, []),  # the body is 240 high
        ("band-height-short", {"band": {"bottom": 2720, "top": 2959.99}}, ["stop"]),
        ("above-band", {"band": {"top": 2960}}, []),
        ("above-band", {"band": {"top": 2959.99}}, ["stop"]),
        ("below-band", {"band": {"bottom": 2720}}, []),
        ("below-band", {"band": {"bottom": 2720.01}}, ["stop"]),
    ],
)
def test_exactly_at_a_limit_and_just_beyond(code: str, changes: dict[str, Any], levels: list[str]) -> None:
    assert [finding.level for finding in _found(code, **changes)] == levels


@pytest.mark.parametrize(
    ("door", "awning", "levels"),
    [
        ({"left": 4400, "right": 5300}, {}, []),  # from the awning's right end on
        ({"left": 4399, "right": 5300}, {}, ["caution"]),
        ({"left": 0, "right": 400}, {}, []),
        ({"left": 0, "right": 401}, {}, ["caution"]),
        ({"left": 1500, "right": 2400, "top": 2720}, {}, []),  # the body's lower edge
        ({"left": 1500, "right": 2400, "top": 2720.01}, {}, ["caution"]),
        # Flat cloth 2900 up: two inches over a leaf, or as much as the front bar hangs down.
        ({"top": 2849.2, "swings_out": True}, FLAT | {"body_below": 0}, []),
        ({"top": 2849.3, "swings_out": True}, FLAT | {"body_below": 0}, ["caution"]),
        ({"top": 2820, "swings_out": True}, FLAT | {"body_below": 0, "front_drop": 80}, []),
        ({"top": 2820.1, "swings_out": True}, FLAT | {"body_below": 0, "front_drop": 80}, ["caution"]),
        ({"top": 2900, "swings_out": True}, FLAT | {"body_below": 0}, ["caution"]),  # touches, and no more
        ({"top": 2900.1, "swings_out": True}, FLAT | {"body_below": 0}, ["stop"]),
        # A leaf of 900 just reaches the front bar at 900, whose underside is 80 lower than the cloth.
        ({"top": 2850, "swings_out": True}, FLAT | {"body_below": 0, "front_drop": 80, "projection": 900}, ["stop"]),
        ({"top": 2850, "swings_out": True}, FLAT | {"body_below": 0, "front_drop": 80, "projection": 901}, ["caution"]),
    ],
)
def test_doors_at_the_limits(door: dict[str, Any], awning: dict[str, Any], levels: list[str]) -> None:
    made = {"left": 1500, "right": 2400, "top": 2800, "swings_out": False, **door}
    assert [finding.level for finding in _found("door", doors=[made], awning=awning)] == levels


def test_each_door_goes_by_its_own_number() -> None:
    doors = [{"left": left, "right": left + 100, "top": 2800, "swings_out": False} for left in (4500, 1000, 2000)]
    first, second = _found("door", doors=doors)
    assert "door 2 (" in first.text
    assert "door 3 (" in second.text


def test_only_walls_that_hide_something_ask_for_a_look_behind() -> None:
    kinds = ("concrete", "solid-masonry", "hollow-block", "rim-board", "rafters", "wood-studs")
    assert [kind for kind in kinds if _found("hidden-services", wall={"kind": kind})] == list(kinds[:4])
