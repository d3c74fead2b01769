from __future__ import annotations

import pytest

from scheduler.layout.compute import lay_out
from tests.surveys import plain_survey

LEVELS = ["stop", "caution", "note"]


def test_the_wall_known_by_heart_can_be_drilled() -> None:
    layout = lay_out(plain_survey())
    assert (layout.format, layout.survey, layout.required, layout.shift) == ("layout/1", "alder-4m", 4, 0)
    assert [bracket.wall for bracket in layout.brackets] == pytest.approx([812.8, 2032.0, 2844.8, 4064.0])
    assert [bracket.member for bracket in layout.brackets] == [2, 5, 7, 10]  # every 406.4 from the datum
    # Thirds of the 3251.2 between the outer ones end at 1896.5 and 2980.3: both inner ones stand 135.5 off.
    assert layout.spread == pytest.approx(406.4 / 3)
    assert all(
        0 < (bracket.use or 0) <= 1 and bracket.tension_n > 0 and bracket.shear_n > 0 for bracket in layout.brackets
    )
    assert layout.fastener is not None
    assert layout.fastener.count == 4
    assert "stop" not in {finding.level for finding in layout.findings}
    assert {"chalk line", "level 4 ft"} <= set(layout.tools)


def test_findings_come_stops_first() -> None:
    light = {"what": "light", "left": 2000, "right": 2100, "bottom": 2800, "top": 2900}
    levels = [finding.level for finding in lay_out(plain_survey(obstacles=[light])).findings]
    assert levels == sorted(levels, key=LEVELS.index)
    assert set(levels) == set(LEVELS)


def test_a_missing_stud_is_asked_for_where_it_would_be() -> None:
    """Without members within reach of the last arm there is no layout at any shift: one place near 3664 is missing."""
    members = [412.8, 812.8, 1219.2, 1625.6, 2032, 2438.4, 2844.8]
    layout = lay_out(plain_survey(wall={"members": members}))
    assert (layout.brackets, layout.spread, layout.fastener) == ((), None, None)
    (stop,) = [finding for finding in layout.findings if finding.code == "no-backing"]
    assert stop.level == "stop"
    assert "3 stand on the studs at" in stop.text
    assert "1 more is needed at" in stop.text
    assert "right of 9' 4\"" in stop.text  # 2844.8, the last member found
    assert "put in solid backing" in stop.text


def test_the_backing_asked_for_makes_a_layout() -> None:
    members = [412.8, 1219.2, 2844.8]
    text = next(f.text for f in lay_out(plain_survey(wall={"members": members})).findings if f.code == "no-backing")
    more = text.partition(" needed at ")[2].partition(": find")[0]
    places = [float(part.partition(" mm)")[0]) for part in more.split("(")[1:]]
    assert len(places) == 2
    slid = plain_survey(wall={"members": [*members, *places]}, place={"slide": 200})
    assert len(lay_out(slid).brackets) == 4


def test_no_member_at_all_is_said() -> None:
    texts = [f.text for f in lay_out(plain_survey(wall={"members": []})).findings if f.code == "no-backing"]
    assert len(texts) == 1
    assert "none of the studs found serves" in texts[0]
    assert "4 more are needed" in texts[0]


def test_a_wall_without_a_layout_has_no_loads_to_read() -> None:
    layout = lay_out(plain_survey(wall={"members": []}))
    assert not {"load-case", "load-model", "service-wind"} & {finding.code for finding in layout.findings}


def test_an_awning_of_more_than_sixteen_feet_takes_three_people() -> None:
    """Common practice, no published source: 4876 mm are just less, 4877 just more."""
    for width, people in ((4876, 2), (4877, 3)):
        survey = plain_survey(awning={"width": width}, band={"right": 6000})
        (lift,) = [f.text for f in lay_out(survey).findings if f.code == "material-lift"]
        assert f"Use a material lift with {people} people" in lift


@pytest.mark.parametrize(("kind", "code"), [("brick-veneer", "veneer"), ("fascia", "fascia")])
def test_what_carries_nothing_is_a_stop(kind: str, code: str) -> None:
    layout = lay_out(plain_survey(wall={"kind": kind}))
    assert layout.brackets == ()
    assert (layout.findings[0].level, code) == ("stop", code)
    assert code in {finding.code for finding in layout.findings}


def test_a_bar_without_room_is_a_stop() -> None:
    wide = plain_survey(awning={"bracket_width": 1100}, wall={"kind": "concrete", "members": []})
    assert "no-room-on-bar" in {f.code for f in lay_out(wide).findings if f.level == "stop"}


def test_an_awning_outside_the_band_is_a_stop() -> None:
    (stop,) = [
        f for f in lay_out(plain_survey(band={"right": 4300}, place={"slide": 50})).findings if f.code == "outside-band"
    ]
    assert '3 15/16" (100 mm) beyond' in stop.text
    (stop,) = [f for f in lay_out(plain_survey(band={"right": 3900})).findings if f.code == "outside-band"]
    assert '3 15/16" (100 mm) more than the clear band' in stop.text


def test_an_awning_less_than_a_millimetre_beyond_the_band_is_told_which_way_to_go() -> None:
    left = plain_survey().place.left_end
    for band, side in (({"left": left + 0.8}, "right"), ({"left": left - 50, "right": left + 3999.2}, "left")):
        found = lay_out(plain_survey(band=band, place={"slide": 0})).findings
        (stop,) = [f for f in found if f.code == "outside-band"]
        assert 'reaches 1/16" (1 mm) beyond' in stop.text
        assert stop.text.endswith(f"to the {side}.")


def test_masonry_without_an_anchor_report_has_places_but_no_use() -> None:
    layout = lay_out(plain_survey(wall={"kind": "concrete", "members": []}))
    assert [bracket.use for bracket in layout.brackets] == [None] * 4
    assert layout.fastener is None
    assert "anchor-report" in {finding.code for finding in layout.findings if finding.level == "stop"}


def test_members_on_continuous_backing_are_said_to_be_unused() -> None:
    assert "members-unused" in {f.code for f in lay_out(plain_survey(wall={"kind": "concrete"})).findings}


def test_the_manufacturers_number_of_brackets_is_kept() -> None:
    layout = lay_out(plain_survey(), at_least=5)
    assert (layout.required, len(layout.brackets)) == (5, 5)


def test_new_backing_goes_where_it_is_most_even_not_to_the_end_of_the_bar() -> None:
    """Arms at 300 and 3805: outer places 60 to 170 and 3935 or 3940. From 65 to 3935 the thirds lie on the grid."""
    survey = plain_survey(awning={"arms": [300, 3805]}, wall={"members": []})
    (text,) = [f.text for f in lay_out(survey).findings if f.code == "no-backing"]
    assert [place for place in ("(465 mm)", "(1755 mm)", "(3045 mm)", "(4335 mm)") if place not in text] == []


def test_findings_of_one_level_keep_to_the_order_of_the_work() -> None:
    """Places first, then room, fasteners, loads, lifting, ladders."""
    codes = [finding.code for finding in lay_out(plain_survey()).findings]
    assert codes == [
        "headroom", "one-line", "hidden-services", "cover", "service-wind", "material-lift", "overhead-lift", "ladder",
        "ladder-surroundings", "power", "old-paint", "fastener", "drilling", "off-centre", "member-depth",
        "wet-service", "bracket-plate", "load-case", "load-model",
    ]  # fmt: skip
