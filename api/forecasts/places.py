"""For which places a forecast is wanted: the sites of open work and the yards, neighbors together."""

from __future__ import annotations

from collections.abc import Iterable

from sqlmodel import Session, select

from api import tables
from api.ledger.forecasts import distance_km

WITHIN_KM = 12.0  # a service's grid has cells of some kilometres: one place serves all sites so near to it
Place = tuple[float, float]


def wanted_places(session: Session) -> list[Place]:
    """Return the middles of the clusters of all yards and sites of open visits, in a lasting order."""
    yards = session.exec(select(tables.Yard.lat, tables.Yard.lon).order_by(tables.Yard.id)).all()
    site, visit = tables.Site, tables.Visit
    is_open = select(visit.id).where(visit.site_id == site.id, visit.state == "open").exists()
    sites = session.exec(select(site.lat, site.lon).where(is_open, site.placed).order_by(site.id)).all()
    return clusters([*yards, *sites])


def clusters(points: Iterable[Place], within_km: float = WITHIN_KM) -> list[Place]:
    """Return points of which every one of `points` has one within `within_km`: each first one that has none yet.

    Yards come first and never move, so that their forecasts keep their place from hour to hour.
    """
    middles: list[Place] = []
    for point in points:
        if all(distance_km(point, middle) > within_km for middle in middles):
            middles.append(point)
    return middles
