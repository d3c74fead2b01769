"""Where names stand in the picture: beside what they name, the best place first; and the backing that is missing."""

from __future__ import annotations

import re
from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.drawing import draw_svg
from scheduler.layout.drawing.paper.sheet import SMALL
from tests.drawn import Box, written
from tests.shapes import CLOTH, GRAPHITE, PAPER, RUST, Picture, held, near, picture, rings, shapes
from tests.surveys import PLAIN, second_survey

# Twelve metres, shown down to the ground; on a fascia nothing is drilled, so no line of a bracket runs down the wall.
WIDE: dict[str, Any] = {
    "awning": {"width": 12000, "arms": [1000, 6000, 11000], "arm_half": 150, "bracket_width": 200},
    "band": {"right": 13000}, "wall": {"kind": "fascia", "members": []}, "doors": [],
}  # fmt: skip


def light(
    what: str = "light", left: float = 5000, bottom: float = 1200, wide: float = 300, high: float = 300
) -> dict[str, Any]:
    return {"what": what, "left": left, "right": left + wide, "bottom": bottom, "top": bottom + high}


def names(shown: Picture, text: str) -> list[Box]:
    return [each.box for each in written(shown.svg) if each.text == text]


def shape(shown: Picture, it: dict[str, Any]) -> Box:
    return shown.x(it["left"]), shown.from_ground(it["top"]), shown.x(it["right"]), shown.from_ground(it["bottom"])


def middle(box: Box) -> tuple[float, float]:
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


def base(box: Box) -> float:
    """The base line of a small text without letters that hang below it."""
    return box[3]


def test_a_name_stands_centred_below_its_shape() -> None:
    it = light("bell", left=4930)  # between the lines of two brackets
    shown = picture(WIDE | {"obstacles": [it]})
    (name,), box = names(shown, "bell"), shape(shown, it)
    assert middle(name)[0] == pytest.approx(middle(box)[0], abs=0.1)
    assert base(name) == pytest.approx(box[3] + 3, abs=0.1)


def test_near_the_ground_it_stands_right_of_its_shape_level_with_it() -> None:
    it = light("bell", left=4650, bottom=60, wide=200)
    shown = picture(WIDE | {"obstacles": [it]})
    (name,), box = names(shown, "bell"), shape(shown, it)
    assert name[0] == pytest.approx(box[2] + 1, abs=0.15)
    assert base(name) == pytest.approx(middle(box)[1] + 1.1, abs=0.1)


def test_with_no_room_at_the_right_it_stands_at_the_left() -> None:
    it = light("bell", left=5300, bottom=60, wide=200)
    wall = light("pipe", left=5550, bottom=20, wide=60, high=1500)
    shown = picture(WIDE | {"obstacles": [it, wall]})
    (name,), box = names(shown, "bell"), shape(shown, it)
    assert name[2] == pytest.approx(box[0] - 1, abs=0.15)
    assert base(name) == pytest.approx(middle(box)[1] + 1.1, abs=0.1)


def test_with_no_room_beside_it_stands_above() -> None:
    it = light("bell", left=4980, bottom=60, wide=200)
    walls = [light("pipe", left=left, bottom=20, wide=60, high=330) for left in (5230, 4870)]
    shown = picture(WIDE | {"obstacles": [it, *walls]})
    (name,), box = names(shown, "bell"), shape(shown, it)
    assert middle(name)[0] == pytest.approx(middle(box)[0], abs=0.1)
    assert base(name) == pytest.approx(box[1] - 1.2, abs=0.1)


def test_two_things_side_by_side_keep_their_own_names() -> None:
    one, two = light("one", left=4600, wide=200), light("two", left=5250, wide=200)
    shown = picture(WIDE | {"obstacles": [one, two]})
    for it in (one, two):
        (name,), box = names(shown, it["what"]), shape(shown, it)
        other = shape(shown, two if it is one else one)
        assert _gap(name, box) < 1.6
        assert _gap(name, box) < _gap(name, other)


