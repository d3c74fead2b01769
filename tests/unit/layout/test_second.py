"""What a survey of the second form asks of its layout: anchors by their report, patterns, headroom, outlets, grain."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding, Layout, survey_from_data
from scheduler.layout.drawing import describe, draw_sheets
from scheduler.layout.statics.loads import BracketForce
from scheduler.layout.statics.pattern import height_of, least_spacing, levers_mm, widest_across, worst_fastener
from scheduler.weather.thunder import flash_words, miles_off
from tests.drawn import written
from tests.surveys import ANCHOR_2, plain_survey, second_survey

MASONRY: dict[str, Any] = {
    "wall": {
        "kind": "concrete",
        "members": [],
        "member_width": None,
        "member_depth": None,
        "species": None,
        "cover": 0,
    },
    "anchor": ANCHOR_2,
}


def laid(**changes: Any) -> Layout:
    return lay_out(second_survey(**changes))


def of(layout: Layout, code: str) -> Finding:
    (found,) = [finding for finding in layout.findings if finding.code == code]
    return found


def codes(layout: Layout, level: str = "") -> set[str]:
    return {finding.code for finding in layout.findings if level in ("", finding.level)}


def words(**changes: Any) -> list[str]:
    survey = second_survey(**changes)
    return [" ".join(text.text for text in written(sheet)) for sheet in draw_sheets(survey, lay_out(survey))]


def test_the_survey_known_by_heart_has_no_stop_and_the_second_layout() -> None:
    layout = laid()
    assert layout.format == "layout/2"
    assert codes(layout, "stop") == set()
    assert layout.fastener is not None
    assert (layout.fastener.shank_depth, layout.fastener.thread_depth) == (31.75, 95.25)  # 4 in less plate; 1-1/2 less
    assert (layout.fastener.edge, layout.fastener.spacing) == (pytest.approx(14.2875), pytest.approx(38.1))


# Masonry


def test_every_number_of_an_anchor_is_that_of_its_report() -> None:
    layout = laid(**MASONRY)
    fastener = layout.fastener
    assert fastener is not None
    assert (fastener.hole, fastener.hole_depth, fastener.penetration) == (9.525, 70, 60)
    assert (fastener.edge, fastener.spacing, fastener.torque_nm) == (100, 40, 40)
    assert (fastener.count, fastener.shank_depth, fastener.thread_depth) == (4, None, None)
    assert layout.members == ()
    assert codes(layout, "stop") == set()
    said = " ".join(f.text for f in layout.findings if f.code in ("anchor", "drilling"))
    assert "invented report 17, table 4" in said
    first = words(**MASONRY)[0]
    assert 'Hole 3/8", 2 3/4" deep from the masonry\'s face; embedment 2 3/8"' in first
    assert "torque 40 N·m (30 ft-lb)" in first
    assert "stud" not in " ".join([first, *(f.text for f in layout.findings), *layout.tools]).lower()
    assert "masonry bit 3/8 in (9.5 mm)" in layout.tools


def test_masonry_without_an_anchor_stops_in_one_clear_sentence() -> None:
    layout = laid(**{**MASONRY, "anchor": None})
    (stop,) = [finding for finding in layout.findings if finding.level == "stop"]
    assert stop.code == "anchor-report"
    assert "nothing may be drilled" in stop.text


@pytest.mark.parametrize(
    ("anchor", "code"),
    [({"spacing": 60}, "anchor-spacing"), ({"edge": 900}, "anchor-edge"), ({"tension_n": 900}, "overloaded")],
)
def test_an_anchor_that_its_report_does_not_allow_here_stops(anchor: dict[str, Any], code: str) -> None:
    layout = laid(**{**MASONRY, "anchor": {**ANCHOR_2, **anchor}})
    assert codes(layout, "stop") == {code}


def test_an_anchors_distance_to_an_opening_counts_from_the_walls_zero() -> None:
    """The bracket at 2460 of the bar is at 2860 of the wall: 140 mm beside a door from 3000 on that is higher."""
    door = {"left": 3000, "right": 3300, "top": 2814, "swings_out": False}
    layout = laid(**{**MASONRY, "anchor": {**ANCHOR_2, "edge": 150}}, doors=[door])
    assert [bracket.wall for bracket in layout.brackets] == pytest.approx([700, 1780, 2860, 3940])
    assert 'An anchor is 5 1/2" (140 mm) from the edge of the door' in of(layout, "anchor-edge").text


def test_an_anchor_shallower_than_its_embedment_and_one_in_wood_are_refused() -> None:
    with pytest.raises(BadInput, match=r"anchor\.hole_depth: must be the embedment \(60\) or more, is 50"):
        second_survey(**{**MASONRY, "anchor": {**ANCHOR_2, "hole_depth": 50}})
    with pytest.raises(BadInput, match="anchor: is for masonry and concrete"):
        second_survey(anchor=ANCHOR_2)


def test_the_sheet_of_a_first_survey_with_an_anchor_says_that_nothing_may_be_drilled() -> None:
    old = {"name": "sleeve", "tension_n": 9000, "shear_n": 9000, "source": "report 7"}
    survey = plain_survey(wall={"kind": "concrete", "members": []}, anchor=old)
    first = " ".join(text.text for text in written(draw_sheets(survey, lay_out(survey))[0]))
    assert "STOP: do not drill" in first
    assert "report says" not in first


# Bolt pattern


def test_a_couple_is_shared_by_the_distance_from_the_bearing_edge() -> None:
    """Holes 150, 108, 66 and 24 mm above the lower edge: the upper one takes M × 150 / (150² + 108² + 66² + 24²)."""
    awning = second_survey().awning
    assert levers_mm(awning, pressed_down=True) == [150, 108, 66, 24]
    assert levers_mm(awning, pressed_down=False) == [24, 66, 108, 150]
    squares = 150**2 + 108**2 + 66**2 + 24**2
    pull, shear = worst_fastener(awning, BracketForce(200.0, 400.0, 0.0, 1333.3))
    assert (pull, shear) == (pytest.approx(200_000 * 150 / squares), pytest.approx(100))
    lifted, _ = worst_fastener(awning, BracketForce(-200.0, -400.0, 80.0, 1413.3))
    assert lifted == pytest.approx(200_000 * 150 / squares + 20)


def test_a_pattern_has_a_width_a_height_and_a_least_distance_and_a_first_survey_none_of_them() -> None:
    """The nearest two of these holes are 30 across and 40 down from each other."""
    holes = [{"across": across, "down": down} for across, down in ((-45, 0), (15, 0), (-15, 40), (50, 126))]
    awning = second_survey(awning={"holes": holes}).awning
    assert (widest_across(awning), height_of(awning), least_spacing(awning)) == (50, 126, 50)
    plain = plain_survey().awning
    assert (widest_across(plain), height_of(plain), least_spacing(plain)) == (0, 0, None)


def test_a_single_row_shares_the_couple_alike() -> None:
    awning = second_survey(awning={"bolts": 2, "holes": [{"across": -20, "down": 0}, {"across": 20, "down": 0}]}).awning
    assert worst_fastener(awning, BracketForce(150.0, 0.0, 0.0, 1000.0))[0] == pytest.approx(500)


def test_holes_side_by_side_do_not_go_into_one_stud() -> None:
    holes = [{"across": side, "down": down} for down in (0, 80) for side in (-30, 30)]
    stop = of(laid(awning={"holes": holes}), "one-line")
    assert stop.level == "stop"
    assert "blocking" in stop.text


def test_holes_too_near_for_the_screw_take_a_thinner_one_or_stop() -> None:
    near = [{"across": 0, "down": down} for down in (0, 33, 66, 99)]
    layout = laid(awning={"holes": near}, wind_class=0)
    assert layout.fastener is not None
    assert layout.fastener.diameter == pytest.approx(5 / 16 * 25.4)  # four diameters are 31.75
    assert "hole-spacing" not in codes(layout)
    nearer = [{"across": 0, "down": down} for down in (0, 20, 40, 60)]
    assert of(laid(awning={"holes": nearer}), "hole-spacing").level == "stop"


@pytest.mark.parametrize(
    ("holes", "words"),
    [
        ([{"across": 0, "down": 0}], "must hold one hole for each of the 4 fasteners"),
        ([{"across": 0, "down": d} for d in (0, 42, 84, 150)], "less than the bracket's lever"),
        ([{"across": 0, "down": d} for d in (5, 42, 84, 126)], "at the upper fasteners' height"),
        ([{"across": 0, "down": d} for d in (0, 42, 42, 126)], "another hole"),
        ([{"across": a, "down": 0} for a in (0, 30, 61, -30)], "on the bracket"),
    ],
)
def test_a_pattern_that_cannot_be_is_refused(holes: list[dict[str, float]], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        second_survey(awning={"holes": holes})


# Rim, rafters, studs


def test_a_rim_without_a_seen_tie_says_what_the_crew_does_and_a_weak_tie_stops() -> None:
    rim = {"kind": "rim-board", "members": [], "member_depth": 38.1}
    caution = of(laid(wall=rim), "rim-fixing")
    assert caution.level == "caution"
    assert "end grain" in caution.text
    assert "out of this drawing's reach" in caution.text
    tie = {"what": "hold-down", "pull_n": 20_000, "source": "its maker's list"}
    assert of(laid(wall={**rim, "tie": tie}), "rim-fixing").level == "caution"
    assert of(laid(wall={**rim, "tie": {**tie, "pull_n": 900}}), "rim-fixing").level == "stop"


def test_rafters_get_the_cautions_of_studs_and_say_how_far_they_may_reach() -> None:
    layout = laid(wall={"kind": "rafters", "member_depth": 184.15})
    assert {"hidden-services", "off-centre", "overhang", "member"} <= codes(layout)
    assert "at most" in of(layout, "overhang").text
    grain = laid(wall={"kind": "rafters", "member_depth": 184.15, "end_grain": True})
    assert "0.75 of the withdrawal" in of(grain, "end-grain").text
    assert ((grain.fastener and grain.fastener.length) or 0) >= ((layout.fastener and layout.fastener.length) or 0)
    assert of(laid(wall={"kind": "rafters", "member_depth": 88.9, "end_grain": True}), "end-grain-room").level == "stop"


def test_where_a_screw_has_no_room_beside_the_middle_the_words_say_so_and_not_a_zero() -> None:
    tight = of(laid(wall={"member_width": 30.0}), "off-centre")
    assert tight.level == "caution"
    assert "must stand exactly on the middle of the stud" in tight.text
    assert "at most" not in tight.text
    assert "at most" in of(laid(), "off-centre").text


def test_a_deeper_stud_takes_a_longer_screw_than_a_shallow_one() -> None:
    shallow, deep = (laid(wall={"member_depth": d, "species": "spruce-pine-fir"}).fastener for d in (88.9, 139.7))
    assert shallow is not None
    assert deep is not None
    assert (shallow.length or 0) < (deep.length or 0)


# Headroom, outlet, paint, thunder


def test_a_private_patio_is_cautioned_with_its_reason_and_a_public_way_stops() -> None:
    low = {"height": 2500}
    band = {"bottom": 2300, "top": 2600}
    private, public = (laid(place={**low, "under": under}, band=band) for under in ("private", "public"))
    assert of(private, "headroom").level == "caution"
    assert "accessible" not in of(private, "headroom").text
    assert "most people meet it" in of(private, "headroom").text  # 1694 mm
    assert of(public, "headroom").level == "stop"
    assert "3202.2.3" in of(public, "headroom").text


def test_a_valance_counts_to_the_headroom() -> None:
    text = of(laid(awning={"valance": 200}), "headroom").text
    assert "1894 mm" in text  # 2094 under the front bar
    assert "under the valance" in text
    assert "headroom under the valance" in words(awning={"valance": 200})[0]


def test_an_outlet_that_is_missing_or_unprotected_is_a_caution() -> None:
    assert of(laid(), "power").level == "note"
    assert of(laid(outlet=None), "power").level == "caution"
    bad = of(laid(outlet={"at": 4600, "height": 2700, "gfci": False}), "power")
    assert (bad.level, "not GFCI-protected" in bad.text) == ("caution", True)
    assert "power" not in codes(laid(awning={"motor": None}, outlet=None))


@pytest.mark.parametrize(("built", "level"), [(1977, "caution"), (1978, None), (None, "note")])
def test_old_paint_goes_by_the_year_of_the_house(built: int | None, level: str | None) -> None:
    found = [finding.level for finding in laid(built=built).findings if finding.code == "old-paint"]
    assert found == ([level] if level else [])


def test_thunder_is_counted_from_flash_to_bang() -> None:
    assert (miles_off(5), miles_off(30)) == (1.0, 6.0)
    assert "at 30 seconds (6 miles) or less go in" in flash_words()
    assert flash_words() in of(laid(), "ladder-surroundings").text
    with pytest.raises(ValueError, match="after its flash"):
        miles_off(-1)


# On the drawing


def test_the_zero_has_its_name_on_every_sheet_and_in_words() -> None:
    zero = "0 is the left jamb of the patio door, left as seen from outside, facing the wall. Check: right edge of the"
    assert all(zero in page for page in words())
    survey = second_survey()
    said = describe(survey, lay_out(survey))
    assert any(line.startswith(zero) for line in said)
    assert any("douglas fir larch" in line for line in said)
    assert any(line.startswith("Outlet: ") for line in said)
    assert "House of 1994." in said


def test_a_layout_of_either_form_is_read_back_and_a_key_too_many_is_not() -> None:
    survey = second_survey()
    data = msgspec.to_builtins(survey)
    for part, key in ((data, "datum"), (data["awning"], "holes"), (data["wall"], "tie"), (data["place"], "under")):
        whole = msgspec.json.decode(msgspec.json.encode(data))
        gone = whole if part is data else whole[next(name for name in data if data[name] is part)]
        del gone[key]
        with pytest.raises(BadInput, match='is missing, and "survey/2" asks for it'):
            survey_from_data(whole)
