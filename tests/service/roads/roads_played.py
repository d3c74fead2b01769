"""A table service on this machine that speaks both open formats and can misbehave, and the world that it tells of."""

from __future__ import annotations

import json
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from scheduler.travel import great_circle_m

NO_ROAD_LAT = 60.0  # north of it the fake world has no roads
ISLAND_LON = 20.0  # east of it lies an island


def true_table(sources: list[tuple[float, float]], targets: list[tuple[float, float]]) -> tuple[Any, Any]:
    """The fake world: 1.25 times the great circle, 36 km/h, a tenth slower northward; None to and from the island."""
    straight = great_circle_m([*sources, *targets])[: len(sources), len(sources) :]
    metres = [[1.25 * d for d in row] for row in straight.tolist()]
    seconds = [
        [m / 10 * (1.1 if t[0] > s[0] else 1) for m, t in zip(row, targets, strict=True)]
        for row, s in zip(metres, sources, strict=True)
    ]
    for i, s in enumerate(sources):
        for j, t in enumerate(targets):
            if (s[1] > ISLAND_LON) != (t[1] > ISLAND_LON):
                metres[i][j] = seconds[i][j] = None
    return seconds, metres


class Fake(ThreadingHTTPServer):
    """`faults`: one name taken by each request in turn, then none; `always`: the fault of every request."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Answer)
        self.faults: list[str] = []
        self.always = ""
        self.most = 10_000
        self.sizes: list[tuple[int, int]] = []
        self.lock = threading.Lock()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that gave up is part of the test."""


class _Answer(BaseHTTPRequestHandler):
    server: Fake

    def log_message(self, format: str, *args: Any) -> None:
        """Be silent."""

    def do_GET(self) -> None:
        parts = urlsplit(self.path)
        query = {k: v[0].split(";") for k, v in parse_qs(parts.query, separator="&").items()}
        service, version, _profile, text = parts.path.lstrip("/").split("/")
        assert (service, version, query["annotations"]) == ("table", "v1", ["duration,distance"])
        points = [(float(p.split(",")[1]), float(p.split(",")[0])) for p in text.split(";")]
        assert len(query["radiuses"]) == len(points) >= 2
        self._table(
            [points[int(i)] for i in query["sources"]], [points[int(i)] for i in query["destinations"]], osrm=True
        )

    def do_POST(self) -> None:
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        assert self.path == "/sources_to_targets"
        assert all(p["search_cutoff"] for p in body["sources"] + body["targets"])
        sources, targets = ([(p["lat"], p["lon"]) for p in body[k]] for k in ("sources", "targets"))
        self._table(sources, targets, osrm=False)

    def _table(self, sources: list[tuple[float, float]], targets: list[tuple[float, float]], osrm: bool) -> None:
        with self.server.lock:
            self.server.sizes.append((len(sources), len(targets)))
            fault = self.server.always or (self.server.faults.pop(0) if self.server.faults else "")
        if len(sources) * len(targets) > self.server.most:
            return self._refuse(osrm, "TooBig", 150, "Exceeded max locations: 100")
        if any(lat > NO_ROAD_LAT for lat, _ in sources + targets):
            return self._refuse(osrm, "NoSegment", 171, "No suitable edges near location")
        metres: Any
        seconds, metres = true_table(sources, targets)
        if not osrm and all(s is None for row in seconds for s in row):
            return self._refuse(osrm, "", 442, "No path could be found for input")
        if fault == "negative":
            seconds[0][-1] = -5.0
        if fault == "huge":
            metres[0][-1] = 1e300
        if fault == "words":
            seconds[0][-1] = "soon"
        if fault == "ragged":
            seconds[-1].pop()
        if fault == "small":
            seconds.pop()
        if fault == "no metres":
            metres = None
        if osrm:
            answer: Any = {"code": "Ok", "durations": seconds, "distances": metres}
        else:
            km: Any = [[None if m is None else m / 1000 for m in row] for row in metres] if metres is not None else None
            answer = {"sources_to_targets": {"durations": seconds, "distances": km}, "units": "kilometers"}
            if fault == "cells":  # the older form, which services give that do not know the compact one
                answer["sources_to_targets"] = [
                    [
                        {"from_index": i, "to_index": j, "time": s, "distance": d}
                        for j, (s, d) in enumerate(zip(*rows, strict=True))
                    ]
                    for i, rows in enumerate(zip(seconds, km, strict=True))
                ]
            if fault == "miles":
                answer["units"] = "miles"
                answer["sources_to_targets"]["distances"] = [[m / 1609.344 for m in row] for row in metres]
            if fault == "leagues":
                answer["units"] = "leagues"
        self._send(200, json.dumps(answer).encode(), fault)
        return None

    def _refuse(self, osrm: bool, code: str, number: int, message: str) -> None:
        answer = {"code": code, "message": message} if osrm else {"error_code": number, "error": message}
        self._send(400, json.dumps(answer).encode(), "")

    def _send(self, status: int, data: bytes, fault: str) -> None:
        if fault.isdecimal():
            status, data = int(fault), b"<html>the service is being repaired</html>"
        if fault == "garbage":
            data = b"<html>welcome to the hotel's network</html>"
        if fault == "nan":
            data = data.replace(b"0.0", b"NaN", 1)
        if fault == "empty":
            data = b""
        if fault == "other json":
            data = b'{"hello": [1, 2, 3]}'
        if fault == "slow":
            time.sleep(2.5)
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        if fault == "cut":
            self.wfile.write(data[: len(data) // 2])
        elif fault == "drip":
            for byte in data[:40]:
                self.wfile.write(bytes([byte]))
                time.sleep(0.06)
        else:
            self.wfile.write(data)
