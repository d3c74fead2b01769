"""Forecasts fetched while the service runs: every hour, for every place where work is open, from the source set.

A fetch that fails changes nothing but the words on it: what came last is still used, and pages say how old it is.
"""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable
from pathlib import Path

import httpx
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.forecasts.fetch import PATIENCE, Patience
from api.forecasts.places import Place, wanted_places
from api.forecasts.sources import NWS_ADDRESS, OPEN_METEO_ADDRESS, Got, Source, forecast_for
from api.ledger.history import note
from api.workers.lookout import Lookout
from api.workers.turns import Turn, turn
from scheduler.errors import BadInput
from scheduler.weather.forecast import Forecast, forecast_to_csv

EVERY_S = 3600.0
LOOK_S = 30.0  # between two looks at whether an hour is over or the source was changed
KEPT_FOR = datetime.timedelta(days=3)  # forecasts that newer ones have replaced are of no use after that
BY = "forecast"
USUAL = {"nws": NWS_ADDRESS, "open-meteo": OPEN_METEO_ADDRESS}
_log = logging.getLogger("eaveboard")


def dropped(folder: Path) -> Path:
    """Return where somebody drops the file of a forecast; no other file of this machine is ever read as one."""
    return folder / "drop" / "forecast.csv"


def source_of(row: tables.ForecastSource | None, folder: Path, patience: Patience = PATIENCE) -> Source | None:
    """Return the source that a row asks for, None where nothing is to be fetched."""
    if row is None or row.kind == "none":
        return None
    address = str(dropped(folder)) if row.kind == "file" else row.address or USUAL[row.kind]
    return Source(row.kind, address, row.contact, fresh_s=0.0, patience=patience)  # type: ignore[arg-type]


def fetch_all(database: sa.Engine, folder: Path, now: datetime.datetime, patience: Patience = PATIENCE) -> int:
    """Fetch the forecast of every place once and keep what is new; return how many forecasts came.

    Each place is a transaction of its own: what has come is kept, whatever the next one does. `folder` is the data
    folder: the addresses that a service gave for its places are kept there, and files are dropped there.
    """
    with transaction(database) as session:
        source = source_of(session.get(tables.ForecastSource, 1), folder, patience)
        places: list[Place | None] = list(wanted_places(session)) if source and source.kind != "file" else [None]
    if source is None:
        return 0
    came = 0
    with httpx.Client() as client:
        for place in places:
            got, fault = _ask(source, place, now, folder / "forecasts", client)
            with transaction(database) as session:
                came += _take(session, place, got, fault, now)
    with transaction(database) as session:
        _sweep(session, places, now)
    return came


def _ask(
    source: Source, place: Place | None, now: datetime.datetime, folder: Path, client: httpx.Client
) -> tuple[Got | None, str]:
    try:
        got = forecast_for(source, *(place or (0.0, 0.0)), now, folder, client)
    except BadInput as fault:
        return None, f"{fault}."
    if got.forecast is None or got.is_last_good:
        return None, f"{got.notes[0][:1].upper()}{got.notes[0][1:]}." if got.notes else "The service gave no forecast."
    return got, ""


def _take(session: Session, place: Place | None, got: Got | None, fault: str, now: datetime.datetime) -> bool:
    """Keep what came of one place; say whether it is a forecast that was not on record."""
    key = "all places" if place is None else f"{place[0]:.4f}, {place[1]:.4f}"
    lat, lon = place or (None, None)
    row = session.get(tables.ForecastFetch, key) or tables.ForecastFetch(place=key, lat=lat, lon=lon, tried_at=now)
    row.tried_at, row.words = now, fault
    if got is None or got.forecast is None:
        began = row.failing_since is None
        row.failing_since = row.failing_since or now
        session.add(row)
        if began:
            note(session, now, BY, "did not come", "forecast", key, {"fault": fault})
        return False
    row.failing_since, row.got_at = None, now
    session.add(row)
    if not _is_new(session, got.forecast, lat, lon):
        return False
    told, hours = got.forecast, forecast_to_csv(got.forecast)
    stored = tables.StoredForecast(source=told.source, issued=told.issued, hours=hours, notes=list(got.notes))
    stored.lat, stored.lon, stored.fetched = lat, lon, now
    session.add(stored)
    note(session, now, BY, "came", "forecast", key, {"issued": got.forecast.issued.isoformat()})
    return True


def _is_new(session: Session, forecast: Forecast, lat: float | None, lon: float | None) -> bool:
    row = tables.StoredForecast
    here = (col(row.lat) == lat, col(row.lon) == lon) if lat is not None else (col(row.lat).is_(None),)
    newest = session.exec(select(sa.func.max(col(row.issued))).where(*here)).one()
    return newest is None or forecast.issued > newest


def _sweep(session: Session, places: list[Place | None], now: datetime.datetime) -> None:
    """Drop forecasts that newer ones have replaced for days, and words on places where no work is open any more."""
    row, other = tables.StoredForecast, sa.orm.aliased(tables.StoredForecast)
    newer = sa.exists().where(
        other.issued > row.issued,  # type: ignore[arg-type]
        sa.func.coalesce(other.lat, 999.0) == sa.func.coalesce(row.lat, 999.0),
        sa.func.coalesce(other.lon, 999.0) == sa.func.coalesce(row.lon, 999.0),
    )
    session.execute(sa.delete(row).where(col(row.issued) < now - KEPT_FOR, newer))
    keys = ["all places" if place is None else f"{place[0]:.4f}, {place[1]:.4f}" for place in places]
    session.execute(sa.delete(tables.ForecastFetch).where(col(tables.ForecastFetch.place).not_in(keys)))


class ForecastKeeper:
    """Fetches every hour in a thread of its own, and at once where the source was changed."""

    def __init__(self, database: sa.Engine, folder: Path, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._folder, self._clock = database, folder, clock
        self._fetched: datetime.datetime | None = None
        self._version = -1
        self.lookout = Lookout(
            "forecasts", self._look, every_s=LOOK_S, failed="forecasts could not be fetched", at_once=True
        )

    def fetch(self) -> int:
        """Fetch now, in the caller's thread; return how many new forecasts came."""
        with turn(self._database, Turn.FETCH_FORECASTS):
            return fetch_all(self._database, self._folder, self._clock())

    def _look(self) -> None:
        with transaction(self._database) as session:
            row = session.get(tables.ForecastSource, 1)
            version = -1 if row is None else row.version
        now = self._clock()
        due = self._fetched is None or abs((now - self._fetched).total_seconds()) >= EVERY_S
        if due or version != self._version:
            self._version, self._fetched = version, now
            self.fetch()
