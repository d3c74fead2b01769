"""Open-Meteo's hours: values of the hour before, its units, and answers of another form."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.forecasts.sources import Got
from tests.service.forecast_sources.answers import HOUR, NOW, Service, ask, body, document


def meteo(count: int = 4, **columns: Any) -> dict[str, Any]:
    times = [f"2027-03-12T{h:02}:00" for h in range(18, 18 + count)]
    hourly_columns: dict[str, Any] = {
        "time": times, "temperature_2m": [10.0] * count, "relative_humidity_2m": [60] * count,
        "precipitation": [0.0, 0.4, 0.0, 0.0][:count], "precipitation_probability": [0, 30, 10, 0][:count],
        "wind_speed_10m": [4.0, 6.0, 5.0, 5.0][:count], "wind_gusts_10m": [8.0, 11.0, 9.0, 9.0][:count],
        "weather_code": [0, 95, 3, 3][:count],
    }  # fmt: skip
    units = {"temperature_2m": "°C", "wind_speed_10m": "m/s", "wind_gusts_10m": "m/s", "precipitation": "mm"}
    return {"utc_offset_seconds": 0, "timezone": "GMT", "hourly_units": units, "hourly": {**hourly_columns, **columns}}


@pytest.fixture
def open_meteo(service: Service) -> Service:
    service.answers["/v1/forecast"] = document(meteo())
    return service


def ask_meteo(service: Service, folder: Path, now: datetime.datetime = NOW) -> Got:
    return ask(service, folder, now, kind="open-meteo", address=f"{service.address}/v1/forecast")


def test_values_of_the_hour_before_belong_to_the_hour_that_they_tell_of(open_meteo: Service, tmp_path: Path) -> None:
    got = ask_meteo(open_meteo, tmp_path)
    assert got.forecast is not None
    six, seven, _, last = got.forecast.hours
    assert (six.rain_mm, six.rain_chance, six.gust_mps) == (0.4, 0.3, 11.0)  # the entries of 19:00
    assert six.wind_mps == 6.0  # the larger of its two ends
    assert (six.thunder_chance, seven.thunder_chance) == (0.0, 0.5)
    assert last.gust_mps is None  # no entry after the last: none reported, which is not zero
    assert "latitude=39.7456" in open_meteo.asked[0]
    assert "wind_speed_unit=ms" in open_meteo.asked[0]


def test_units_and_offset_of_the_answer_are_heeded(open_meteo: Service, tmp_path: Path) -> None:
    other = meteo()
    other["utc_offset_seconds"] = -18000
    units = {"temperature_2m": "°F", "wind_speed_10m": "mp/h", "wind_gusts_10m": "kn", "precipitation": "inch"}
    other["hourly_units"] = units
    open_meteo.answers["/v1/forecast"] = document(other)
    got = ask_meteo(open_meteo, tmp_path)
    assert got.forecast is not None
    hour = got.forecast.hours[0]
    assert hour.start == datetime.datetime(2027, 3, 12, 23, tzinfo=datetime.UTC)
    assert hour.wind_mps == pytest.approx(6 * 0.44704)
    assert hour.gust_mps == pytest.approx(11 * 1852 / 3600)
    assert hour.rain_mm == pytest.approx(10.16)
    assert hour.temp_c == pytest.approx(-12.22, abs=0.01)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (document({"error": True, "reason": "Latitude must be in range"}), "hourly.time"),
        (document(meteo(wind_speed_10m=[1.0])), "one value a time"),
        (document(meteo(wind_speed_10m=[None] * 4)), "holds no hour"),
        (document(meteo(wind_speed_10m=[1048.0] * 4)), "holds no hour"),
        (document({**meteo(), "hourly_units": {"wind_speed_10m": "Bft"}}), "Bft"),
        (document({**meteo(), "utc_offset_seconds": "no"}), "utc_offset_seconds"),
        (body(b"[]"), "hourly.time"),
    ],
)
def test_an_answer_of_another_form_leaves_the_last_good_one(
    open_meteo: Service, tmp_path: Path, fault: Callable[..., None], words: str
) -> None:
    good = ask_meteo(open_meteo, tmp_path)
    open_meteo.answers["/v1/forecast"] = fault
    got = ask_meteo(open_meteo, tmp_path, NOW + 2 * HOUR)
    assert got.is_last_good
    assert got.forecast == good.forecast
    assert words in got.notes[0]


def test_an_hour_with_a_hole_is_left_out_and_the_rest_is_used(open_meteo: Service, tmp_path: Path) -> None:
    open_meteo.answers["/v1/forecast"] = document(meteo(wind_speed_10m=[4.0, None, 5.0, 5.0]))
    got = ask_meteo(open_meteo, tmp_path)
    assert got.forecast is not None
    assert [hour.start.hour for hour in got.forecast.hours] == [18, 20, 21]
    assert "1 of 4 hours left out" in got.notes[0]
