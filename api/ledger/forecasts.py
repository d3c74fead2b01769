"""The forecasts on record: which one counts for a site, and how the fetching of them goes."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import at
from api.languages import gettext
from api.ledger.kept import kept
from scheduler.weather.forecast import Forecast, forecast_from_csv

NEAR_KM = 40.0  # a place's forecast says nothing of sites farther off: hills and coasts make their own weather
OLD = datetime.timedelta(hours=24)
_KM_PER_DEGREE = 111.195  # of latitude on a sphere of 6,371 km


@dataclass(frozen=True)
class Placed:
    """A forecast and the place that it is for, None where it is for all."""

    forecast: Forecast
    place: tuple[float, float] | None


@dataclass(frozen=True)
class Forecasts:
    """The newest forecast of each place."""

    placed: tuple[Placed, ...] = field(default=(), repr=False)

    def at(self, lat: float, lon: float) -> Forecast | None:
        """Return the forecast that counts for a site: the newest of its nearest place's, if near, and that for all."""
        near = [(distance_km((lat, lon), p.place), n) for n, p in enumerate(self.placed) if p.place is not None]
        found = [self.placed[n].forecast for km, n in sorted(near)[:1] if km <= NEAR_KM]
        found += [p.forecast for p in self.placed if p.place is None]
        return max(found, key=lambda forecast: forecast.issued, default=None)

    @property
    def newest(self) -> Forecast | None:
        """Return the one issued last, whatever its place."""
        return max((p.forecast for p in self.placed), key=lambda forecast: forecast.issued, default=None)


def forecasts(session: Session) -> Forecasts:
    """Return the forecasts on record, the newest of each place."""
    ids = newest_ids(session)

    def make() -> Forecasts:
        rows = session.exec(select(tables.StoredForecast).where(col(tables.StoredForecast.id).in_(ids))).all()
        return Forecasts(tuple(_placed(row) for row in sorted(rows, key=lambda row: row.id or 0)))

    return kept(session, ("forecasts", *ids), make)


def newest_ids(session: Session) -> tuple[int, ...]:
    """Return the numbers of the newest forecast of each place, in ascending order."""
    row = tables.StoredForecast
    rows = session.execute(
        sa.select(col(row.id), col(row.lat), col(row.lon)).order_by(col(row.issued).desc(), col(row.id).desc())
    ).all()
    first: dict[tuple[float | None, float | None], int] = {}
    for number, lat, lon in rows:
        first.setdefault((lat, lon), number)
    return tuple(sorted(first.values()))


def fetch_faults(session: Session) -> list[tables.ForecastFetch]:
    """Return the places whose forecast cannot be fetched just now, that which has failed longest first."""
    row = tables.ForecastFetch
    return list(
        session.exec(select(row).where(col(row.failing_since).is_not(None)).order_by(col(row.failing_since), row.place))
    )


def standing_words(session: Session, now: datetime.datetime, timezone: str) -> str:
    """Return what whoever reads the weather must know of its forecast: that there is none, its age, failing fetches.

    Empty where the newest forecast is of the last day and fetching works.
    """
    newest = forecasts(session).newest
    faults = fetch_faults(session)
    if newest is None:
        none = gettext("No forecast yet: every day is planned by the usual weather of the season.")
        return none + _failing(faults, timezone)
    words = ""
    if now - newest.issued >= OLD:
        days = (now - newest.issued) / datetime.timedelta(days=1)
        words = gettext("The forecast is a day old, issued {time}.")
        if days >= 1.5:
            words = gettext("The forecast is {n} days old, issued {time}.")
        words = words.format(n=round(days), time=at(newest.issued, timezone))
    return (words + _failing(faults, timezone)).strip()


def distance_km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return how far two places lie apart, good to a percent over the few hundred kilometres that forecasts span."""
    north = a[0] - b[0]
    east = (a[1] - b[1] + 180) % 360 - 180
    return _KM_PER_DEGREE * math.hypot(north, east * math.cos(math.radians((a[0] + b[0]) / 2)))


def _failing(faults: Iterable[tables.ForecastFetch], timezone: str) -> str:
    for fault in faults:
        assert fault.failing_since is not None
        words = gettext("It could not be renewed since {time}: {why}")
        return " " + words.format(time=at(fault.failing_since, timezone), why=fault.words)
    return ""


def _placed(row: tables.StoredForecast) -> Placed:
    place = None if row.lat is None or row.lon is None else (row.lat, row.lon)
    return Placed(forecast_from_csv(row.hours, row.source, row.issued), place)
