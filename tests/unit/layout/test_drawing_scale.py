"""What the wall drawing shows stands where it was measured, at the scale that the title block states."""

from __future__ import annotations

from typing import Any

import pytest

from tests.drawn import Box, written
from tests.shapes import CLOTH, GRAPHITE, GREY, NEAR, PAPER, RUST, Picture, held, near, picture, rings

LIGHT = {"what": "light", "left": 3000, "right": 3150, "bottom": 2800, "top": 2900}  # behind the closed awning
VENT = {"what": "vent", "left": 450, "right": 650, "bottom": 200, "top": 500}
STUDS = [round(406.4 * n, 1) for n in range(32)]
# Twelve metres of awning on a sheet: the wall is shown whole, from the ground to above the awning.
WHOLE: dict[str, Any] = {
    "awning": {"width": 12000, "arms": [600, 6000, 11400], "arm_half": 150, "bracket_width": 200},
    "band": {"right": 13000}, "wall": {"members": STUDS}, "obstacles": [LIGHT, VENT],
    "doors": [{"left": 1500, "right": 3900, "top": 2050, "swings_out": True}], "wind_class": 0,
}  # fmt: skip
# Four metres: the stretch between door and band is left out.
BROKEN: dict[str, Any] = {"obstacles": [LIGHT, VENT | {"bottom": 20, "top": 80}]}
LOW: dict[str, Any] = {"place": {"height": 400}, "band": {"bottom": 100, "top": 600}, "doors": []}
SURVEYS = {
    "whole": WHOLE,
    "broken": BROKEN,
    "low": LOW,
    "without hood": WHOLE | {"awning": WHOLE["awning"] | {"hood": False}},
    "datum at its left end": {"place": {"left_end": 0, "slide": 0}},
    "concrete": {"wall": {"kind": "concrete", "members": []}, "obstacles": [LIGHT]},
}


CASES = [
    ("whole", "metric"), ("whole", "imperial"), ("broken", "metric"), ("broken", "imperial"), ("low", "metric"),
    ("without hood", "metric"), ("datum at its left end", "imperial"), ("concrete", "metric"),
]  # fmt: skip


@pytest.fixture(params=CASES, ids=str)  # drawn anew for each test, so that mutants of the drawing meet all of them
def shown(request: pytest.FixtureRequest) -> Picture:
    name, units = request.param
    return picture(SURVEYS[name], units)


def test_the_closed_awning_is_as_wide_and_high_as_it_is(shown: Picture) -> None:
    awning, height, left = shown.survey.awning, shown.survey.place.height, shown.survey.place.left_end
    left += shown.layout.shift
    wanted = (
        shown.x(left), shown.y(height + awning.body_above), shown.x(left + awning.width),
        shown.y(height - awning.body_below),
    )  # fmt: skip
    assert held(shown.boxes(fill=CLOTH), wanted)
    hood = [line for line in shown.lines(ink=RUST) if abs(line[1] - line[3]) < NEAR and abs(line[0] - wanted[0]) < NEAR]
    tall = wanted[3] - wanted[1] > 2.5
    assert len(hood) == (awning.hood and tall)
    assert all(line[1] == pytest.approx(wanted[1] + 0.8, abs=NEAR) and abs(line[2] - wanted[2]) < NEAR for line in hood)


def test_each_arm_zone_is_crossed_out_from_the_chalk_line_to_the_lower_edge(shown: Picture) -> None:
    awning, height, left = shown.survey.awning, shown.survey.place.height, shown.survey.place.left_end
    left += shown.layout.shift
    zones = [
        (
            shown.x(left + max(arm - awning.arm_half, 0)), shown.chalk,
            shown.x(left + min(arm + awning.arm_half, awning.width)), shown.y(height - awning.body_below),
        )
        for arm in awning.arms
    ]  # fmt: skip
    assert held(shown.boxes(ink=RUST, fill="none"), *zones)
    for x0, y0, x1, y1 in zones:
        crosses = [
            line for line in shown.lines(ink=RUST) if near(line, (x0, y0, x1, y1)) or near(line, (x0, y1, x1, y0))
        ]
        assert len(crosses) == 2


