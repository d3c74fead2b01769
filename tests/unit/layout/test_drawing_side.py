"""The side view at its scale, and what all lines of a drawing have in common."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.drawing import draw_svg
from scheduler.layout.drawing.paper.measures import Units
from tests.drawn import NAMESPACE
from tests.shapes import (
    CLOTH,
    GRAPHITE,
    GREY,
    NEAR,
    PALE,
    PAPER,
    RUST,
    held,
    near,
    place,
    rings,
    scale_of,
    shapes,
)  # fmt: skip
from tests.surveys import plain_survey

STUDS = [round(406.4 * n, 1) for n in range(32)]
LOW: dict[str, Any] = {"place": {"height": 400}, "band": {"bottom": 100, "top": 600}, "doors": []}
SURVEYS: dict[str, dict[str, Any]] = {
    "plain": {"obstacles": [{"what": "light", "left": 3000, "right": 3150, "bottom": 2800, "top": 2900}]},
    "low": LOW,
    "too many things": {
        "doors": [{"left": 90 * k, "right": 90 * k + 900, "top": 2000, "swings_out": True} for k in range(9)]
    },
    "two more studs needed": {"wall": {"members": [2438.4, 2844.8, 4064.0]}},
    **{
        kind: {"wall": {"kind": kind, "members": []}}
        for kind in ("concrete", "solid-masonry", "stucco-on-studs", "rim-board")
    },
}


@pytest.mark.parametrize("units", ["metric", "imperial"])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"awning": {"pitch_deg": 30, "projection": 2000, "front_drop": 300}},
        LOW,
        {"wall": {"kind": "hollow-block", "members": STUDS}},
    ],
)
def test_the_side_view_has_the_pitch_reach_and_headroom_at_its_scale(changes: dict[str, Any], units: Units) -> None:
    survey = plain_survey(**changes)
    svg = draw_svg(survey, lay_out(survey), units=units)
    made, scale, awning, height = shapes(svg), scale_of(svg, "Side view"), survey.awning, survey.place.height
    pitch = math.radians(awning.pitch_deg)
    drop, reach = awning.projection * math.sin(pitch) / scale, awning.projection * math.cos(pitch) / scale
    (cloth,) = [s.lines[0] for s in made if s.is_line and s.pen == 0.6 and s.ink == RUST]
    face, line = cloth[:2]
    low = min(drop, height / scale)
    assert cloth == pytest.approx((face, line, face + reach, line + low), abs=NEAR)
    ground = line + height / scale
    grounds = [s.lines[0] for s in made if s.is_line and s.pen == 0.6 and s.ink == GRAPHITE]
    assert ground == pytest.approx(grounds[-1][1], abs=NEAR)
    (body,) = [s.box for s in made if s.is_box and s.ink == RUST and s.fill == PAPER]
    assert body[0] == face
    assert body[1] == pytest.approx(line - awning.body_above / scale, abs=NEAR)
    assert body[3] == pytest.approx(line + awning.body_below / scale, abs=NEAR)
    assert body[2] - body[0] == pytest.approx(max(1.2, (awning.body_above + awning.body_below) / 2 / scale), abs=NEAR)
    lowest = min(line + drop + awning.front_drop / scale, ground)
    (front,) = [
        s.box for s in made if s.is_box and s.fill == GRAPHITE and abs((s.box[0] + s.box[2]) / 2 - face - reach) < NEAR
    ]
    assert front[2] - front[0] == pytest.approx(1.2, abs=NEAR)
    assert front[3] == pytest.approx(max(lowest, line + low + 0.2), abs=NEAR)
    assert line + low - 0.8 - NEAR <= front[1] < line + low
    right = face + reach + 4
    ends = [
        s.lines[0] for s in made if s.is_line and s.lines[0][0] == s.lines[0][2] and abs(s.lines[0][0] - right) < NEAR
    ]
    assert held(ends, (right, line, right, line + low), (right, lowest, right, ground))
    (arm,) = [
        s for s in made if s.ink == RUST and len(s.lines) == 2
    ]  # bent at the elbow, from the body to the front bar
    assert (arm.lines[0][:2], arm.lines[-1][2:]) == (
        pytest.approx((face, body[3] - 0.5), abs=NEAR),
        pytest.approx((face + reach, line + low), abs=NEAR),
    )
    elbow = arm.lines[0][2:]
    assert [r for r in rings(svg) if (r.x, r.y) == pytest.approx(elbow, abs=NEAR)]
    assert face < elbow[0] < face + reach
    section = [
        s.box
        for s in made
        if s.is_box and s.fill == "none" and abs(s.box[2] - face) < NEAR and abs(s.box[3] - ground) < NEAR
    ]
    assert len(section) == 1
    assert section[0][2] - section[0][0] == pytest.approx(4)
    assert section[0][1] < body[1]
    below = next(
        s.lines[0]
        for s in made
        if s.is_line
        and near((s.lines[0][0], 0, s.lines[0][2], 0), (face, 0, face + reach, 0))
        and s.lines[0][1] == s.lines[0][3] > ground
    )
    for x in (face, face + reach):
        assert [s for s in made if s.is_line and near(s.lines[0], (x - 0.8, below[1] + 0.8, x + 0.8, below[1] - 0.8))]
        assert [
            s
            for s in made
            if s.is_line
            and s.ink == GREY
            and near((s.lines[0][0], 0, s.lines[0][2], s.lines[0][3]), (x, 0, x, below[1] + 0.8))
        ]
    for y in (line, line + low, lowest, ground):
        assert [s for s in made if s.is_line and near(s.lines[0], (right - 0.8, y + 0.8, right + 0.8, y - 0.8))]
    for y in (line + low, lowest):  # thin lines lead from the front bar to the dimension, not through the bar
        assert [
            s for s in made if s.ink == GREY and s.is_line and near(s.lines[0], (face + reach + 1.2, y, right + 1, y))
        ]
    assert [
        s for s in made if s.ink == GREY and s.dash and s.is_line and near(s.lines[0], (face, line, right + 1, line))
    ]
    earth = [s.box for s in made if s.ink == GREY and len(s.lines) > 3 and s.box[1] > ground and s.box[3] < ground + 3]
    assert len(earth) == 1
    assert earth[0][1::2] == pytest.approx((ground + 0.3, ground + 1.7), abs=0.03)
    assert earth[0][::2] == pytest.approx((face, grounds[-1][2]), abs=1.7)
    assert grounds[-1][0] == pytest.approx(section[0][0] - 0.5, abs=NEAR)
    assert grounds[-1][2] == pytest.approx(face + reach + 9, abs=NEAR)
    word = place(svg, "reach")
    assert word[1] > below[1]
    assert (word[0] + word[2]) / 2 == pytest.approx(face + reach / 2, abs=0.1)
    title, row = place(svg, "Side view, awning open"), place(svg, "projection, along the cloth")
    assert 1 < row[1] - title[3] < 4
    assert row[0] - title[0] == pytest.approx(92 - 45, abs=0.05)
    assert section[0][1] > title[3]


STYLES = {
    "fill": {"none", GRAPHITE, GREY, PALE, PAPER, RUST, CLOTH},
    "stroke": {GRAPHITE, GREY, PALE, PAPER, RUST},
    "text-anchor": {"middle", "end"},
    "font-weight": {"bold"},
    "lengthAdjust": {"spacingAndGlyphs"},
    "role": {"img"},
    "font-family": {"DejaVu Sans,Verdana,sans-serif"},
    "stroke-linecap": {"round"},
    "stroke-linejoin": {"round"},
}
NUMBER = r"-?\d+(\.\d{1,2})?"


@pytest.mark.parametrize("name", SURVEYS)
def test_every_mark_is_one_that_prints(name: str) -> None:
    """Six colours, lines of a tenth to six tenths of a millimetre, numbers to the hundredth, and nothing else."""
    survey = plain_survey(**SURVEYS[name])
    svg = draw_svg(survey, lay_out(survey))
    for element in ET.fromstring(svg).iter():
        for key, value in element.attrib.items():
            if key in STYLES:
                assert value in STYLES[key], (element.tag, key, value)
            elif key == "stroke-width":
                assert value == "0.01" or 0.09 <= float(value) <= 0.6, value  # 0.01: white on white
            elif key == "stroke-dasharray":
                assert all(0.4 <= float(part) <= 4 for part in value.split()), value
            elif key == "d":
                assert re.fullmatch(rf"([MLHVhlmZ]({NUMBER}|\.02)?([ ]({NUMBER}))?)+", value), value[:200]
            elif key == "transform":
                assert re.fullmatch(rf"rotate\(-90 {NUMBER} {NUMBER}\)", value)
            elif key not in ("viewBox", "width", "height") or element.tag != f"{NAMESPACE}svg":
                assert re.fullmatch(NUMBER, value), (element.tag, key, value)
