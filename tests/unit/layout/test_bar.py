"""Where a mounting bar admits brackets: to the millimetre, and a thousandth of one is nothing."""

from __future__ import annotations

import pytest

from scheduler.layout.placement.bar import ARM_REACH, EQUAL, Bar, even_places, fits, outer_places

# Zones of 70 either side of the arms and brackets 120 wide: 130 from an arm's centre on.
BAR = Bar(4000.0, (600.0, 3400.0), 130.0, 120.0, 4)


@pytest.mark.parametrize(
    ("at", "admitted"),
    [
        (60, True), (59.9995, True), (59.99, False), (3940, True), (3940.0005, True), (3940.01, False),
        (470, True), (470.0005, True), (470.01, False), (730, True), (729.9995, True), (729.99, False),
        (3270, True), (3270.01, False), (3530, True), (3529.99, False), (600, False), (2000, True),
    ],
)  # fmt: skip
def test_a_bracket_lies_on_the_bar_and_in_no_zone(at: float, admitted: bool) -> None:
    assert BAR.admits(at) is admitted


def test_brackets_may_touch_and_serve_an_arm_a_foot_away() -> None:
    assert BAR.apart(100, 220)
    assert BAR.apart(100, 219.9995)
    assert not BAR.apart(100, 219.99)
    assert BAR.serves(295.2, 600)
    assert BAR.serves(904.8005, 600)
    assert not BAR.serves(904.82, 600)
    assert not BAR.serves(295.18, 600)


def test_what_differs_by_the_whole_tolerance_is_not_equal() -> None:
    assert not BAR.apart(0, 120 - EQUAL)
    assert not BAR.serves(ARM_REACH + EQUAL, 0)
    assert not Bar(4000.0, (0.0,), 130.0, 120.0, 2).admits(130 - EQUAL)
    thin = Bar(4000.0, (2000.0,), 130.0, 2 * EQUAL, 2)  # half of it hangs over by EQUAL where its middle is at the end
    assert not thin.admits(0)
    assert not thin.admits(4000)
    assert thin.admits(EQUAL / 2)
    assert thin.admits(4000 - EQUAL / 2)


def test_a_place_at_the_middle_of_an_arm_is_inside_it_alone() -> None:
    lefts, rights = outer_places(BAR, [600, 3400])
    assert lefts == [[600], []]
    assert rights == [[3400], []]
    three = Bar(4000.0, (600.0, 2000.0, 3400.0), 130.0, 120.0, 5)  # the outer arms alone take outer brackets
    assert outer_places(three, [600, 2000, 3400]) == ([[600], []], [[3400], []])
    at_the_end = Bar(4000.0, (0.0, 3400.0), 130.0, 120.0, 4)
    assert outer_places(at_the_end, [0, ARM_REACH, ARM_REACH + EQUAL])[0] == [[0, ARM_REACH], []]


def test_outer_places_are_told_by_their_side_of_the_arm() -> None:
    lefts, rights = outer_places(BAR, [100, 295.2, 470, 730, 904.8, 905, 3095.2, 3270, 3530, 3704.8, 3800])
    assert lefts == [[730, 904.8], [295.2, 470]]
    assert rights == [[3095.2, 3270], [3530, 3704.8]]


def test_inner_brackets_stand_evenly() -> None:
    assert even_places(100, 1000, 4) == [400, 700]
    assert even_places(0, 1000, 2) == []


@pytest.mark.parametrize(
    ("places", "room"),
    [
        ([420, 540], True),  # each touches the next: 300, 420, 540, 660
        ([419, 540], False),
        ([420, 541], False),
        ([420], False),
        ([310, 420, 430, 540, 550], True),
        ([], False),
    ],
)
def test_whether_all_brackets_find_room(places: list[float], room: bool) -> None:
    assert fits(BAR, places, 300, 660) is room


def test_two_brackets_need_only_each_other() -> None:
    two = Bar(4000.0, (600.0, 3400.0), 130.0, 120.0, 2)
    assert fits(two, [], 300, 420)
    assert not fits(two, [], 300, 419)
