"""Forecast services over HTTP, played by a server on this machine that can be slow, broken, stale or away."""

from __future__ import annotations

import contextlib
import datetime
import functools
import json
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.forecasts.fetch import FetchFault, Patience, get_json
from api.forecasts.sources import Got, Source, forecast_for
from scheduler.errors import BadInput

NOW = datetime.datetime(2027, 3, 12, 15, 20, tzinfo=datetime.UTC)
HOUR = datetime.timedelta(hours=1)
LAT, LON = 39.7456, -97.0892
QUICK = Patience(try_s=2.0, tries=3, wait_s=0.01, most_wait_s=0.05)


class Service:
    """A server whose answers are functions by path; counts requests and remembers their headers."""

    def __init__(self) -> None:
        self.answers: dict[str, Callable[[BaseHTTPRequestHandler], None]] = {}
        self.asked: list[str] = []
        self.agents: list[str] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                service.asked.append(self.path)
                service.agents.append(self.headers.get("User-Agent", ""))
                answer = service.answers.get(self.path.partition("?")[0], status(404))
                with contextlib.suppress(OSError):  # the client may hang up
                    answer(self)

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.address = f"http://127.0.0.1:{self.server.server_address[1]}"
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


def document(value: Any) -> Callable[[BaseHTTPRequestHandler], None]:
    return body(json.dumps(value).encode())


def body(data: bytes, declared: int | None = None) -> Callable[[BaseHTTPRequestHandler], None]:
    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/geo+json")
        handler.send_header("Content-Length", str(len(data) if declared is None else declared))
        handler.end_headers()
        handler.wfile.write(data)

    return answer


def status(code: int, **headers: str) -> Callable[[BaseHTTPRequestHandler], None]:
    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(code)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return answer


def late(seconds: float, answer: Callable[[BaseHTTPRequestHandler], None]) -> Callable[[BaseHTTPRequestHandler], None]:
    def slow(handler: BaseHTTPRequestHandler) -> None:
        time.sleep(seconds)
        answer(handler)

    return slow


def trickle(handler: BaseHTTPRequestHandler) -> None:
    """One byte each 50 ms for five seconds: never late, never done."""
    handler.send_response(200)
    handler.send_header("Content-Length", "1000000")
    handler.end_headers()
    for _ in range(100):
        handler.wfile.write(b" ")
        handler.wfile.flush()
        time.sleep(0.05)


def first(count: int, bad: Callable[..., None], good: Callable[..., None]) -> Callable[..., None]:
    left = [count]

    def answer(handler: BaseHTTPRequestHandler) -> None:
        left[0] -= 1
        (bad if left[0] >= 0 else good)(handler)

    return answer


def period(start: str, wind: Any = "10 mph", temp: Any = 50, chance: Any = 10, humidity: Any = 60) -> dict[str, Any]:
    return {
        "number": 1, "name": "", "startTime": start, "isDaytime": True, "temperature": temp, "temperatureUnit": "F",
        "temperatureTrend": None, "probabilityOfPrecipitation": {"unitCode": "wmoUnit:percent", "value": chance},
        "dewpoint": {"unitCode": "wmoUnit:degC", "value": 3.3},
        "relativeHumidity": {"unitCode": "wmoUnit:percent", "value": humidity}, "windSpeed": wind,
        "windDirection": "SW", "shortForecast": "Sunny", "detailedForecast": "",
    }  # fmt: skip


def hourly(*periods: dict[str, Any], updated: str = "2027-03-12T14:40:00+00:00") -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {
            "units": "us", "forecastGenerator": "HourlyForecastGenerator", "generatedAt": "2027-03-12T15:10:00+00:00",
            "updateTime": updated, "validTimes": "2027-03-12T09:00:00+00:00/P7DT16H", "periods": list(periods),
        },
    }  # fmt: skip


def grid(**layers: Any) -> dict[str, Any]:
    return {"properties": {"updateTime": "2027-03-12T14:40:00+00:00", **layers}}


def layer(uom: str | None, *values: tuple[str, Any]) -> dict[str, Any]:
    entries = [{"validTime": span, "value": value} for span, value in values]
    return {"values": entries} if uom is None else {"uom": uom, "values": entries}


NOON, ONE = "2027-03-12T12:00:00-06:00", "2027-03-12T13:00:00-06:00"
GUSTS = layer("wmoUnit:km_h-1", ("2027-03-12T18:00:00+00:00/PT2H", 48.28))


@pytest.fixture(scope="module")
def server() -> Iterator[Service]:
    running = Service()
    yield running
    running.stop()


@pytest.fixture
def service(server: Service) -> Service:
    """The running server, with nothing to answer and nothing asked yet."""
    server.answers.clear()
    server.asked.clear()
    server.agents.clear()
    return server


@pytest.fixture
def nws(service: Service) -> Service:
    """The National Weather Service's three documents; the addresses named in them are on its own host, as in truth."""
    named = "https://api.weather.gov/gridpoints/TOP/31,80"
    point = {"properties": {"gridId": "TOP", "forecastHourly": f"{named}/forecast/hourly", "forecastGridData": named}}
    service.answers["/points/39.7456,-97.0892"] = document(point)
    service.answers[HOURLY] = document(hourly(period(NOON), period(ONE, "5 to 15 mph")))
    service.answers[GRID] = document(grid(windGust=GUSTS))
    return service


HOURLY, GRID = "/gridpoints/TOP/31,80/forecast/hourly", "/gridpoints/TOP/31,80"


def ask(service: Service, folder: Path, now: datetime.datetime = NOW, **more: Any) -> Got:
    settings: dict[str, Any] = {"kind": "nws", "address": service.address, "contact": "office@example.org"}
    source = Source(**{**settings, "patience": QUICK, **more})
    return forecast_for(source, LAT, LON, now, folder, _client())


@functools.cache
def _client() -> httpx.Client:
    return httpx.Client()  # reading the certificates takes longer than a whole test


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
