"""The small pictures of the second sheet, from what is handed to them: the shade on the ground, and the bracket.

Texts are 2.9 mm high, their base lines 3.828 mm apart (1.32 of that); the first lies 3.19 mm (1.1 of it) below the top.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from scheduler.layout.documents import Survey
from scheduler.layout.drawing import bracket_view, shade_plan
from scheduler.layout.drawing.paper.measures import Measures, Units
from scheduler.layout.drawing.paper.sheet import Box, DrawingSheet
from scheduler.layout.site.shade import Shade
from scheduler.weather.daylight import SunPosition
from tests.drawn import NAMESPACE, overlapping, written
from tests.shapes import GREY, NEAR, RUST, Shape, held, near, rings, shapes
from tests.surveys import plain_survey, second_survey

LINE = 2.9 * 1.32
SUN = SunPosition(50.0, 180.0)
AREA = Box(10, 20, 110, 90)
FLAT = second_survey(awning={"projection": 3000, "pitch_deg": 0})
FOUND = (
    Shade(6, 21, 11, SUN, why_none="sun low or down"),
    Shade(6, 21, 15, SUN, 1500.0, 0.0),
    Shade(7, 21, 11, SUN, 2000.0, -500.0),
    Shade(7, 21, 15, SUN, 1000.0, 800.0),
)


def texts(svg: str) -> dict[str, tuple[float, float, str]]:
    """Where each text begins, by its base line, and how it is anchored; the last of those that stand there twice."""
    return {
        text.text or "": (float(text.get("x", "0")), float(text.get("y", "0")), text.get("text-anchor", "start"))
        for text in ET.fromstring(svg).iter(f"{NAMESPACE}text")
    }


def shaded(found: tuple[Shade, ...], survey: Survey = FLAT, units: Units = "imperial") -> tuple[str, float]:
    sheet = DrawingSheet(200, 120)
    end = shade_plan.draw(sheet, survey, found, Measures(units), AREA)
    return sheet.svg("shade", ""), end


def corners(shape: Shape) -> list[tuple[float, float]]:
    return [(x, y) for x, y, _, _ in shape.lines]


def test_the_shade_of_two_hours_lies_before_the_wall_at_one_scale() -> None:
    """18 mm of paper for 3 m of cloth are 1 : 166.7, on which 5.3 m from shade to shade are 31.8 mm."""
    svg, _ = shaded(FOUND)
    made = shapes(svg)
    top = 20 + 3.19 + LINE + 3
    gray, dashed, cloth, wall = made[0], made[1], made[2], made[3]
    wanted = ((15, top), (39, top), (36, top + 12), (12, top + 12))
    assert corners(gray) == [pytest.approx(at, abs=NEAR) for at in wanted]
    assert (gray.fill, gray.dash) == ("#e4e4e4", "")
    wanted = ((15, top), (39, top), (43.8, top + 6), (19.8, top + 6))
    assert corners(dashed) == [pytest.approx(at, abs=NEAR) for at in wanted]
    assert (dashed.fill, dashed.dash) == ("none", "1.6 0.8")
    assert near(cloth.box, (15, top, 39, top + 18))
    assert (cloth.ink, cloth.dash) == (RUST, "0.9 0.6")
    assert near(wall.lines[0], (10, top, 110, top))  # type: ignore[arg-type]
    assert "Shade on Jul 21, 11 am gray, 3 pm within long dashes; the cloth within short dashes." in " ".join(
        texts(svg)
    )


def test_the_hours_stand_in_columns_and_the_days_in_rows() -> None:
    """Two hours in the 82 mm right of the days' names; shade to the inch, or to a tenth of a metre."""
    svg, end = shaded(FOUND)
    at = texts(svg)
    head = at["reach"][1]
    assert (at["reach"][0], at["11 am"][:2], at["3 pm"][:2]) == (10, (28, head), (69, head))
    first, second = head + LINE + 0.8, head + 2 * (LINE + 0.8)
    assert at["Jun 21"][:2] == pytest.approx((10, first), abs=NEAR)
    assert at["none"][:2] == pytest.approx((28, first), abs=NEAR)
    assert at["4' 11\""][:2] == pytest.approx((69, first), abs=NEAR)
    assert at["Jul 21"][:2] == pytest.approx((10, second), abs=NEAR)
    assert at["6' 7\""][:2] == pytest.approx((28, second), abs=NEAR)
    assert at["3' 3\""][:2] == pytest.approx((69, second), abs=NEAR)
    said = " ".join(at)
    assert (
        "From the wall, by the clock; none: sun low, behind the house, or in under the cloth. What stands further out"
        " is in the sun. Level ground; no valance, no trees."
    ) in said
    assert end == pytest.approx(max(y for _, y, _ in at.values()) + LINE, abs=NEAR)
    assert {"1.5 m", "2.0 m", "1.0 m"} <= {*texts(shaded(FOUND, units="metric")[0])}
    assert not overlapping(written(svg))


