"""Which stretch of wall the drawing shows, and how large: the largest usual scale that shows what matters.

The picture for a screen has 205 − 2 × 2 − 18.5 − 1 = 181.5 mm for the wall, and height to spare; beside
what is shown there is a margin of 0.6 % of the awning's width and 30 mm on either side.
"""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.drawing import draw_svg
from scheduler.layout.drawing.paper.measures import Units
from scheduler.layout.drawing.picture import draw_picture
from tests.drawn import Box, written
from tests.shapes import CLOTH, Shape, scale_of, shapes
from tests.surveys import plain_survey


def far_from_the_datum(width: float, beside: float = 0.0, left_end: float = 10_000) -> dict[str, Any]:
    return {
        "awning": {"width": width, "arms": [500, width - 500]},
        "band": {"left": left_end - beside, "right": left_end + width + beside},
        "place": {"left_end": left_end}, "wall": {"kind": "concrete", "members": []},
    }  # fmt: skip


def drawing(changes: dict[str, Any], units: Units = "metric") -> str:
    survey = plain_survey(**changes)
    return draw_svg(survey, lay_out(survey), units=units)


def picture(changes: dict[str, Any], units: Units = "metric") -> tuple[str, int]:
    """Return the picture for a screen and its scale, read off from the awning's width."""
    survey = plain_survey(**changes)
    svg = draw_picture(survey, lay_out(survey), units=units)
    (body,) = [s.box for s in shapes(svg) if s.fill == CLOTH]
    return svg, round(survey.awning.width / (body[2] - body[0]))


def ground(svg: str) -> Box:
    return next(s.lines[0] for s in shapes(svg) if s.is_line and s.pen == 0.6)  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("width", "units", "scale"),
    [
        (3527, "metric", 20),  # 20 × 181.5 = 3630 = 1.012 × 3527.7 + 60
        (3528, "metric", 30),  # 1 : 25 would do, with a break; at 1 : 30 it needs none
        (4245, "imperial", 24),  # 24 × 181.5 = 4356 = 1.012 × 4245.1 + 60
        (4246, "imperial", 48),
    ],
)
def test_the_largest_usual_scale_at_which_the_awning_fits(width: float, units: Units, scale: int) -> None:
    assert picture(far_from_the_datum(width), units)[1] == scale


@pytest.mark.parametrize(
    ("width", "shown"),
    [
        (2700, 1.3 * 2700 + 92.4),  # 15 % on either side fit at 1 : 20 as the awning alone does
        (3000, 1.1 * 3000 + 96),  # 15 % would take 1 : 25, 5 % do not
        (3400, 3400 + 100.8),  # here 5 % would
    ],
)
def test_as_much_of_the_band_beside_it_as_costs_no_scale(width: float, shown: float) -> None:
    svg, scale = picture(far_from_the_datum(width, beside=2000))
    left, _, right, _ = ground(svg)
    assert scale == 20
    assert (right - 0.8 - left - 6.5) * scale == pytest.approx(shown, abs=0.5)


def test_a_band_that_ends_sooner_is_shown_to_its_end() -> None:
    svg, _ = picture(far_from_the_datum(2700, beside=100))
    left, _, right, _ = ground(svg)
    assert (right - 0.8 - left - 6.5) * 20 == pytest.approx(2700 + 200 + 92.4, abs=0.5)


@pytest.mark.parametrize(("left_end", "near"), [(1800, True), (1801, False)])
def test_the_datum_is_shown_where_it_is_near(left_end: float, near: bool) -> None:
    """Up to 0.3 widths and 600 from the awning: 1800 for one of 4000."""
    words = " ".join(text.text for text in written(drawing(far_from_the_datum(4000, left_end=left_end))))
    assert ("From the wall's zero (0) to" in words) is near
    assert ("left of this picture" in words) is not near


def test_the_picture_stands_in_the_middle_of_its_room() -> None:
    """Its room begins 9 + 18.5 mm from the paper's edge and ends 9 + 1 mm before the other."""
    left, _, right, _ = ground(drawing(far_from_the_datum(4000)))
    assert left + 6.5 - 27.5 == pytest.approx(279.4 - 10 - (right - 0.8), abs=0.02)


def members(svg: str) -> list[Shape]:
    return [s for s in shapes(svg) if s.dash == "1.6 0.8"]


@pytest.mark.parametrize(
    ("band_top", "above"),
    [(3000, 190), (5000, 650), (2950, 150)],  # 90 over the band; at most 500 and 90 over the body's top, 60 up
)
def test_how_much_of_the_wall_is_shown_above_the_awning(band_top: float, above: float) -> None:
    svg = drawing({"band": {"top": band_top}})
    chalk = next(s.lines[0][1] for s in shapes(svg) if s.dash == "3 0.7 0.7 0.7")
    top = members(svg)[0].box[1]
    assert (chalk - top) * scale_of(svg, "Elevation") == pytest.approx(above, abs=0.5)


@pytest.mark.parametrize(
    ("changes", "least"),
    [
        ({}, 2550),  # 150 below the band's lower edge, 2700
        ({"band": {"bottom": 100}}, 2070),  # at most 500 and 150 below the body, 2720
        ({"awning": {"bracket_lever": 400}}, 2350),  # below the brackets, where they reach lower than body and band
    ],
)
def test_the_break_lies_below_all_that_matters(changes: dict[str, Any], least: float) -> None:
    svg = drawing(changes)
    kinks = [s.lines[0][1] for s in shapes(svg) if len(s.lines) == 13]
    chalk = next(s.lines[0][1] for s in shapes(svg) if s.dash == "3 0.7 0.7 0.7")
    assert len(kinks) == 2
    assert 2900 - (min(kinks) - chalk) * scale_of(svg, "Elevation") <= least + 0.5


@pytest.mark.parametrize(("height", "scale", "broken"), [(1000, 15, False), (1800, 20, False), (2600, 15, True)])
def test_a_wall_that_the_next_scale_shows_whole_is_not_broken(height: float, scale: int, broken: bool) -> None:
    """Two metres of awning go in at 1 : 15. From 1800 up the ground is shown at 1 : 20 too; from 2600 at neither."""
    changes = far_from_the_datum(2000) | {"place": {"left_end": 10_000, "height": height}, "doors": []}
    changes["band"] = changes["band"] | {"bottom": height - 250, "top": height + 100}
    svg, found = picture(changes)
    assert found == scale
    assert bool([s for s in shapes(svg) if len(s.lines) == 13]) is broken


def test_the_closed_awning_stays_whole_whatever_the_scale() -> None:
    for height in (300, 900, 2900, 9000, 40_000):
        band = {"bottom": max(0, height - 200), "top": height + 100}
        svg = drawing({"place": {"height": height}, "band": band, "doors": []})
        (body,) = [s.box for s in shapes(svg) if s.fill == CLOTH]
        assert (body[3] - body[1]) * scale_of(svg, "Elevation") == pytest.approx(240, abs=0.6)
