"""The rules "where the brackets go", one by one, on walls whose answer can be worked out by hand."""

from __future__ import annotations

import pytest

from scheduler.layout.placement.backing import missing_findings
from scheduler.layout.placement.bar import Bar
from scheduler.layout.placement.brackets import (
    best_continuous,
    grid_places,
    member_places,
    place_brackets,
    required_brackets,
)
from tests.surveys import plain_survey

LIGHT = {"what": "light", "bottom": 2800, "top": 2950}


@pytest.mark.parametrize(
    ("width", "brackets"),
    [(2000, 4), (4876.8, 4), (4876.8005, 4), (4877, 5), (6096, 5), (6096.1, 6), (24 * 304.8, 6), (7316, 7)],
)
def test_four_brackets_to_16_ft_and_one_more_for_each_4_ft_begun(width: float, brackets: int) -> None:
    assert required_brackets(width) == brackets


def test_the_manufacturer_wins_where_it_asks_for_more() -> None:
    assert required_brackets(4000, at_least=6) == 6
    assert required_brackets(4000, at_least=3) == 4


def test_the_wall_known_by_heart() -> None:
    """Members on the bar at 6.4 + 406.4 n. Outside the first arm (600) and its zone (470) lies 412.8, outside the last
    (3400, 3530) 3664.0; even places between them 1496.53 and 2580.27, the nearest members 1632.0 and 2444.8, both
    135.47 off.
    """
    placed = place_brackets(plain_survey())
    assert [spot.at for spot in placed.spots] == pytest.approx([412.8, 1632.0, 2444.8, 3664.0])
    assert [spot.wall for spot in placed.spots] == pytest.approx([812.8, 2032.0, 2844.8, 4064.0])
    assert [spot.member for spot in placed.spots] == [2, 5, 7, 10]
    assert [spot.arm for spot in placed.spots] == [0, None, None, 1]
    assert placed.spread == pytest.approx(135.4667, abs=1e-3)
    assert (placed.shift, placed.required, placed.blocked) == (0, 4, ())


def test_a_member_keeps_its_index_in_a_survey_measured_in_any_order() -> None:
    members = [4064, 812.8, 2844.8, 2032]
    placed = place_brackets(plain_survey(wall={"members": members}))
    assert [spot.member for spot in placed.spots] == [1, 3, 2, 0]


def test_continuous_backing_takes_the_even_places_on_the_grid() -> None:
    """Outer brackets within 304.8 of the arms and outside their zones: 300 to 470 and 3530 to 3700. The leftmost pair
    whose thirds lie on the grid: 300 and 3540, the thirds 1380 and 2460.
    """
    placed = place_brackets(plain_survey(wall={"kind": "concrete", "members": []}))
    assert [spot.at for spot in placed.spots] == [300, 1380, 2460, 3540]
    assert [spot.wall for spot in placed.spots] == [700, 1780, 2860, 3940]
    assert [spot.member for spot in placed.spots] == [None] * 4
    assert placed.spread == 0


def test_the_awning_shifts_away_from_an_obstacle_first() -> None:
    """The light ends 30 mm inside the awning's left end (400), so three steps to the right clear it. The member outside
    the first arm is still there: the outer places are 374.7 and 3625.9.
    """
    placed = place_brackets(plain_survey(obstacles=[{**LIGHT, "left": 300, "right": 430}]))
    assert placed.shift == pytest.approx(38.1)
    assert placed.blocked == ()
    assert placed.spots[0].at == pytest.approx(374.7)


def test_an_obstacle_that_only_touches_is_no_overlap() -> None:
    assert place_brackets(plain_survey(obstacles=[{**LIGHT, "left": 300, "right": 400}])).shift == 0


def test_an_obstacle_that_no_shift_avoids_is_named() -> None:
    placed = place_brackets(plain_survey(obstacles=[{**LIGHT, "left": 2000, "right": 2100}]))
    assert (placed.shift, placed.blocked) == (0, (0,))


def test_the_awning_shifts_to_get_outer_brackets_outside_their_arms() -> None:
    """Arms at 500 and 3400. Unshifted the first arm has no member: 412.8 is in its zone (370 to 630), 819.2 beyond its
    reach (804.8). Two steps to the right bring 819.2 to 793.8, inside the arm; four bring 412.8 to 362, outside it.
    """
    arms = {"arms": [500, 3400]}
    placed = place_brackets(plain_survey(awning=arms, place={"slide": 40}))
    assert placed.shift == pytest.approx(25.4)
    assert placed.spots[0].at == pytest.approx(793.8)
    placed = place_brackets(plain_survey(awning=arms))
    assert placed.shift == pytest.approx(50.8)
    assert [placed.spots[0].at, placed.spots[-1].at] == pytest.approx([362, 3613.2])


