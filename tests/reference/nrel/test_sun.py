"""The sun's place against NREL's published case, and the shade that follows from it (see source.md)."""

from __future__ import annotations

import datetime
import math

import pvlib
import pytest

from scheduler.layout.site.clearance import front_bar
from scheduler.layout.site.shade import ShadeSite, shade_under, shade_words, shades
from scheduler.weather.sun import SunPosition, sun_position
from tests.surveys import second_survey


def test_the_published_case_to_a_twentieth_of_a_degree() -> None:
    moment = datetime.datetime(2003, 10, 17, 12, 30, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=-7)))
    sun = sun_position(39.742476, -105.1786, moment)
    assert 90 - sun.altitude_deg == pytest.approx(50.111622, abs=0.05)
    assert sun.azimuth_deg == pytest.approx(194.340241, abs=0.05)


@pytest.mark.parametrize("month", range(1, 13))
def test_all_year_round_as_an_independent_library_has_it(month: int) -> None:
    for hour in (14, 17, 20, 23):
        moment = datetime.datetime(2027, month, 15, hour, tzinfo=datetime.UTC)
        other = pvlib.solarposition.spa_python(pvlib.tools.pd.DatetimeIndex([moment]), 41.42, -98.27, altitude=0).iloc[
            0
        ]
        if other["apparent_elevation"] < 5:
            continue
        sun = sun_position(41.42, -98.27, moment)
        assert sun.altitude_deg == pytest.approx(other["apparent_elevation"], abs=0.05)
        assert sun.azimuth_deg == pytest.approx(other["azimuth"], abs=0.05)


def test_the_shade_of_a_sun_straight_ahead() -> None:
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
