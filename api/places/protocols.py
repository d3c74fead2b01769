"""Asking a service where an address is, in the forms of Nominatim's search and of Photon.

Formats: Nominatim's manual, "Search queries" (format jsonv2: a list with `lat` and `lon` as text, `display_name`,
`place_rank`, 26 to 27 for streets and 30 for houses); Photon's README (a GeoJSON collection, longitude first, with
`type`, `housenumber`, `street`, `city`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import httpx

from api.fields.addresses.streets import number_and_street
from api.forecasts.fetch import FetchFault, Patience, get_json
from api.places.answers import Level, PlaceFound, asked_words

PATIENCE = Patience(try_s=6.0, tries=1)
HOUSE_RANK, STREET_RANK = 28, 26
_WORDS = 200
Box = tuple[float, float, float, float]  # south, west, north, east


def ask(
    kind: str, base: str, contact: str, address: str, town: str, near: Box | None, client: httpx.Client,
    patience: Patience = PATIENCE,
) -> list[PlaceFound]:  # fmt: skip
    """Return the places that a service names for an address; raises `FetchFault` where it gives none that can be read.

    near: where the business works; the service puts places there first.
    """
    client.headers["User-Agent"] = f"eaveboard ({contact.strip()})"
    params = {"q": asked_words(address, town), "limit": "5"}
    if kind == "nominatim":
        params |= {"format": "jsonv2", "addressdetails": "1"}
        if near is not None:
            south, west, north, east = near
            params["viewbox"] = f"{west:.4f},{north:.4f},{east:.4f},{south:.4f}"
    elif near is not None:
        params |= {"lat": f"{(near[0] + near[2]) / 2:.4f}", "lon": f"{(near[1] + near[3]) / 2:.4f}"}
    path = "/search" if kind == "nominatim" else "/api"
    try:
        told = get_json(client, base.rstrip("/") + path, params, patience)
    except FetchFault as fault:
        words = str(fault).partition(";")[0]  # the rest are hints about forecasts
        hint = {403: ": it wants a contact", 404: ": is its address right?"}.get(fault.status or 0, "")
        raise FetchFault(words + hint, fault.status) from None
    number = number_and_street(address)[0]
    read = _nominatim if kind == "nominatim" else _photon
    return [place for one in _listed(kind, told) if (place := read(one, number)) is not None]


def _listed(kind: str, told: Any) -> list[Any]:
    rows = told.get("features") if kind == "photon" and isinstance(told, dict) else told
    if not isinstance(rows, list):
        raise FetchFault(f"the service answered something that is no answer of the {kind.capitalize()} kind")
    return rows


def _nominatim(row: Any, number: str) -> PlaceFound | None:
    if not isinstance(row, dict):
        return None
    rank = row.get("place_rank")
    of = row.get("address")
    parts: Mapping[str, Any] = of if isinstance(of, dict) else {}
    level: Level = "town"
    if isinstance(rank, int) and rank >= STREET_RANK:
        level = "house" if rank >= HOUSE_RANK else "street"
    return _place(row.get("display_name"), row.get("lat"), row.get("lon"), level, number, parts.get("house_number"))


def _photon(row: Any, number: str) -> PlaceFound | None:
    try:
        told, (lon, lat) = row["properties"], row["geometry"]["coordinates"][:2]
        kind = told.get("type")
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
    level: Level = "house" if kind == "house" else "street" if kind == "street" else "town"
    street = " ".join(str(told[name]) for name in ("housenumber", "street") if told.get(name))
    rest = [str(told[name]) for name in ("city", "state", "postcode") if told.get(name)]
    named = [str(told["name"])] if told.get("name") and told.get("name") != street else []
    return _place(", ".join([*named, *([street] if street else []), *rest]), lat, lon, level, number,
                  told.get("housenumber"))  # fmt: skip


def _place(words: Any, lat: Any, lon: Any, level: Level, number: str, found: Any) -> PlaceFound | None:
    """Return a place whose numbers can be right, None for any other; another house of the street is its street."""
    try:
        north, east = float(lat), float(lon)
    except (TypeError, ValueError):
        return None
    if not (-90 <= north <= 90 and -180 <= east <= 180) or not isinstance(words, str) or not words.strip():
        return None
    if level == "house" and number and found and str(found).casefold().replace(" ", "") != number:
        level = "street"
    if level == "house" and number and not found:
        level = "street"  # a shop or a park of the street's name
    clean = " ".join("".join(letter for letter in words if letter.isprintable()).split())
    return PlaceFound(clean[:_WORDS], north, east, level)