def test_of_equal_shifts_the_left_one_is_taken() -> None:
    """Lights at both ends reach 10 mm in: no shift avoids both but each of one step avoids one."""
    obstacles = [{**LIGHT, "left": 300, "right": 410}, {**LIGHT, "left": 4390, "right": 4500}]
    assert place_brackets(plain_survey(obstacles=obstacles)).shift == -12.7


def test_the_band_limits_the_shift() -> None:
    obstacles = [{**LIGHT, "left": 300, "right": 430}]
    placed = place_brackets(plain_survey(obstacles=obstacles, band={"right": 4430}))
    assert placed.shift == 0  # two steps fit into the band, three would be needed
    assert placed.blocked == (0,)


def test_a_slide_of_a_whole_number_of_steps_is_used_to_its_end() -> None:
    obstacles = [{**LIGHT, "left": 300, "right": 438.1}]
    assert place_brackets(plain_survey(obstacles=obstacles, place={"slide": 38.1})).shift == pytest.approx(38.1)


def test_brackets_may_touch_but_not_overlap() -> None:
    members = [812.8, 2032, 2151.9, 4064]
    assert place_brackets(plain_survey(wall={"members": members}, place={"slide": 0})).spots == ()
    members[2] = 2152
    assert len(place_brackets(plain_survey(wall={"members": members}, place={"slide": 0})).spots) == 4


def test_an_inner_arm_is_served_before_the_spread_counts() -> None:
    """A third arm at 1100 blocks 970 to 1230 and is served by 795.2 to 1404.8: 819.2 instead of 1632.0."""
    placed = place_brackets(plain_survey(awning={"arms": [600, 1100, 3400]}, place={"slide": 0}))
    assert [spot.at for spot in placed.spots][1] == pytest.approx(819.2)
    assert [spot.arm for spot in placed.spots] == [0, None, None, 2]


@pytest.mark.parametrize("kind", ["brick-veneer", "fascia"])
def test_veneer_and_fascia_carry_nothing(kind: str) -> None:
    assert place_brackets(plain_survey(wall={"kind": kind})).spots == ()


def test_nothing_fits_where_the_band_is_too_narrow() -> None:
    placed = place_brackets(plain_survey(band={"right": 4300}, place={"slide": 50}))
    assert placed.spots == ()
    assert placed.shift is None


def test_what_is_above_or_below_the_awning_does_not_move_it() -> None:
    wide = {"what": "window", "left": 500, "right": 4300}
    placed = place_brackets(
        plain_survey(obstacles=[{**wide, "bottom": 900, "top": 2000}, {**wide, "bottom": 4000, "top": 5000}])
    )
    assert (placed.shift, placed.blocked) == (0, ())


# An arm 150 from the bar's left end: outside it there is no room for a bracket 120 wide beside its zone.
NEAR_THE_END = Bar(4000.0, (150.0, 3400.0), 130.0, 120.0, 4)


def test_no_bracket_hangs_over_the_end_of_the_bar() -> None:
    places = grid_places(Bar(4000.0, (300.0, 3700.0), 130.0, 120.0, 4))
    assert (places[0], places[-1]) == (60, 3940)


def test_the_one_bracket_that_can_be_outside_its_arm_may_be_the_right_one() -> None:
    """The left one from 280 on, the right one from 3530: the leftmost pair whose thirds lie on the grid."""
    assert best_continuous(NEAR_THE_END) == [280, 1365, 2450, 3535]


def test_a_member_that_was_measured_twice_is_one_place() -> None:
    survey = plain_survey(wall={"members": [812.8, 2032, 2032.0005, 2844.8, 4064]})
    bar = Bar(4000.0, (600.0, 3400.0), 130.0, 120.0, 4)
    assert [index for _, index in member_places(survey, bar, 0.0)] == [0, 1, 3, 4]


def test_studs_are_not_saved_by_hanging_the_awning_over_a_light() -> None:
    """The light begins 5 mm right of the awning's end (4400). Half an inch further right the one stud would serve."""
    light = {**LIGHT, "left": 4405, "right": 4600}
    survey = plain_survey(wall={"members": [880]}, obstacles=[light])
    (finding,) = missing_findings(survey, place_brackets(survey))
    assert "with the awning at the wished place none of the studs found serves, and 4 more are needed" in finding.text
    free = plain_survey(wall={"members": [880]})
    (finding,) = missing_findings(free, place_brackets(free))
    assert "3 more are needed" in finding.text