def test_each_bracket_stands_at_its_place_down_to_its_lower_edge(shown: Picture) -> None:
    awning, height = shown.survey.awning, shown.survey.place.height
    bodies = [box for box in shown.boxes(fill=GRAPHITE) if abs(box[3] - shown.y(height - awning.bracket_lever)) < NEAR]
    half = awning.bracket_width / 2
    assert held(
        bodies,
        *((shown.x(b.wall - half), bodies[0][1], shown.x(b.wall + half), bodies[0][3]) for b in shown.layout.brackets),
    )
    assert all(0.5 < shown.chalk - box[1] < 1 for box in bodies)  # a hair over the upper fasteners
    middles = [
        line for line in shown.lines(ink=PAPER) if near((line[1], line[3], 0, 0), (bodies[0][1], bodies[0][3], 0, 0))
    ]
    assert held(
        middles, *((shown.x(b.wall), bodies[0][1], shown.x(b.wall), bodies[0][3]) for b in shown.layout.brackets)
    )


def test_both_edges_of_each_member_run_down_to_the_ground(shown: Picture) -> None:
    wall, half = shown.survey.wall, (shown.survey.wall.member_width or 0) / 2
    left, right = shown.x(-10_000), shown.x(20_000)
    used = {b.member for b in shown.layout.brackets}
    edges = shown.lines(ink=GREY, dash="1.6 0.8")
    if edges:
        left, right = min(e[0] for e in edges) - 2, max(e[0] for e in edges) + 2
    seen = {n: at for n, at in enumerate(wall.members) if left < shown.x(at) < right}
    wanted = [shown.x(at + side) for at in seen.values() for side in (-half, half)]
    assert sorted(e[0] for e in edges) == pytest.approx(sorted(wanted), abs=NEAR)
    assert all(
        e[3] == shown.ground and e[1] < shown.y(shown.survey.place.height + shown.survey.awning.body_above)
        for e in edges
    )
    pens = {
        n: {
            s.pen
            for s in shown.shapes
            if s.dash == "1.6 0.8" and abs(abs(s.lines[0][0] - shown.x(at)) - half / shown.scale) < NEAR
        }
        for n, at in seen.items()
    }
    assert not used - {None} - set(seen)
    for n, at in seen.items():
        assert len(pens[n]) == 1, at
    heavy = {pen for n in seen if n in used for pen in pens[n]}
    light = {pen for n in seen if n not in used for pen in pens[n]}
    assert not (heavy and light) or min(heavy) > max(light)  # those with a bracket stand out


def test_the_clear_band_is_dashed(shown: Picture) -> None:
    (band,) = shown.boxes(dash="2 1")
    it = shown.survey.band
    assert band[1] == pytest.approx(shown.y(it.top), abs=NEAR)
    assert band[3] == pytest.approx(shown.y(it.bottom), abs=NEAR)
    assert band[0] == pytest.approx(max(shown.x(it.left), _wall(shown)[0]), abs=NEAR)
    assert band[2] == pytest.approx(min(shown.x(it.right), _wall(shown)[1]), abs=NEAR)


def _wall(shown: Picture) -> tuple[float, float]:
    """The wall's ends on the sheet: the ground line runs over both by 6.5 and 0.8 mm."""
    line = next(line for line in shown.lines(pen=0.6) if line[1] == shown.ground)
    return line[0] + 6.5, line[2] - 0.8


def test_doors_stand_on_the_ground_in_a_frame(shown: Picture) -> None:
    doors = [
        (shown.x(d.left), shown.from_ground(d.top), shown.x(d.right), shown.ground) for d in shown.survey.doors
    ]  # fmt: skip
    found = [box for box in shown.boxes(fill=PAPER, ink=GRAPHITE) if abs(box[3] - shown.ground) < NEAR]
    if shown.is_broken:  # the head may lie in the gap
        assert held([(box[0], 0, box[2], 0) for box in found], *((door[0], 0, door[2], 0) for door in doors))
    else:
        assert held(found, *doors)
    frames = [
        s for s in shown.shapes if len(s.lines) == 3 and s.pen < 0.2 and s.ink == GRAPHITE and s.box[3] == shown.ground
    ]
    assert len(frames) == len(found)
    for frame, door in zip(frames, found, strict=True):
        inset = frame.box[0] - door[0]
        assert inset > 0
        assert (door[2] - frame.box[2], frame.box[1] - door[1]) == pytest.approx((inset, inset), abs=NEAR)