def test_the_rule_under_the_hours_runs_over_the_whole_width() -> None:
    svg, _ = shaded(FOUND)
    head = texts(svg)["reach"][1]
    assert held([s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.2], (10, head + 1.2, 110, head + 1.2))  # type: ignore[misc]


def test_an_hour_without_shade_is_said_and_not_drawn() -> None:
    none = Shade(7, 21, 15, SUN, why_none="the house itself shades")
    svg, _ = shaded((FOUND[2], none))
    assert [s.fill for s in shapes(svg)] == ["#e4e4e4", "none", "none", "none"]  # shade, cloth, wall, rule
    assert "11 am gray, 3 pm none; the" in " ".join(texts(svg))


def test_a_low_suns_shade_runs_off_the_picture_at_an_awnings_width() -> None:
    """From −4 m to 8 m at most: 12 m on 96 mm are 1 : 125, less than the 1 : 166.7 of the cloth's 3 m."""
    svg, _ = shaded((Shade(7, 21, 11, SUN, 2000.0, -9000.0), Shade(7, 21, 15, SUN, 2000.0, 9000.0)))
    left, right = shapes(svg)[:2]
    assert left.box[0] == pytest.approx(12, abs=NEAR)
    assert right.box[2] == pytest.approx(12 + 12_000 / (3000 / 18), abs=NEAR)


def test_a_wide_awning_is_drawn_as_wide_as_the_paper() -> None:
    """18 m on 96 mm are 1 : 187.5, more than the 1 : 166.7 of the cloth's 3 m."""
    wide = second_survey(
        awning={"width": 18_000, "projection": 3000, "pitch_deg": 0, "arms": [1000, 17_000]}, band={"right": 20_000}
    )
    svg, _ = shaded((Shade(7, 21, 11, SUN, 1500.0, 0.0),), wide)
    gray = shapes(svg)[0].box
    assert (gray[0], gray[2]) == pytest.approx((12, 108), abs=NEAR)
    assert gray[3] - gray[1] == pytest.approx(8, abs=NEAR)


def test_a_small_awning_is_not_drawn_larger_than_one_to_ten() -> None:
    small = second_survey(
        awning={"width": 500, "projection": 100, "pitch_deg": 0, "arms": [100, 400], "arm_half": 10,
                "bracket_width": 50, "holes": [{"across": 0, "down": down} for down in (0, 42, 84, 126)]}
    )  # fmt: skip
    svg, _ = shaded((Shade(7, 21, 11, SUN, 80.0, 0.0),), small)
    gray = shapes(svg)[0].box
    assert (gray[2] - gray[0], gray[3] - gray[1]) == pytest.approx((50, 8), abs=NEAR)


def test_without_a_bearing_no_shade_is_drawn() -> None:
    svg, end = shaded(())
    assert shapes(svg) == []
    at = texts(svg)
    assert "No shade is drawn: the survey has not taken which way the wall faces, or the" in " ".join(at)
    assert at["Shade of the open awning on the ground"][:2] == pytest.approx((10, 23.19))
    assert end == pytest.approx(max(y for _, y, _ in at.values()) + LINE, abs=NEAR)


# The bracket

HERE = Box(10, 20, 140, 80)


def bracket(survey: Survey, area: Box = HERE) -> tuple[str, float]:
    sheet = DrawingSheet(200, 120)
    end = bracket_view.draw(sheet, survey, Measures("imperial"), area)
    return sheet.svg("bracket", ""), end


