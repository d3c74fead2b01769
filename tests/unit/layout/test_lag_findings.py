"""What is said of a lag screw with loads that are handed in: the hardest bracket, its edges, holes and cables."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from scheduler.layout.documents import Finding
from scheduler.layout.statics.lag import (
    fastener_name,
    grip,
    lag_fastener,
    lag_findings,
    suits_pattern,
)
from scheduler.layout.statics.loads import BracketUse
from tests.surveys import plain_survey, second_survey


def told(
    worst: float, *uses: BracketUse, diameter: float = 0.375, length: float = 4.5, **changes: Any
) -> list[Finding]:
    """What is said of a screw behind 1/4 in of plate and 1 in of cover with these loads on its brackets."""
    survey = plain_survey(**changes)
    held = grip(diameter, length, 1.25, 3.5)
    return list(lag_findings(survey, held, lag_fastener(held, survey), uses, worst))


EASY = BracketUse(900.0, 300.0, 0.3, "still")
HARD = BracketUse(1000.0, 400.0, 1.2, "gust")


@pytest.mark.parametrize(("uses", "place"), [((EASY, HARD, EASY), 2), ((HARD, EASY), 1)])
def test_the_hardest_bracket_is_named_wherever_it_is(uses: tuple[BracketUse, ...], place: int) -> None:
    texts = {finding.code: finding.text for finding in told(1.2, *uses)}
    assert f"bracket {place} takes most, 1000 N (225 lb) out of the wall" in texts["fastener"]
    assert f"1.20 times its allowable load at bracket {place} (gust)" in texts["overloaded"]


def test_all_that_a_screw_may_take_is_not_too_much() -> None:
    full = BracketUse(1000.0, 400.0, 1.0, "gust")
    assert "overloaded" not in {finding.code for finding in told(1.0, full)}


def test_a_bracket_that_nothing_pulls_holds_far_more() -> None:
    (text,) = [f.text for f in told(0.1, BracketUse(0.0, 300.0, 0.1, "still")) if f.code == "fastener"]
    assert "pull out of dry wood of that gravity at far more on average" in text
    (text,) = [f.text for f in told(0.1, BracketUse(1.0, 300.0, 0.1, "still")) if f.code == "fastener"]
    assert " times this pull on average" in text


def test_one_fastener_of_two_is_taken_to_pull() -> None:
    (text,) = [f.text for f in told(0.3, EASY, awning={"bolts": 2}) if f.code == "fastener"]
    assert "1 of the 2 fasteners is taken to pull, 900 N (202 lb) each, and all to bear along the wall, 150 N" in text


def test_a_cable_is_met_by_the_screws_tip() -> None:
    """5/16 in, 2-3/4 in long: behind 1-1/4 in of plate and cover 1-5/16 in and the tip of 3/16 in are in the stud."""
    codes = {finding.code for finding in told(0.3, EASY, diameter=0.3125, length=2.75)}
    assert "hidden-services" in codes
    assert "hidden-services" not in {finding.code for finding in told(0.3, EASY, diameter=0.3125, length=2.5)}


@pytest.mark.parametrize(("kind", "edge"), [("rafters", 4 * 9.525), ("wood-studs", 1.5 * 9.525)])
def test_a_screw_keeps_four_diameters_from_the_edge_that_is_loaded_across_the_grain(kind: str, edge: float) -> None:
    survey = second_survey(wall={"kind": kind, "member_depth": 184.15})
    assert lag_fastener(grip(0.375, 4.0, 1.25, 7.25), survey).edge == pytest.approx(edge, abs=1e-3)


def test_a_screw_threaded_to_its_plate_has_no_hole_for_a_shank() -> None:
    # 1-1/2 in: thread and tip of 1-1/4 in leave 1/4 in, which is in the plate.
    assert lag_fastener(grip(0.25, 1.5, 0.25, 3.5), second_survey()).shank_depth == 0.0


def test_dry_and_dense_wood_has_a_wider_lead_hole_and_no_wet_service() -> None:
    """Of 3/8 in 0.65 to 0.85, from a specific gravity of 0.6 on: 0.244 to 0.319 in, and 5/16 in in between."""
    texts = {finding.code: finding.text for finding in told(0.3, EASY, wall={"gravity": 0.65, "wet": False})}
    assert texts["drilling"].startswith("Lead hole 5/16 in for the thread (allowed 0.244 to 0.319 in), then 3/8 in as")
    assert "0.30 of the allowable load (NDS, specific gravity 0.65). 2 of the 4" in texts["fastener"]


def test_a_screw_that_ends_in_the_cover_holds_nothing() -> None:
    held = grip(0.375, 2.0, 3.0, 3.5)
    assert (held.thread_in, held.penetration_in) == (0, 0)


@pytest.mark.parametrize("missing", ["diameter", "length"])
def test_a_fastener_without_a_size_goes_by_its_kind(missing: str) -> None:
    lag = lag_fastener(grip(0.375, 4.5, 1.25, 3.5), plain_survey())
    assert fastener_name(replace(lag, **{missing: None})) == "lag"


def across(mm: float) -> list[dict[str, float]]:
    """Four holes in two rows 60 apart, each row's as far across from the bracket's middle."""
    return [{"across": side * mm, "down": down} for down in (0, 60) for side in (-1, 1)]


@pytest.mark.parametrize(("apart", "fine"), [(38.1, True), (37.7, True), (37.5, False)])
def test_holes_may_be_four_diameters_apart_as_a_rule_measures_them(apart: float, fine: bool) -> None:
    # 4 × 3/8 in is 38.1 mm; half a millimetre is what a rule tells. Continuous, so that no member's edge comes in.
    survey = second_survey(wall={"kind": "rim-board", "members": [], "tie": None}, awning={"holes": across(apart / 2)})
    assert suits_pattern(survey, 0.375) is fine


@pytest.mark.parametrize(("off", "fine"), [(20.0, True), (21.3, False)])
def test_holes_stay_where_the_member_has_room_for_them(off: float, fine: bool) -> None:
    # A member 2-3/4 in wide: 1.375 − 1.5 × 3/8 = 0.8125 in from its middle, 20.6 mm; a rule tells half a millimetre.
    survey = second_survey(wall={"member_width": 69.85}, awning={"holes": across(off)})
    assert suits_pattern(survey, 0.375) is fine


def test_in_a_member_without_room_only_holes_in_its_middle_will_do() -> None:
    # 1 in: half of it is less than 1.5 × 3/8 in. A hole 1.2 mm off is too far off to be called in the middle.
    for off, fine in ((0.0, True), (1.2, False)):
        holes = [{"across": off, "down": down} for down in (0, 42, 84, 126)]
        survey = second_survey(wall={"member_width": 25.4}, awning={"holes": holes})
        assert suits_pattern(survey, 0.375) is fine


def test_what_moisture_asks_of_screws_stays_in_the_words_of_each_form() -> None:
    wet = second_survey(wall={"wet": True})
    held = grip(0.375, 4.5, 1.25, 3.5)
    texts = [one.text for one in lag_findings(wet, held, lag_fastener(held, wet), (EASY,), 0.3)]
    assert (
        "Exposed to moisture: hot-dip galvanized or stainless screws, also in treated wood, and every hole sealed."
        in texts
    )
    first = [one.text for one in told(0.3, EASY)]
    assert (
        "Exposed to moisture: hot-dip galvanised or stainless screws, also in treated wood, and every hole sealed."
        in first
    )
