"""A crew's day as a route for maps: GeoJSON (RFC 7946) and GPX 1.1. Lines between stops are straight, not roads."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

from sqlmodel import Session

from api.ledger.plans.days import PlannedDay, by_id, moment

GPX = "http://www.topografix.com/GPX/1/1"
STRAIGHT = "straight lines from stop to stop, not roads"


@dataclass(frozen=True)
class Point:
    """A place of the route, in order: `arrive` and `leave` are moments, None where the day begins or ends."""

    kind: str
    id: str
    name: str
    address: str
    lat: float
    lon: float
    arrive: datetime.datetime | None
    leave: datetime.datetime | None


def points(session: Session, day: PlannedDay) -> list[Point]:
    """Return the yard, the stops in order, and the yard again; empty where the crew does not go out."""
    if day.cell is None:
        return []
    get, zone, cell, yard = by_id(session), day.week.timezone, day.cell, day.yard

    def at(minute: int) -> datetime.datetime:
        return moment(day.date, minute, zone).astimezone(datetime.UTC)

    def home(arrive: datetime.datetime | None, leave: datetime.datetime | None) -> Point:
        return Point("yard", yard.id, yard.name, "", yard.lat, yard.lon, arrive, leave)

    stops = []
    for entry in cell.entries:
        if not entry.job:
            stops.append(home(at(entry.start), at(entry.end)))
            continue
        visit, site, customer, _ = get(entry.job)
        name = f"{visit.id} {customer.name}"
        work = visit.work.name if entry.is_visit else "lift"
        address = f"{site.address}, {site.town}"
        stops.append(Point(work, visit.id, name, address, site.lat, site.lon, at(entry.start), at(entry.end)))
    return [home(None, at(cell.depart)), *stops, home(at(cell.back), None)]


def geojson(day: PlannedDay, route: list[Point]) -> bytes:
    """Return the route as a GeoJSON FeatureCollection: a line, and a point for each place, in order.

    Positions are longitude, latitude (RFC 7946, 3.1.1); a line needs two of them (3.1.4): without a route the
    collection is empty.
    """
    features: list[dict[str, Any]] = []
    if route:
        line = {"type": "LineString", "coordinates": [_position(point) for point in route]}
        told = {"crew": day.crew.id, "date": day.date.isoformat(), "drawn": STRAIGHT}
        features.append({"type": "Feature", "id": "route", "geometry": line, "properties": told})
    for n, point in enumerate(route):
        properties = {
            "order": n,
            "kind": point.kind,
            "id": point.id,
            "name": point.name,
            "address": point.address,
            "arrive": _utc(point.arrive),
            "leave": _utc(point.leave),
        }
        geometry = {"type": "Point", "coordinates": _position(point)}
        features.append({"type": "Feature", "id": f"stop-{n}", "geometry": geometry, "properties": properties})
    collection: dict[str, Any] = {"type": "FeatureCollection", "features": features}
    if route:
        lats, lons = [point.lat for point in route], [point.lon for point in route]
        collection["bbox"] = [min(lons), min(lats), max(lons), max(lats)]
    return json.dumps(collection, ensure_ascii=False).encode()


def gpx(day: PlannedDay, route: list[Point], now: datetime.datetime) -> bytes:
    """Return the route as GPX 1.1: waypoints of all places, then one route through them in order; times in UTC.

    The time of a point is that of arrival, of the first that of leaving. `now` is told as the file's time.
    """
    ET.register_namespace("", GPX)
    root = ET.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "Eaveboard"})
    about = _under(root, "metadata")
    _under(about, "name", f"{day.crew.name}, {day.date}")
    _under(about, "desc", f"A planned day: {STRAIGHT}.")
    _under(about, "time", _utc(now))
    if route:
        lats, lons = [point.lat for point in route], [point.lon for point in route]
        edges = {"minlat": min(lats), "minlon": min(lons), "maxlat": max(lats), "maxlon": max(lons)}
        ET.SubElement(about, f"{{{GPX}}}bounds", {name: _degrees(value) for name, value in edges.items()})
        for point in route[:-1]:  # the last is the yard again
            _point(root, "wpt", point)
        line = _under(root, "rte")
        _under(line, "name", f"{day.crew.name}, {day.date}")
        _under(line, "number", "1")
        for point in route:
            _point(line, "rtept", point)
    text: bytes = ET.tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + text + b"\n"


def _point(parent: ET.Element, tag: str, point: Point) -> None:
    """Add a point; GPX asks for its parts in this order."""
    place = {"lat": _degrees(point.lat), "lon": _degrees(point.lon)}
    element = ET.SubElement(parent, f"{{{GPX}}}{tag}", place)
    _under(element, "time", _utc(point.arrive or point.leave))
    _under(element, "name", point.name)
    if point.address:
        _under(element, "desc", point.address)
    _under(element, "type", point.kind)


def _under(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    element = ET.SubElement(parent, f"{{{GPX}}}{tag}")
    element.text = text
    return element


def _position(point: Point) -> list[float]:
    return [point.lon, point.lat]


def _degrees(value: float) -> str:
    """Return degrees in plain decimal notation, which GPX asks for; GPX knows no longitude of 180."""
    return f"{-180.0 if value == 180 else value:.7f}"


def _utc(at: datetime.datetime | None) -> str | None:
    return None if at is None else at.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
