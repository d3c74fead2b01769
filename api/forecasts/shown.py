"""The places whose forecasts are on record, as a page and programs are told of them."""

from __future__ import annotations

import datetime

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.forecasts.sources import age_text
from api.languages import gettext
from api.ledger.forecasts import newest_ids


class PlaceForecast(msgspec.Struct, frozen=True):
    """The newest forecast of a place; `issued` None: none yet. `failing_since` and `words`: why it is not renewed."""

    place: str
    source: str
    issued: datetime.datetime | None
    age: str
    hours: int
    notes: tuple[str, ...]
    failing_since: datetime.datetime | None
    words: str


def places(session: Session, now: datetime.datetime) -> list[PlaceForecast]:
    """Return every place that has a forecast or for which one was asked, those that fail first."""
    row = tables.StoredForecast
    held = {
        _key(one.lat, one.lon): one
        for one in session.exec(select(row).where(col(row.id).in_(newest_ids(session))).order_by(col(row.id)))
    }
    asked = {one.place: one for one in session.exec(select(tables.ForecastFetch).order_by(tables.ForecastFetch.place))}
    found = []
    for place in sorted({*held, *asked}):
        stored, fetch = held.get(place), asked.get(place)
        found.append(
            PlaceForecast(
                place=place,
                source=stored.source if stored else "",
                issued=stored.issued if stored else None,
                age=age_text(now - stored.issued) if stored else "",
                hours=max(0, len(stored.hours.splitlines()) - 1) if stored else 0,
                notes=tuple(stored.notes) if stored else (),
                failing_since=fetch.failing_since if fetch else None,
                words=fetch.words if fetch else "",
            )
        )
    return sorted(found, key=lambda one: (one.failing_since is None, one.place))


def _key(lat: float | None, lon: float | None) -> str:
    return gettext("all places") if lat is None or lon is None else f"{lat:.4f}, {lon:.4f}"
