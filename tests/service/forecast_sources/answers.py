"""A forecast service on this machine that can be slow, broken, stale or away, and what such services answer."""

from __future__ import annotations

import contextlib
import datetime
import functools
import json
import threading
import time
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx

from api.forecasts.fetch import Patience
from api.forecasts.sources import Got, Source, forecast_for

NOW = datetime.datetime(2027, 3, 12, 15, 20, tzinfo=datetime.UTC)
HOUR = datetime.timedelta(hours=1)
LAT, LON = 39.7456, -97.0892
NOON, ONE = "2027-03-12T12:00:00-06:00", "2027-03-12T13:00:00-06:00"
HOURLY, GRID = "/gridpoints/TOP/31,80/forecast/hourly", "/gridpoints/TOP/31,80"
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


GUSTS = layer("wmoUnit:km_h-1", ("2027-03-12T18:00:00+00:00/PT2H", 48.28))


def ask(service: Service, folder: Path, now: datetime.datetime = NOW, **more: Any) -> Got:
    settings: dict[str, Any] = {"kind": "nws", "address": service.address, "contact": "office@example.org"}
    source = Source(**{**settings, "patience": QUICK, **more})
    return forecast_for(source, LAT, LON, now, folder, _client())


@functools.cache
def _client() -> httpx.Client:
    return httpx.Client()  # reading the certificates takes longer than a whole test
