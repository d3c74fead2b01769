"""The shade under an awning, from where the sun stands: trigonometry, and the words for it."""

from __future__ import annotations

import math

import pytest

from scheduler.layout.site.clearance import front_bar
from scheduler.layout.site.shade import ShadeSite, shade_under, shade_words, shades
from scheduler.weather.sun import SunPosition
from tests.surveys import second_survey


def test_the_shade_of_a_sun_straight_ahead() -> None:
    """A bar 2.2 m up and 3 m out under a sun 60° high: 3 − 2.2 / tan 60° = 1.730 m."""
    survey = second_survey(awning={"projection": 3000, "pitch_deg": 0}, place={"height": 2200, "facing_deg": 180})
    out, aside, why = shade_under(survey, SunPosition(60.0, 180.0), 180.0)
    assert (out, aside, why) == (pytest.approx(1730, abs=2), pytest.approx(0), "")


def test_the_sun_in_the_west_moves_the_shade_of_a_south_wall_to_the_right() -> None:
    """Seen from outside, facing a wall that faces south, west is on the left and east on the right."""
    survey = second_survey()
    out, aside, _ = shade_under(survey, SunPosition(50.0, 240.0), 180.0)
    bar = front_bar(survey)
    long = bar.axis / math.tan(math.radians(50))
    assert out == pytest.approx(bar.reach - long * math.cos(math.radians(60)))
    assert aside == pytest.approx(long * math.sin(math.radians(60)))
    assert shade_under(survey, SunPosition(50.0, 120.0), 180.0)[1] == pytest.approx(-aside)
    assert shade_under(survey, SunPosition(50.0, 300.0), 180.0) == (0.0, 0.0, "the house itself shades")
    assert shade_under(survey, SunPosition(3.0, 180.0), 180.0) == (0.0, 0.0, "sun low or down")
    assert shade_under(survey, SunPosition(20.0, 180.0), 180.0) == (0.0, 0.0, "sun comes in under it")


def test_hours_are_those_of_the_sites_clock() -> None:
    survey = second_survey(place={"facing_deg": 180})
    found = shades(survey, ShadeSite(41.42, -98.27, "America/Chicago", 2027))
    july = {one.hour: one for one in found if one.month == 7}
    # Central daylight time at 98.27° W: the sun is highest at about 1:40 in the afternoon.
    assert 150 < july[13].sun.azimuth_deg < 180 < july[15].sun.azimuth_deg
    assert july[13].sun.altitude_deg > july[11].sun.altitude_deg > july[17].sun.altitude_deg
    assert july[11].aside < july[13].aside < 0 < july[17].aside  # from west of it to east, as the sun goes round
    words = list(shade_words(found))
    assert words[1].startswith("Jul 21: 9 am ")
    assert "1 pm to 6' " in words[1]
    assert shades(second_survey(place={"facing_deg": None}), ShadeSite(41.42, -98.27, "America/Chicago", 2027)) == ()
