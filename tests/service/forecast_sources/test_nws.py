"""The National Weather Service's hours: winds in words, gusts and rain of the grid, and what is missing of them."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler.errors import BadInput
from tests.service.forecast_sources.answers import (
    GRID,
    HOUR,
    HOURLY,
    NOON,
    NOW,
    ONE,
    Service,
    ask,
    document,
    grid,
    hourly,
    layer,
    period,
    status,
)


def test_hourly_text_winds_and_gusts_of_the_grid_become_hours(nws: Service, tmp_path: Path) -> None:
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    noon, one = got.forecast.hours
    assert noon.start == datetime.datetime(2027, 3, 12, 18, tzinfo=datetime.UTC)
    assert noon.wind_mps == pytest.approx(10 * 0.44704)
    assert one.wind_mps == pytest.approx(15 * 0.44704)  # the larger of "5 to 15 mph"
    assert noon.gust_mps == pytest.approx(48.28 / 3.6)
    assert noon.temp_c == pytest.approx(10.0)
    assert (noon.rain_chance, noon.humidity) == (0.1, 0.6)
    assert got.forecast.issued == datetime.datetime(2027, 3, 12, 14, 40, tzinfo=datetime.UTC)
    assert not got.is_last_good
    assert got.notes == ()


def test_the_contact_is_sent_and_only_the_given_host_is_asked(nws: Service, tmp_path: Path) -> None:
    ask(nws, tmp_path)
    assert nws.asked == ["/points/39.7456,-97.0892", HOURLY, GRID]
    assert all("office@example.org" in agent for agent in nws.agents)


def test_no_contact_no_request(nws: Service, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="contact"):
        ask(nws, tmp_path, contact=" ")
    assert nws.asked == []


def test_rain_is_spread_over_its_interval_and_thunder_is_read_from_words(nws: Service, tmp_path: Path) -> None:
    thunder = [{"coverage": "chance", "weather": "thunderstorms", "intensity": None}]
    nws.answers[GRID] = document(
        grid(
            quantitativePrecipitation=layer("wmoUnit:mm", ("2027-03-12T18:00:00+00:00/PT6H", 3.0)),
            probabilityOfThunder=layer(None),
            weather=layer(None, ("2027-03-12T18:00:00+00:00/PT1H", thunder), ("2027-03-12T19:00:00+00:00/PT1H", [])),
        )
    )
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    noon, one = got.forecast.hours
    assert noon.rain_mm == pytest.approx(0.5)
    assert (noon.thunder_chance, one.thunder_chance) == (0.4, 0.0)
    assert noon.gust_mps is None
    assert "gusts are not reported" in got.notes


def test_a_given_chance_of_thunder_goes_before_words(nws: Service, tmp_path: Path) -> None:
    likely = [{"coverage": "likely", "weather": "thunderstorms"}]
    nws.answers[GRID] = document(
        grid(
            probabilityOfThunder=layer("wmoUnit:percent", ("2027-03-12T18:00:00+00:00/P1DT2H", 7)),
            weather=layer(None, ("2027-03-12T18:00:00+00:00/PT1H", likely)),
        )
    )
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert [hour.thunder_chance for hour in got.forecast.hours] == [0.07, 0.07]


def test_without_the_grid_the_hourly_product_serves_and_says_so(nws: Service, tmp_path: Path) -> None:
    nws.answers[GRID] = status(500)
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert got.forecast.hours[0].gust_mps is None
    assert got.notes[0].startswith("without gusts, rain amounts and thunder")


@pytest.mark.parametrize("faulty", [[1, 2], {"properties": {"windGust": {"uom": "furlongs", "values": []}}}])
def test_a_grid_of_unknown_form_costs_the_gusts_only(nws: Service, tmp_path: Path, faulty: Any) -> None:
    nws.answers[GRID] = document(faulty)
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert any("gusts" in note for note in got.notes)


def test_hours_without_wind_are_left_out_and_counted(nws: Service, tmp_path: Path) -> None:
    bad = [period(ONE, ""), period(ONE, None), period(ONE, "breezy"), period(ONE, temp=None), period("tomorrow")]
    nws.answers[HOURLY] = document(hourly(period(NOON), *bad))
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert len(got.forecast.hours) == 1
    assert "5 of 6 hours left out" in got.notes[0]


@pytest.mark.parametrize(
    ("local", "utc_hours"),
    [
        # Spring: 01:00 CST is followed by 03:00 CDT. Autumn: 01:00 CDT is followed by 01:00 CST.
        (["2027-03-14T01:00:00-06:00", "2027-03-14T03:00:00-05:00", "2027-03-14T04:00:00-05:00"], [7, 8, 9]),
        (["2027-11-07T01:00:00-05:00", "2027-11-07T01:00:00-06:00", "2027-11-07T02:00:00-06:00"], [6, 7, 8]),
    ],
)
def test_hours_stay_an_hour_apart_across_both_clock_changes(
    nws: Service, tmp_path: Path, local: list[str], utc_hours: list[int]
) -> None:
    nws.answers[HOURLY] = document(hourly(*(period(t) for t in local)))
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert [hour.start.hour for hour in got.forecast.hours] == utc_hours


def test_a_place_without_forecast_is_said_at_once(nws: Service, tmp_path: Path) -> None:
    nws.answers["/points/39.7456,-97.0892"] = status(404)
    got = ask(nws, tmp_path)
    assert got.forecast is None
    assert "there is no forecast for that place" in got.notes[0]
    assert len(nws.asked) == 1  # trying again would not help


def test_a_moved_grid_is_looked_up_anew(nws: Service, tmp_path: Path) -> None:
    ask(nws, tmp_path)
    moved = {"properties": {"forecastHourly": "https://api.weather.gov/gridpoints/TOP/32,81/forecast/hourly"}}
    nws.answers["/gridpoints/TOP/32,81/forecast/hourly"] = nws.answers.pop(HOURLY)
    nws.answers["/points/39.7456,-97.0892"] = document(moved)
    got = ask(nws, tmp_path, NOW + 2 * HOUR)
    assert got.forecast is not None
    assert not got.is_last_good
