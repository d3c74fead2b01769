"""The sun's place against NREL's published case, and the shade that follows from it (see source.md)."""

from __future__ import annotations

import datetime

import pytest

from scheduler.weather.daylight import sun_position


def test_the_published_case_to_a_twentieth_of_a_degree() -> None:
    moment = datetime.datetime(2003, 10, 17, 12, 30, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=-7)))
    sun = sun_position(39.742476, -105.1786, moment)
    assert 90 - sun.altitude_deg == pytest.approx(50.111622, abs=0.05)
    assert sun.azimuth_deg == pytest.approx(194.340241, abs=0.05)


@pytest.mark.parametrize("month", range(1, 13))
def test_all_year_round_as_an_independent_library_has_it(month: int) -> None:
    import pvlib  # here: it takes a second, and each process of the suite reads this module

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
