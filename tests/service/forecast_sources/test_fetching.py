"""Forecasts fetched over HTTP from a service that is slow, broken, stale or away, and kept for the next time."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from api.forecasts.fetch import FetchFault, Patience, get_json
from api.forecasts.sources import Source, forecast_for
from scheduler.errors import BadInput
from tests.service.forecast_sources.answers import (
    GRID,
    HOUR,
    HOURLY,
    LAT,
    LON,
    NOON,
    NOW,
    Service,
    ask,
    body,
    document,
    first,
    hourly,
    late,
    period,
    status,
    trickle,
)


def test_a_second_call_within_the_hour_asks_nobody(nws: Service, tmp_path: Path) -> None:
    one = ask(nws, tmp_path)
    asked = len(nws.asked)
    two = ask(nws, tmp_path, NOW + 0.5 * HOUR)
    assert len(nws.asked) == asked
    assert two.forecast == one.forecast
    three = ask(nws, tmp_path, NOW + 2 * HOUR)
    assert nws.asked[asked:] == [HOURLY, GRID]  # the place itself is known for two weeks
    assert three.fetched == NOW + 2 * HOUR


def test_an_error_that_passes_is_tried_again(nws: Service, tmp_path: Path) -> None:
    nws.answers[HOURLY] = first(2, status(500), nws.answers[HOURLY])
    got = ask(nws, tmp_path)
    assert got.forecast is not None
    assert nws.asked.count(HOURLY) == 3


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (status(500), "answered 500"),
        (status(503, Retry_After="1"), "answered 503"),
        (status(429), "answered 429"),
        (late(1.0, status(200)), "did not answer within"),
        (trickle, "was not done after"),
        (body(b'{"properties": {"periods": [', 5000), "could not be read"),
        (body(b"<html>We are down for maintenance</html>"), "not JSON"),
        (body(b"\x00\xff\xfe garbage"), "not JSON"),
        (document({"properties": {"periods": []}}), "updateTime"),
        (document({"hello": 1}), "properties"),
        (document(hourly(period(NOON, wind=""))), "holds no hour"),
    ],
)
def test_whatever_fails_the_last_good_forecast_stays_with_its_age(
    nws: Service, tmp_path: Path, fault: Callable[..., None], words: str
) -> None:
    good = ask(nws, tmp_path)
    nws.answers[HOURLY] = fault
    got = ask(nws, tmp_path, NOW + 5 * HOUR, patience=Patience(0.4, 2, 0.01, 0.05))
    assert got.is_last_good
    assert got.forecast == good.forecast
    assert got.fetched == NOW
    assert words in got.notes[0]
    assert got.notes[-1] == "the last good forecast is 5 h old"
    assert got.age(NOW + 5 * HOUR) == 5 * HOUR + datetime.timedelta(minutes=40)


def test_a_service_that_is_gone_and_was_never_reached(tmp_path: Path) -> None:
    gone = Service()
    gone.stop()
    got = ask(gone, tmp_path)
    assert got.forecast is None
    assert "no earlier forecast is kept for this place" in got.notes


def test_an_older_answer_never_replaces_a_newer_one(nws: Service, tmp_path: Path) -> None:
    good = ask(nws, tmp_path)
    nws.answers[HOURLY] = document(hourly(period(NOON, "60 mph"), updated="2027-03-12T02:00:00+00:00"))
    got = ask(nws, tmp_path, NOW + 2 * HOUR)
    assert got.is_last_good
    assert got.forecast == good.forecast
    assert "older forecast" in got.notes[0]


def test_a_stale_answer_is_used_and_its_age_said(nws: Service, tmp_path: Path) -> None:
    nws.answers[HOURLY] = document(hourly(period(NOON), updated="2027-03-10T08:00:00+00:00"))
    got = ask(nws, tmp_path)
    assert not got.is_last_good
    assert got.notes[-1] == "the forecast is 2 days old"


def test_damaged_files_of_the_store_count_as_none(nws: Service, tmp_path: Path) -> None:
    ask(nws, tmp_path)
    for file in tmp_path.iterdir():
        file.write_bytes(b'{"half": ')
    assert ask(nws, tmp_path).forecast is not None


def test_a_folder_that_cannot_be_written_is_said(nws: Service, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, no folder")
    got = ask(nws, tmp_path / "taken" / "sub")
    assert got.forecast is not None
    assert "could not be kept for later" in got.notes[-1]


def test_a_file_is_read_with_its_age(tmp_path: Path) -> None:
    file = tmp_path / "site.csv"
    first_line = "start_utc,wind_mps,gust_mps,rain_mm,rain_chance,thunder_chance,temp_c,humidity"
    file.write_text(f"{first_line}\n2027-03-15T13:00Z,4.5,,0,0.1,,11.5,0.62\n")
    got = forecast_for(Source("file", str(file)), LAT, LON, NOW, tmp_path)
    assert got.forecast is not None
    assert got.forecast.hours[0].gust_mps is None
    with pytest.raises(BadInput, match="cannot be read"):
        forecast_for(Source("file", str(tmp_path / "other.csv")), LAT, LON, NOW, tmp_path)
    file.write_text("start_utc,wind_mps\n2027-03-15T13:00Z,4.5\n")
    with pytest.raises(BadInput, match="gust_mps"):
        forecast_for(Source("file", str(file)), LAT, LON, NOW, tmp_path)


def test_waits_double_and_heed_the_time_that_the_service_names(service: Service) -> None:
    service.answers["/x"] = first(2, status(503, Retry_After="3"), document({"ok": True}))
    waited: list[float] = []
    with httpx.Client() as client:
        found = get_json(client, f"{service.address}/x", None, Patience(1.0, 4, 0.5, 10.0), waited.append)
        assert found == {"ok": True}
        assert waited == [3.0, 3.0]
        waited.clear()
        service.answers["/x"] = status(500)
        with pytest.raises(FetchFault, match="answered 500"):
            get_json(client, f"{service.address}/x", None, Patience(1.0, 4, 0.5, 10.0), waited.append)
    assert len(waited) == 3
    assert 0.5 <= waited[0] <= 0.75
    assert 2.0 <= waited[2] <= 2.25


def test_too_large_an_answer_is_refused(service: Service) -> None:
    service.answers["/big"] = body(b" " * 9_000_000)
    with httpx.Client() as client, pytest.raises(FetchFault, match="more than 8 MB"):
        get_json(client, f"{service.address}/big", None, Patience(5.0, 1, 0.1, 0.1))
