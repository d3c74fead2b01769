"""The shade under an awning, from where the sun stands: trigonometry, and the words for it."""

from __future__ import annotations

import datetime
import math
from zoneinfo import ZoneInfo

import pytest

from scheduler.layout.site.clearance import front_bar
from scheduler.layout.site.shade import Shade, ShadeSite, hour_name, shade_under, shade_words, shades
from scheduler.weather.daylight import SunPosition, sun_position
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


def test_a_sun_at_five_degrees_counts_and_one_that_passes_along_the_wall_comes_in_under_nothing() -> None:
    """A bar 10 m out and 0.5 m up under a sun 5° high: 10 − 0.5 / tan 5° = 4.285 m; along the wall all 10 m."""
    survey = second_survey(awning={"projection": 10_000, "pitch_deg": 0, "front_drop": 0}, place={"height": 500})
    assert shade_under(survey, SunPosition(5.0, 180.0), 180.0) == (pytest.approx(4285, abs=1), pytest.approx(0), "")
    assert shade_under(survey, SunPosition(4.99, 180.0), 180.0)[2] == "sun low or down"
    out, aside, why = shade_under(survey, SunPosition(45.0, 269.99), 180.0)
    assert (out, aside, why) == (pytest.approx(10_000, abs=1), pytest.approx(500, abs=1), "")
    assert shade_under(survey, SunPosition(45.0, 270.01), 180.0) == (0.0, 0.0, "the house itself shades")


def test_the_shade_ends_where_the_sun_comes_in_under_the_bar() -> None:
    """A bar as far out as it is up: at 45° the sun's ray from its axis meets the foot of the wall."""
    survey = second_survey(awning={"projection": 3000, "pitch_deg": 0}, place={"height": 3000})
    assert shade_under(survey, SunPosition(44.9, 180.0), 180.0) == (0.0, 0.0, "sun comes in under it")
    assert shade_under(survey, SunPosition(45.1, 180.0), 180.0)[0] == pytest.approx(
        3000 - 3000 / math.tan(math.radians(45.1))
    )


def test_three_days_of_five_hours_by_the_sun_of_each() -> None:
    survey = second_survey(place={"facing_deg": 225})
    found = shades(survey, ShadeSite(41.42, -98.27, "America/Chicago", 2027))
    days, hours = ((6, 21), (7, 21), (9, 21)), (9, 11, 13, 15, 17)
    assert [(one.month, one.day, one.hour) for one in found] == [(*day, hour) for day in days for hour in hours]
    for one in found:
        moment = datetime.datetime(2027, one.month, one.day, one.hour, tzinfo=ZoneInfo("America/Chicago"))
        assert one.sun == sun_position(41.42, -98.27, moment)
        assert (one.out, one.aside, one.why_none) == shade_under(survey, one.sun, 225)


def test_shade_in_words() -> None:
    """Less than a foot to the side is not worth saying."""
    sun = SunPosition(50.0, 180.0)
    found = (
        Shade(6, 21, 9, sun, 1000.0, 400.0),
        Shade(6, 21, 12, sun, why_none="sun low or down"),
        Shade(6, 21, 15, sun, 2000.0, -299.0),
        Shade(9, 21, 11, sun, 2000.0, -300.0),
    )
    assert list(shade_words(found)) == [
        "Jun 21: 9 am to 3' 3 3/8\" (1000 mm) from the wall, moved 1' 3 3/4\" (400 mm) to the right; noon none, sun low"
        " or down; 3 pm to 6' 6 3/4\" (2000 mm) from the wall.",
        'Sep 21: 11 am to 6\' 6 3/4" (2000 mm) from the wall, moved 11 13/16" (300 mm) to the left.',
    ]
    assert [hour_name(hour) for hour in (11, 12, 13)] == ["11 am", "noon", "1 pm"]
