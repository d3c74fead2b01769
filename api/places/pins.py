"""The pin of an address: one field "lat, lon", the question of a pin far from every yard, and the map it stands on.

The map is drawn from what is on record, yards and other sites, in kilometers east and south of its middle; no picture
comes from outside. `api/web/src/pin.ts` moves the pin with the same figures.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.fields.limits import LIMITS
from scheduler.errors import BadInput

FAR_KM = 100.0
KM_PER_DEGREE = 111.195  # of latitude, on a sphere of 6,371 km
KM_PER_MILE = 1.609344
LEAST_KM, MOST_KM = 2.0, 250.0  # from the middle to the edge at first
NEAR_YARD = 1.95  # times as far as the nearest yard reaches the map to its sides, so that the yard stands on it
MOST_SITES = 400
_PIN = re.compile(r"\s*([+-]?\d{1,3}(?:\.\d+)?)\s*°?\s*([NS]?)\s*[,;\s]\s*([+-]?\d{1,3}(?:\.\d+)?)\s*°?\s*([EW]?)\s*",
                  re.IGNORECASE)  # fmt: skip


class MapMark(msgspec.Struct, frozen=True):
    """A place on the map: a yard or another site, with what it is called."""

    kind: str
    name: str
    lat: float
    lon: float


class PinMap(msgspec.Struct, frozen=True):
    """A map around (lat, lon), `half_km` from its middle to its edge; `pin` None: where nobody has put it yet."""

    lat: float
    lon: float
    half_km: float
    units: str
    pin: tuple[float, float] | None
    marks: tuple[MapMark, ...]

    def at(self, lat: float, lon: float) -> tuple[float, float]:
        """Return kilometers east and south of the middle."""
        east = (lon - self.lon) * KM_PER_DEGREE * math.cos(math.radians(self.lat))
        return round(east, 4), round((self.lat - lat) * KM_PER_DEGREE, 4)

    @property
    def json(self) -> str:
        """Return the map as the page's script reads it."""
        return msgspec.json.encode(self).decode()

    @property
    def lines(self) -> tuple[float, tuple[float, ...], str]:
        """Return the distance between two lines of the grid in kilometers, where they stand, and the distance's words.

        At most eleven lines, a round number of miles or kilometers apart.
        """
        unit = KM_PER_MILE if self.units == "imperial" else 1.0
        steps = [m * 10.0**e for e in range(-3, 4) for m in (1, 2, 5)]
        step = next(s for s in steps if self.half_km / (s * unit) <= 5)
        apart = step * unit
        count = int(self.half_km // apart)
        words = f"{step:g} {'mi' if self.units == 'imperial' else 'km'}"
        return apart, tuple(n * apart for n in range(-count, count + 1)), words


def read_pin(text: str) -> tuple[float, float] | None:
    """Return latitude and longitude of a field such as "41.0213, -91.0305", None where it is empty.

    "41.02 N 91.03 W" is understood as well. Raises `BadInput` without a place.
    """
    if not text.strip():
        return None
    found = _PIN.fullmatch(text)
    if found is None:
        raise BadInput("", f'must be latitude and longitude such as 41.0213, -91.0305, is "{text.strip()[:60]}"')
    lat, north, lon, east = found.groups()
    values = []
    for name, number, side, column in (("latitude", lat, north, "site.lat"), ("longitude", lon, east, "site.lon")):
        try:
            values.append(LIMITS[column].check(float(number) * (-1 if side.upper() in ("S", "W") else 1)))
        except BadInput as fault:
            raise BadInput("", f"the {name} {fault.problem}") from None
    return values[0], values[1]


def pin_text(lat: Any, lon: Any) -> str:
    """Return a place as the field holds it, empty where it is not known."""
    return f"{lat}, {lon}" if lat not in ("", None) and lon not in ("", None) else ""


def far_words(session: Session, lat: float, lon: float, but: str = "") -> str:
    """Return the question about a pin more than 100 km from every yard, empty where it is nearer or there is no yard.

    but: the id of a yard that is left out, since it is the one to be placed.
    """
    yards = [y for y in session.exec(select(tables.Yard).order_by(col(tables.Yard.id))) if y.id != but]
    if not yards:
        return ""
    near = min(yards, key=lambda yard: distance_km(lat, lon, yard.lat, yard.lon))
    km = distance_km(lat, lon, near.lat, near.lon)
    if km <= FAR_KM:
        return ""
    return f"The pin is {_long(km, _units(session))} from the nearest yard, {near.name}. Is it really that far?"


def distance_km(lat: float, lon: float, other_lat: float, other_lon: float) -> float:
    """Return the great-circle distance (haversine) on a sphere of 6,371 km."""
    a, b = math.radians(lat), math.radians(other_lat)
    h = math.sin((b - a) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(math.radians(other_lon - lon) / 2) ** 2
    return 2 * 6371.0 * math.asin(min(1.0, math.sqrt(h)))


def _long(km: float, units: str) -> str:
    return f"{km / KM_PER_MILE:,.0f} mi" if units == "imperial" else f"{km:,.0f} km"


def pin_map(session: Session, pin: tuple[float, float] | None, but: str = "") -> PinMap:
    """Return the map to put a pin on: around the pin where there is one, with the nearest yard; else all yards.

    but: the id of the yard or site that is being placed, which is no mark.
    """
    yard, site = tables.Yard, tables.Site
    marks = [
        MapMark("yard", y.name, y.lat, y.lon) for y in session.exec(select(yard).order_by(col(yard.id))) if y.id != but
    ]
    found = select(site.id, site.address, site.lat, site.lon).where(site.placed)
    found = found.order_by(col(site.id).desc()).limit(MOST_SITES)
    marks += [MapMark("site", name, lat, lon) for key, name, lat, lon in session.execute(found) if key != but]
    units = _units(session)
    if pin is not None:
        yards = [distance_km(*pin, mark.lat, mark.lon) for mark in marks if mark.kind == "yard"]
        half = min(max(NEAR_YARD * min(yards, default=8.0), LEAST_KM), MOST_KM)
        return PinMap(pin[0], pin[1], round(half, 3), units, pin, tuple(marks))
    around = [mark for mark in marks if mark.kind == "yard"] or marks
    if not around:
        return PinMap(39.5, -98.35, 2500.0, units, None, ())  # the middle of the contiguous states, for a first yard
    lat = sum(mark.lat for mark in around) / len(around)
    lon = sum(mark.lon for mark in around) / len(around)
    reach = max(distance_km(lat, lon, mark.lat, mark.lon) for mark in around)
    return PinMap(lat, lon, round(max(1.3 * reach, 25.0), 3), units, None, tuple(marks))


def spread(sent: Mapping[str, str], prefix: str = "") -> tuple[dict[str, str], str]:
    """Return a form's fields with latitude and longitude in place of its pin, and what is wrong with the pin.

    A candidate that was chosen (`found`) counts where the field itself is empty or as it was.
    """
    fields = dict(sent)
    typed, was = fields.pop(f"{prefix}pin", ""), fields.pop(f"{prefix}was", "")
    chosen = fields.pop(f"{prefix}found", "")
    text = chosen if chosen and typed.strip() in ("", was.strip()) else typed
    try:
        place = read_pin(text)
    except BadInput as fault:
        return fields, fault.problem
    if place is not None:
        fields[f"{prefix}lat"], fields[f"{prefix}lon"] = (repr(value) for value in place)
    return fields, ""


def _units(session: Session) -> str:
    return session.exec(select(tables.Business.units)).first() or "imperial"
