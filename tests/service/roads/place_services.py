"""A stand-in for services that find addresses, in both forms, on a street map of its own."""

from __future__ import annotations

import json
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

# street and number, town: (latitude, longitude, what was found)
MILL = ("9 Mill Lane", "Tallow Bend", 41.0312, -98.0421)
HOUSES = [
    MILL,
    ("12 Quarry Road", "Marl", 41.05, -98.01),
    ("4 Ash Street", "Marl", 41.06, -98.02),
    ("4 Ash Street", "Marlby", 41.26, -98.22),
    ("77 Far Road", "Otherwhere", 43.9, -98.0),
]


class Places:
    """Answers as Nominatim and as Photon do; `status`, `body` and `wait_s` spoil its answers."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, str], str]] = []
        self.status, self.wait_s = 200, 0.0
        self.body: bytes | None = None
        places = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                parts = urlsplit(self.path)
                query = {name: values[0] for name, values in parse_qs(parts.query).items()}
                places.asked.append((parts.path, query, self.headers["User-Agent"]))
                time.sleep(places.wait_s)
                body = places.body if places.body is not None else json.dumps(places.answer(parts.path, query)).encode()
                self.send_response(places.status)
                self.send_header("content-length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self.server.server_address[1]}"
        threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()

    def answer(self, path: str, query: dict[str, str]) -> Any:
        """Return the houses of the street that is asked for, those of the town first named after the comma."""
        street, _, town = query["q"].replace(" Ln", " Lane").partition(", ")
        found = [one for one in HOUSES if one[0].casefold() == street.casefold() and one[1].startswith(town)]
        road = [one for one in HOUSES if one[0].split(" ", 1)[1].casefold() == street.split(" ", 1)[-1].casefold()]
        if path == "/search":
            assert query["format"] == "jsonv2"
            return [self._row(one, 30) for one in found] or [self._row(one, 26) for one in road[:1]]
        assert path == "/api"
        return {
            "type": "FeatureCollection",
            "features": [self._feature(one, "house") for one in found]
            or [self._feature(o, "street") for o in road[:1]],
        }

    def _row(self, one: tuple[str, str, float, float], rank: int) -> dict[str, Any]:
        number, road = one[0].split(" ", 1)
        address = {"road": road, "town": one[1]} | ({"house_number": number} if rank == 30 else {})
        return {"lat": str(one[2]), "lon": str(one[3]), "display_name": f"{one[0]}, {one[1]}", "place_rank": rank,
                "address": address}  # fmt: skip

    def _feature(self, one: tuple[str, str, float, float], kind: str) -> dict[str, Any]:
        number, road = one[0].split(" ", 1)
        told = {"type": kind, "city": one[1], "street": road} | ({"housenumber": number} if kind == "house" else {})
        return {"type": "Feature", "properties": told, "geometry": {"type": "Point", "coordinates": [one[3], one[2]]}}