def test_obstacles_are_hatched_where_they_are_and_dashed_behind_the_awning(shown: Picture) -> None:
    for it in shown.survey.obstacles:
        y = shown.from_ground if it.top < 600 else shown.y
        box = (shown.x(it.left), y(it.top), shown.x(it.right), y(it.bottom))
        assert [b for b in shown.boxes(fill=PAPER) if near(b, box)]
        hatch = [s for s in shown.shapes if s.ink == GREY and s.lines and len(s.lines) > 1 and _inside(s.box, box)]
        assert len(hatch) == 1
        assert len([b for b in shown.boxes(dash="0.9 0.6") if near(b, box)]) == (it.what == "light")


def _inside(box: Box, other: Box) -> bool:
    return (
        box[0] >= other[0] - NEAR
        and box[1] >= other[1] - NEAR
        and box[2] <= other[2] + NEAR
        and box[3] <= other[3] + NEAR
    )


def test_heights_are_true_or_the_wall_is_broken_and_says_so(shown: Picture) -> None:
    kinks = [s for s in shown.shapes if len(s.lines) == 13]
    stated = ", a stretch left out at the break lines" in " ".join(text.text for text in written(shown.svg))
    assert len(kinks) == (2 if shown.is_broken else 0)
    assert stated == shown.is_broken
    if not kinks:
        return
    low, high = (s.lines[0][1] for s in kinks)
    left, right = _wall(shown)
    for kink in kinks:  # from end to end, level but for three kinks up and down
        assert (kink.lines[0][0], kink.lines[-1][2]) == pytest.approx((left - 1.5, right + 0.8), abs=NEAR)
        levels = {round(y - kink.lines[0][1], 2) for line in kink.lines for y in (line[1], line[3])}
        assert levels == {-1.0, 0.0, 1.0}
        ups = [(line[0] + line[2]) / 2 for line in kink.lines if abs(line[1] - line[3]) == pytest.approx(2)]
        assert ups == pytest.approx([left + (right - left) * part for part in (0.2, 0.5, 0.8)], abs=NEAR)
    assert low - high == pytest.approx(3)
    assert shown.ground - low == pytest.approx(5)
    gap = [box for box in shown.boxes(fill=PAPER, ink=PAPER) if abs(box[1] - high) < NEAR and abs(box[3] - low) < NEAR]
    assert len(gap) == 1
    assert gap[0][0] < left
    assert gap[0][2] > right
    assert shown.y(shown.survey.place.height - shown.survey.awning.bracket_lever) < high  # no bracket is cut


def test_the_chalk_line_runs_through_the_awning_and_its_height_is_dimensioned(shown: Picture) -> None:
    outside, inside = shown.lines(dash="3 0.7 0.7 0.7")
    (body,) = shown.boxes(fill=CLOTH)
    left = _wall(shown)[0]
    assert outside == pytest.approx((left - 5.8, shown.chalk, body[0], shown.chalk), abs=NEAR)
    assert inside == pytest.approx((body[0], shown.chalk, body[2], shown.chalk), abs=NEAR)
    x = left - 4.8
    assert [line for line in shown.lines(ink=GRAPHITE) if near(line, (x, shown.chalk, x, shown.ground))]
    for y in (shown.chalk, shown.ground):
        assert [line for line in shown.lines() if near(line, (x - 0.9, y + 0.9, x + 0.9, y - 0.9))]
    marks = [s for s in shown.shapes if len(s.lines) == 2 and s.box[0] > x - 2 and s.box[2] < x + 2 and s.pen == 0.18]
    assert len(marks) == shown.is_broken
    gap = [box for box in shown.boxes(fill=PAPER, ink=PAPER) if near(box, (x - 1.2, box[1], x + 1.2, box[3]))]
    assert len(gap) == shown.is_broken
    for mark, hole in zip(marks, gap, strict=True):  # two strokes that rise to the right bound the gap in the line
        assert all(
            line[2] - line[0] == pytest.approx(2.6) and line[1] - line[3] == pytest.approx(0.8) for line in mark.lines
        )
        assert [(line[1] + line[3]) / 2 for line in mark.lines] == pytest.approx([hole[1], hole[3]], abs=NEAR)
        kinks = [s.lines[0][1] for s in shown.shapes if len(s.lines) == 13]
        assert (hole[1] + hole[3]) / 2 == pytest.approx(sum(kinks) / 2, abs=NEAR)