def _gap(one: Box, other: Box) -> float:
    across = max(one[0] - other[2], other[0] - one[2], 0)
    down = max(one[1] - other[3], other[1] - one[3], 0)
    return max(across, down)


def test_a_door_is_named_inside_from_its_head_down() -> None:
    doors = [
        {"left": 1000, "right": 3200, "top": 2000, "swings_out": True},
        {"left": 4000, "right": 5200, "top": 2000, "swings_out": True},
        {"left": 7000, "right": 8000, "top": 2000, "swings_out": False},
    ]
    shown = picture(WIDE | {"doors": doors})
    boxes = [(shown.x(d["left"]), shown.from_ground(d["top"]), shown.x(d["right"]), shown.ground) for d in doors]
    (whole,) = names(shown, "door 1, swings out")  # findings call several doors by their numbers
    assert middle(whole)[0] == pytest.approx(middle(boxes[0])[0], abs=0.1)
    assert base(whole) == pytest.approx(boxes[0][1] + 4.5, abs=0.8)  # its comma and g hang lower
    (narrow,) = names(shown, "door 2,")
    (swings,), (out,) = names(shown, "swings"), names(shown, "out")
    for word in (narrow, swings, out):
        assert middle(word)[0] == pytest.approx(middle(boxes[1])[0], abs=0.1)
    lines = [float(y) for y in re.findall(r'y="([0-9.]+)"[^>]*>(?:door 2,|swings|out)<', shown.svg)]
    assert lines == pytest.approx([lines[0], lines[0] + 1.05 * SMALL, lines[0] + 2.1 * SMALL], abs=0.011)
    (plain,) = names(shown, "door 3")
    assert middle(plain)[0] == pytest.approx(middle(boxes[2])[0], abs=0.1)


def test_a_name_in_a_door_gives_way_to_what_hangs_there() -> None:
    door = {"left": 3000, "right": 5000, "top": 2000, "swings_out": False}
    for bottom in (1600, 1300):
        it = light("box", left=3300, bottom=bottom, wide=1400, high=1950 - bottom)
        shown = picture(WIDE | {"doors": [door], "obstacles": [it]})
        (name,), box = names(shown, "door"), shape(shown, it)
        head = shown.from_ground(door["top"])
        tried = [head + 4.5 + 3 * k for k in range(12)]  # base lines, of letters 0.78 × 2.9 high, half a millimetre off
        assert base(name) == pytest.approx(next(y for y in tried if y - 0.78 * SMALL >= box[3] + 0.5), abs=0.1)
        assert shown.x(3000) < name[0] < name[2] < shown.x(5000)


def test_each_arm_is_named_below_the_awning() -> None:
    shown = picture(WIDE)
    (body,) = shown.boxes(fill=CLOTH)
    for number, arm in enumerate(WIDE["awning"]["arms"], 1):
        (name,) = names(shown, f"arm {number}")
        at = shown.x(shown.survey.place.left_end + shown.layout.shift + arm)
        aside = (name[2] - name[0]) / 2 + 0.7
        assert min(abs(middle(name)[0] - at - k * aside) for k in range(-2, 3)) < 0.15
        assert base(name) == pytest.approx(body[3] + 3.1, abs=0.1) or base(name) == pytest.approx(
            body[3] + 6.4, abs=0.1
        )


def test_the_awning_is_named_inside_off_all_that_is_drawn_there() -> None:
    shown = picture({"doors": []})
    (body,) = shown.boxes(fill=CLOTH)
    (name,) = names(shown, "closed awning")
    assert body[0] < name[0] < name[2] < body[2]
    assert body[1] < name[1] < name[3] < body[3]
    assert not name[1] < shown.chalk < name[3]
    for box in [*shown.boxes(fill=GRAPHITE), *shown.boxes(ink=RUST, fill="none")]:
        if box[3] < shown.ground:
            assert _gap(name, box) > 0


