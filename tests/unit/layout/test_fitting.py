"""Awnings tried on a wall that was not measured for them."""

from __future__ import annotations

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import checked
from scheduler.layout.fitting import hung, of_width, tried, usual_arms, usual_awning, widths_to_try
from tests.surveys import second_survey


def test_an_awning_hangs_in_the_middle_of_the_band_and_may_move_to_its_ends() -> None:
    survey = second_survey()
    wall = msgspec.structs.replace(survey, band=msgspec.structs.replace(survey.band, left=100, right=5100))
    place = hung(wall, usual_awning(4000, 3000, 60)).place
    assert (place.left_end, place.slide) == (600, 500)
    wider = hung(wall, usual_awning(5400, 3000, 60))
    assert (wider.place.left_end, wider.place.slide) == (-100, 0)
    stops = [one.code for one in lay_out(checked(wider)).findings if one.level == "stop"]
    assert "outside-band" in stops


@pytest.mark.parametrize("width", [2500, 3000, 4000, 6000])
def test_outer_arms_keep_their_distance_from_the_ends(width: float) -> None:
    known = usual_awning(4000, 3000, 60, arms=3)
    known = msgspec.structs.replace(known, arms=(600, 1800, 3400))
    arms = of_width(known, width, 3).arms
    assert (arms[0], width - arms[2]) == (600, 600)
    assert (arms[1] - arms[0]) / (arms[2] - arms[0]) == pytest.approx(1200 / 2800)
    assert len(of_width(known, width, 2).arms) == 2


def test_a_bar_too_short_for_the_arms_known_gets_usual_ones() -> None:
    known = msgspec.structs.replace(usual_awning(4000, 3000, 60), arms=(1800, 2200))
    assert of_width(known, 1500, 2).arms == pytest.approx((150, 1350))
    assert of_width(known, 3600, 2).arms == pytest.approx((360, 3240))  # both would stand at 1800


@pytest.mark.parametrize(("arms", "at"), [(2, (500, 4500)), (3, (500, 2500, 4500)), (5, (500, 1500, 2500, 3500, 4500))])
def test_usual_arms_stand_evenly_between_a_tenth_of_the_bar_at_either_end(arms: int, at: tuple[float, ...]) -> None:
    assert usual_arms(5000, arms) == pytest.approx(at)
    # Arms 3000 apart find no room on a bar 1500 wide: it gets as many as the model has there, spread as usual.
    far = msgspec.structs.replace(usual_awning(4000, 3000, 60, arms), arms=tuple(1400 + 100 * n for n in range(arms)))
    assert of_width(far, 1500, arms).arms == pytest.approx(tuple(0.3 * one for one in at))


def test_arms_at_the_very_ends_of_the_bar_stay_there() -> None:
    known = msgspec.structs.replace(usual_awning(4000, 3000, 60), arms=(0, 4000))
    assert of_width(known, 3000, 2).arms == (0, 3000)


def test_widths_go_by_whole_steps_up_to_the_greatest() -> None:
    assert list(widths_to_try(2000, 2000, 750)) == [2000]
    assert list(widths_to_try(900, 2100, 500)) == [1000, 1500, 2000, 2100]
    assert list(widths_to_try(1000, 2000, 500)) == [1000, 1500, 2000]
    assert list(widths_to_try(3000, 2000, 500)) == []


def test_more_brackets_than_the_bar_has_room_for_is_a_stop() -> None:
    layout = tried(second_survey(), usual_awning(1500, 1200, 30), at_least=20)
    assert [one for one in layout.findings if one.level == "stop"]
