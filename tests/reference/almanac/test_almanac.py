"""The sun's height and civil twilight against almanacs, NOAA's equations and an independent library (see source.md)."""

from __future__ import annotations

import csv
import datetime
import math
from pathlib import Path

import pytest

from scheduler.weather.daylight import CIVIL_DEPRESSION_DEG, crossing, daylight, solar_noon, sun_altitude_deg

UTC = datetime.UTC
PLACES = [(40.7, -74.0), (25.8, -80.2), (47.6, -122.3), (64.8, -147.7), (19.7, -155.1), (-33.9, 151.2), (51.5, 0.0)]
DATES = [datetime.date(2027, month, 21) for month in (1, 3, 5, 6, 9, 12)]


def test_height_at_noon() -> None:
    """At latitude 40: 50.0° at an equinox (declination moves 0.4° that day), 73.44° and 26.56° at the solstices."""
    for date, height, tolerance in (
        (datetime.date(2027, 3, 20), 50.0, 0.4),
        (datetime.date(2027, 6, 21), 73.44, 0.01),
        (datetime.date(2027, 12, 22), 26.56, 0.01),
    ):
        noon = solar_noon(-75.0, date)
        assert sun_altitude_deg(40.0, -75.0, noon) == pytest.approx(height, abs=tolerance)
        for minutes in (-20, 20):  # it is the highest of the day
            beside = noon + datetime.timedelta(minutes=minutes)
            assert sun_altitude_deg(40.0, -75.0, beside) < sun_altitude_deg(40.0, -75.0, noon)


def test_published_times_to_the_minute() -> None:
    with (Path(__file__).parent / "times.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 2
    for row in rows:
        lat, lon, depression = float(row["lat"]), float(row["lon"]), float(row["depression_deg"])
        noon = solar_noon(lon, datetime.date.fromisoformat(row["date"]))
        for hours, column in ((-12, "rise_utc"), (12, "set_utc")):
            ours = crossing(lat, lon, noon, datetime.timedelta(hours=hours), -depression)
            printed = datetime.datetime.fromisoformat(row[column]).replace(tzinfo=UTC)
            assert abs(ours - printed) <= datetime.timedelta(seconds=35), (row["source"], column, ours)


def test_twilight_of_the_skyfield_row_by_the_public_function() -> None:
    light = daylight(41.281944, -84.362778, datetime.date(2019, 11, 8))
    assert light is not None
    assert f"{light.dawn:%H:%M}" in ("11:47", "11:48")
    assert f"{light.dusk:%H:%M}" in ("22:53", "22:54")


@pytest.mark.parametrize(("lat", "lon"), PLACES)
def test_the_sun_is_6_degrees_down_at_dawn_and_dusk_by_pvlib(lat: float, lon: float) -> None:
    import pandas as pd
    import pvlib  # here: each process of the suite would wait for it, for this one test

    moments = []
    for date in DATES:
        light = daylight(lat, lon, date)
        if light is None or light.dusk - light.dawn >= datetime.timedelta(hours=23, minutes=59):
            assert abs(lat) > 60  # never dark, or never light, in the far north only
            continue
        moments += [light.dawn, light.dusk]
    assert moments
    places = pvlib.solarposition.get_solarposition(pd.DatetimeIndex(moments), lat, lon, method="nrel_numpy")
    for height in places["elevation"]:
        assert height == pytest.approx(-CIVIL_DEPRESSION_DEG, abs=0.02)


@pytest.mark.parametrize(("lat", "lon"), [p for p in PLACES if abs(p[0]) < 60])
@pytest.mark.parametrize("date", DATES)
def test_noaa_equations_agree_within_their_accuracy(lat: float, lon: float, date: datetime.date) -> None:
    light = daylight(lat, lon, date)
    assert light is not None
    for ours, noaa in zip(light, noaa_civil(lat, lon, date), strict=True):
        assert abs(ours - noaa) < datetime.timedelta(minutes=3)


def noaa_civil(lat: float, lon: float, date: datetime.date) -> tuple[datetime.datetime, datetime.datetime]:
    """NOAA's short method, written from its page: civil zenith 96° in place of the page's 90.833°."""
    g = 2 * math.pi / 365 * (date.timetuple().tm_yday - 1)
    eqtime = 229.18 * (
        0.000075
        + 0.001868 * math.cos(g)
        - 0.032077 * math.sin(g)
        - 0.014615 * math.cos(2 * g)
        - 0.040849 * math.sin(2 * g)
    )
    dec = (
        0.006918 - 0.399912 * math.cos(g) + 0.070257 * math.sin(g) - 0.006758 * math.cos(2 * g)
        + 0.000907 * math.sin(2 * g) - 0.002697 * math.cos(3 * g) + 0.00148 * math.sin(3 * g)
    )  # fmt: skip
    phi = math.radians(lat)
    angle = math.degrees(
        math.acos(math.cos(math.radians(96)) / (math.cos(phi) * math.cos(dec)) - math.tan(phi) * math.tan(dec))
    )
    midnight = datetime.datetime(date.year, date.month, date.day, tzinfo=UTC)
    return tuple(midnight + datetime.timedelta(minutes=720 - 4 * (lon + way * angle) - eqtime) for way in (1, -1))  # type: ignore[return-value]


def test_polar_day_and_night() -> None:
    tromso = (69.65, 18.96)
    assert daylight(*tromso, datetime.date(2027, 12, 21)) is not None  # the sun stays down, yet civil twilight comes
    assert daylight(78.2, 15.6, datetime.date(2027, 12, 21)) is None
    light = daylight(*tromso, datetime.date(2027, 6, 21))
    assert light is not None
    assert light.dusk - light.dawn == datetime.timedelta(days=1)