def test_the_clear_band_is_named_where_it_is_clear() -> None:
    shown = picture({"doors": []})
    (band,), (body,) = shown.boxes(dash="2 1"), shown.boxes(fill=CLOTH)
    (name,) = names(shown, "clear band")
    assert band[0] < name[0] < name[2] < band[2]
    assert band[1] < name[1] < name[3] < band[3]
    assert _gap(name, body) > 0
    assert name[0] - band[0] == pytest.approx(1, abs=0.2) or band[2] - name[2] == pytest.approx(1, abs=0.2)


def test_the_chalk_lines_height_is_written_along_its_dimension() -> None:
    for units, length, other in (("metric", "2900", "9' 6 3/16\""), ("imperial", "9' 6 3/16\"", "2900 mm")):
        shown = picture({"doors": []}, units)  # type: ignore[arg-type]
        left = min(box for box in names(shown, length) if box[0] < 30)
        (words,) = [t.box for t in written(shown.svg) if t.text.endswith(other) and t.box[2] < left[2] + 6]
        x = next(line[0] for line in shown.lines(pen=0.6)) + 6.5 - 4.8
        for box, beyond in ((left, 5.6), (words, 1.9)):
            assert box[2] == pytest.approx(x - beyond, abs=0.9)  # turned: the base line is at its right
            assert shown.chalk - 12 < middle(box)[1] < shown.ground
        assert middle(left)[1] == pytest.approx(middle(words)[1], abs=0.3)


# Backing to put in.


def test_backing_is_drawn_as_high_and_wide_as_the_stop_asks_for() -> None:
    shown = picture({"wall": {"members": [2438.4, 2844.8, 4064.0]}})
    stop = next(finding.text for finding in shown.layout.findings if finding.code == "no-backing")
    places = [
        float(n) for n in re.findall(r"\((\d+) mm\)", stop.partition("needed at")[2].partition(" from the datum")[0])
    ]
    assert places
    half = PLAIN["awning"]["bracket_width"] / 2
    # 2 in over the upper fasteners (2900), 2 in under the lower edge (150 below).
    wanted = [(shown.x(at - half), shown.y(2950.8), shown.x(at + half), shown.y(2699.2)) for at in places]
    found = shown.boxes(fill=PAPER, pen=0.4)
    assert len(found) == len(wanted)
    for box, want in zip(found, wanted, strict=True):
        assert box == pytest.approx(want, abs=0.03)  # the stop gives whole millimetres
        crossed = [
            line for line in shown.lines(pen=0.3) if near(line, box) or near(line, (box[0], box[3], box[2], box[1]))
        ]
        assert len(crossed) == 2
    served = shown.boxes(fill="none", dash="0.9 0.6")
    members = [2438.4, 2844.8, 4064.0]
    used = [at for at in members if f"({at:.0f} mm)" in stop]
    assert held(served, *((shown.x(at - half), shown.chalk - 0.7, shown.x(at + half), shown.y(2750)) for at in used))


def test_small_things_are_still_as_high_as_their_letters() -> None:
    for text in written(picture(WIDE | {"obstacles": [light()]}).svg):
        assert text.size >= SMALL * 0.96


def test_an_outlet_at_the_pictures_upper_edge_is_said_and_not_drawn() -> None:
    """There its circle would stand on the dimension line and be taken for a mark of it."""
    drawn = []
    for height in range(2980, 3200, 10):
        survey = second_survey(outlet={"at": 4600, "height": height, "gfci": True})
        svg = draw_svg(survey, lay_out(survey))
        top = min(s.box[1] for s in shapes(svg) if s.dash == "1.6 0.8")
        circles = [ring for ring in rings(svg) if ring.radius == 1]
        assert all(ring.y - ring.radius > top for ring in circles)
        words = " ".join(text.text for text in written(svg))
        assert bool(circles) is ("outlet at" not in words)
        drawn.append(bool(circles))
    assert drawn[0]
    assert not drawn[-1]