def test_both_running_dimensions_tick_every_bracket_and_end(shown: Picture) -> None:
    left = shown.survey.place.left_end + shown.layout.shift
    right = left + shown.survey.awning.width
    places = [b.wall for b in shown.layout.brackets]
    ticks: dict[float, list[float]] = {}
    for x0, y0, x1, y1 in shown.lines(pen=0.35, ink=GRAPHITE):
        if x1 - x0 == pytest.approx(1.8) and y0 - y1 == pytest.approx(1.8) and x0 > _wall(shown)[0] - 3:
            ticks.setdefault(round((y0 + y1) / 2, 1), []).append((x0 + x1) / 2)
    same = abs(left) < 0.5
    chains = [
        xs for y, xs in sorted(ticks.items()) if y < shown.ground + 40 and (y < shown.chalk or y > shown.ground + 1)
    ]
    upper = [shown.x(at) for at in (*places, right, *([] if same else [left]))]
    lower = [shown.x(at) for at in (*places, right)]
    assert sorted(chains[0]) == pytest.approx(sorted(upper), abs=NEAR)
    if (
        not same
        and len(chains) > 1
        and "From the awning's left end (0)" in " ".join(t.text for t in written(shown.svg))
    ):
        assert sorted(chains[1]) == pytest.approx(sorted(lower), abs=NEAR)


def test_the_line_of_each_bracket_leads_from_its_figure_to_the_bracket(shown: Picture) -> None:
    (body,) = shown.boxes(fill=CLOTH)
    base = min(y for x0, y, x1, y1 in shown.lines(pen=0.18, ink=GRAPHITE) if y == y1 and x1 - x0 > 50)
    for bracket in shown.layout.brackets:
        x = shown.x(bracket.wall)
        assert [
            line for line in shown.lines(ink=GREY, pen=0.13, dash="") if near(line, (x, base, x, shown.chalk - 0.7))
        ]
    for end in (body[0], body[2]):
        if end != shown.x(0) or shown.survey.place.left_end + shown.layout.shift:
            assert [line for line in shown.lines(ink=GREY, pen=0.13, dash="") if near(line, (end, base, end, body[1]))]


def test_each_figure_stands_with_its_bracket_number_in_a_ring(shown: Picture) -> None:
    texts = written(shown.svg)
    numbers = [
        t
        for t in texts
        if t.text.isdigit() and any(_centred(t.box, r.x, r.y) for r in rings(shown.svg) if r.radius > 2)
    ]
    count = len(shown.layout.brackets)
    assert sorted(int(t.text) for t in numbers) in (sorted(range(1, count + 1)), sorted([*range(1, count + 1)] * 2))


def test_numbers_stay_within_their_rings() -> None:
    shown = picture(WHOLE)
    for ring in (r for r in rings(shown.svg) if r.radius > 2):
        (number,) = [t for t in written(shown.svg) if t.text.isdigit() and _centred(t.box, ring.x, ring.y)]
        corner = max(abs(x - ring.x) ** 2 + abs(y - ring.y) ** 2 for x in number.box[::2] for y in number.box[1::2])
        assert corner**0.5 < ring.radius + 0.2
    assert any(t.text == "10" for t in written(shown.svg))


def _centred(box: Box, x: float, y: float) -> bool:
    return abs((box[0] + box[2]) / 2 - x) < 0.4 and abs((box[1] + box[3]) / 2 - y) < 0.4


def test_members_are_numbered_below_the_ground_line(shown: Picture) -> None:
    members = sorted(shown.survey.wall.members)
    rows = [
        t
        for t in written(shown.svg)
        if t.text.isdigit() and 0 < t.box[1] - shown.ground < 3 and t.box[3] < shown.ground + 5
    ]
    for text in rows:
        assert (text.box[0] + text.box[2]) / 2 == pytest.approx(shown.x(members[int(text.text) - 1]), abs=0.3)
    numbered = {int(text.text) for text in rows}
    used = {members.index(b.wall) + 1 for b in shown.layout.brackets if b.member is not None}
    assert used <= numbered
