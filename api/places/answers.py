"""What an address is compared by, the places that could be it, and what is made of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from api.fields.addresses.streets import plain

Level = Literal["house", "street", "town"]
State = Literal["wanted", "one", "several", "near", "none", "chosen", "no source", "fault"]
SAME_M = 60.0  # two answers nearer than that are one house: its door and its middle
MOST = 5


class PlaceFound(msgspec.Struct, frozen=True):
    """A place that could be an address; `level`: whether the house was found, or its street or town alone."""

    words: str
    lat: float
    lon: float
    level: Level

    @property
    def pin(self) -> str:
        """Return the place as one field holds it."""
        return f"{self.lat:.6f}, {self.lon:.6f}"


class AddressAnswer(msgspec.Struct, frozen=True):
    """What is known of where an address is: `places` are the candidates, the best first, `words` say how it stands."""

    state: State
    places: tuple[PlaceFound, ...]
    words: str

    @property
    def sure(self) -> PlaceFound | None:
        """Return the one place that it is, None where somebody has to look."""
        return self.places[0] if self.state in ("one", "chosen") else None


def asked_words(address: str, town: str) -> str:
    """Return an address in one line, as services are asked for it."""
    short = " ".join(address.split())
    return short if not town or plain(town) in plain(short.partition(",")[2]) else f"{short}, {' '.join(town.split())}"


def judged(address: str, town: str, found: Sequence[PlaceFound]) -> AddressAnswer:
    """Return what the candidates say: one house, several, the street or town alone, or nothing."""
    what = asked_words(address, town)
    houses: list[PlaceFound] = []
    for place in found:
        if place.level == "house" and all(metres(place, one) > SAME_M for one in houses):
            houses.append(place)
    if len(houses) == 1:
        return AddressAnswer("one", (houses[0],), "")
    if houses:
        return AddressAnswer("several", tuple(houses[:MOST]), f"{len(houses[:MOST])} places fit “{what}”: choose one.")
    if found:
        level = "street" if any(place.level == "street" for place in found) else "town"
        near = tuple(place for place in found if place.level == level)[:MOST]
        return AddressAnswer("near", near, f"Only the {level} of “{what}” was found: move the pin to the house.")
    return AddressAnswer(
        "none", (), f"“{what}” was not found: look at its spelling, or put the pin on the map yourself."
    )


def metres(one: PlaceFound, other: PlaceFound) -> float:
    """Return how far apart two places are as the crow flies, good for short ways."""
    east = (one.lon - other.lon) * math.cos(math.radians((one.lat + other.lat) / 2))
    return 111_195 * math.hypot(one.lat - other.lat, east)
