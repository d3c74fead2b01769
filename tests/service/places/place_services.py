"""A stand-in for services that find addresses, in both forms, on a street map of its own."""

from __future__ import annotations

import json
import time
from typing import Any

from tests.service.stand_in import Answer, Asked, StandIn

# street and number, town: (latitude, longitude, what was found)
MILL = ("9 Mill Lane", "Tallow Bend", 41.0312, -98.0421)
HOUSES = [
    MILL,
    ("12 Quarry Road", "Marl", 41.05, -98.01),
    ("4 Ash Street", "Marl", 41.06, -98.02),
    ("4 Ash Street", "Marlby", 41.26, -98.22),
    ("77 Far Road", "Otherwhere", 43.9, -98.0),
]


class Places(StandIn):
    """Answers as Nominatim and as Photon do; `status`, `body` and `wait_s` spoil its answers."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, str], str]] = []
        self.status, self.wait_s = 200, 0.0
        self.body: bytes | None = None
        super().__init__()

    def respond(self, asked: Asked) -> Answer:
        self.asked.append((asked.path, asked.query, asked.headers["user-agent"]))
        time.sleep(self.wait_s)
        found = self.body if self.body is not None else json.dumps(self.answer(asked.path, asked.query)).encode()
        return Answer(found, self.status)

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