def test_the_bracket_is_drawn_at_a_scale_with_its_holes_and_lever() -> None:
    """174 mm (the lever and as much above the holes as the edge lies below) on 24 mm: 1 : 8."""
    svg, end = bracket(second_survey())
    upper, lower = 23.19 + 5 + 3, 23.19 + 5 + 3 + 150 / 8
    plate, middle, *_ = shapes(svg)
    assert near(plate.box, (36, upper - 3, 51, lower))
    assert near(middle.lines[0], (43.5, upper - 4, 43.5, lower + 1))  # type: ignore[arg-type]
    assert (middle.ink, middle.dash) == (GREY, "4 0.8 0.6 0.8")
    assert [(ring.x, ring.y, ring.radius) for ring in rings(svg)] == [
        pytest.approx((43.5, upper + down / 8, 0.9), abs=NEAR) for down in (0, 42, 84, 126)
    ]
    ticks = [s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.35]
    assert held(ticks, *((31.2, at + 0.8, 32.8, at - 0.8) for at in (upper, lower)))  # type: ignore[arg-type]
    lines = [s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.18]
    assert held(lines, (32, upper, 32, lower))  # type: ignore[arg-type]
    hairs = [s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.13 and not s.dash]
    assert held(hairs, (31, upper, 36, upper), (31, lower, 36, lower))  # type: ignore[arg-type]
    at = texts(svg)
    assert at["Bracket from the front, and its bolt pattern"][:2] == pytest.approx((10, 23.19))
    assert at['5 7/8"'] == (pytest.approx(30.4), pytest.approx(upper + 4, abs=NEAR), "end")
    assert at["lever"] == (pytest.approx(30.4), pytest.approx(upper + 4 + LINE, abs=NEAR), "end")
    for text, down in (("0 down", 0), ('1 5/8" down', 42), ('3 5/16" down', 84), ('4 15/16" down', 126)):
        assert at[text][:2] == pytest.approx((57, upper + down / 8 + 1), abs=NEAR)
    leads = [s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.1]
    assert held(leads, *((44.5, upper + down / 8, 56, upper + down / 8) for down in (0, 42, 84, 126)))  # type: ignore[arg-type]
    assert end == pytest.approx(lower + 2, abs=NEAR)


def test_holes_side_by_side_have_names_below_each_other() -> None:
    holes = [{"across": side, "down": down} for down in (80, 0) for side in (30, -30)]
    svg, end = bracket(second_survey(awning={"holes": holes}))
    assert not overlapping(written(svg))
    at = texts(svg)
    names = ['0 down, 1 3/16" left', '0 down, 1 3/16" right', '3 1/8" down, 1 3/16" left', '3 1/8" down, 1 3/16" right']
    heights = [at[name][1] for name in names]
    assert heights == sorted(heights)
    assert [round(ring.x, 2) for ring in rings(svg)] == [39.75, 47.25, 39.75, 47.25]
    assert end >= heights[-1] + 2


def test_holes_near_the_foot_push_the_end_of_the_picture_down() -> None:
    holes = [
        {"across": x, "down": down} for x, down in ((0, 0), (-40, 140), (-20, 140), (0, 140), (20, 140), (40, 140))
    ]
    svg, end = bracket(second_survey(awning={"bolts": 6, "holes": holes}))
    lowest = max(y for _, y, _ in texts(svg).values())
    assert end == pytest.approx(lowest + 2, abs=NEAR)


@pytest.mark.parametrize(
    ("changes", "scale"),
    [
        # 13 mm and 11 mm below: 24 mm and twice that on 24 mm of paper.
        ({"bracket_lever": 40, "bracket_width": 60, "holes": [{"across": 0, "down": d} for d in (0, 10, 20, 32)]}, 2),
        ({"bracket_lever": 40.1, "bracket_width": 60, "holes": [{"across": 0, "down": d} for d in (0, 10, 20, 32)]}, 3),
        # On 68 mm of width.
        ({"bracket_lever": 40, "bracket_width": 136, "holes": [{"across": 0, "down": d} for d in (0, 10, 20, 32)]}, 2),
        ({"bracket_lever": 40, "bracket_width": 137, "holes": [{"across": 0, "down": d} for d in (0, 10, 20, 32)]}, 3),
        # At most 40 mm of plate are drawn above the holes.
        ({"bracket_lever": 320, "holes": [{"across": 0, "down": d} for d in (0, 42, 84, 126)]}, 15),
        ({"bracket_lever": 321, "holes": [{"across": 0, "down": d} for d in (0, 42, 84, 126)]}, 20),
        ({"bracket_lever": 1990, "holes": [{"across": 0, "down": d} for d in (0, 42, 84, 126)]}, 80),
    ],
)
def test_the_scale_is_the_largest_at_which_the_bracket_has_room(changes: dict[str, object], scale: int) -> None:
    survey = second_survey(awning=changes)
    svg, _ = bracket(survey)
    plate = shapes(svg)[0].box
    assert plate[2] - plate[0] == pytest.approx(survey.awning.bracket_width / scale, abs=NEAR)


def test_a_bracket_without_a_surveyed_pattern_has_no_holes() -> None:
    svg, _ = bracket(plain_survey())
    assert rings(svg) == []
    assert texts(svg)["holes not surveyed"][:2] == pytest.approx((57, 23.19 + 5 + 40 / 8 + 1), abs=NEAR)
