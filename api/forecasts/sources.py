"""One call for a site's forecast, whatever its source, with the last good one to fall back on."""

from __future__ import annotations

import contextlib
import datetime
import urllib.parse
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import httpx

from api.forecasts.fetch import PATIENCE, FetchFault, Patience, get_json
from api.forecasts.nws import forecast_paths, nws_forecast
from api.forecasts.open_meteo import open_meteo_forecast, query
from api.forecasts.store import ForecastStore, KeptForecast
from api.languages import gettext
from scheduler.errors import BadInput
from scheduler.weather.forecast import Forecast, forecast_from_csv

NWS_ADDRESS = "https://api.weather.gov"
OPEN_METEO_ADDRESS = "https://api.open-meteo.com/v1/forecast"
_POINT_DAYS = 14  # the service asks not to look a place's grid up each time, and moves grids now and then
OLD_HOURS = 24


@dataclass(frozen=True)
class Source:
    """Where forecasts come from: a CSV file at `address`, or a service's address with a contact sent to it.

    `contact` is an e-mail or web address: the National Weather Service asks for one, and answers without it may stop at
    any time. Within `fresh_s` of the last fetch the kept forecast is used without asking again.
    """

    kind: Literal["file", "nws", "open-meteo"]
    address: str
    contact: str = ""
    fresh_s: float = 3600.0
    days: int = 10
    patience: Patience = PATIENCE


@dataclass(frozen=True)
class Got:
    """A forecast with how it was got; `forecast` None where there is none at all. `notes` are sentences for people."""

    forecast: Forecast | None
    fetched: datetime.datetime | None
    is_last_good: bool
    notes: tuple[str, ...]

    def age(self, now: datetime.datetime) -> datetime.timedelta | None:
        """Return how long ago the forecast was made (not fetched), None where there is none."""
        return None if self.forecast is None else now - self.forecast.issued


def age_text(age: datetime.timedelta) -> str:
    """Return an age in words: "40 min old", "5 h old", "3 days old"."""
    minutes = max(0, round(age / datetime.timedelta(minutes=1)))
    if minutes < 90:
        return gettext("{n} min old").format(n=minutes)
    if minutes < 48 * 60:
        return gettext("{n} h old").format(n=minutes // 60)
    return gettext("{n} days old").format(n=minutes // 1440)


def forecast_for(
    source: Source, lat: float, lon: float, now: datetime.datetime, folder: Path, client: httpx.Client | None = None
) -> Got:
    """Return the forecast of a place at `now` (UTC); never raises for a service's faults, which come back as notes.

    `folder` holds what is kept. A service that fails, or answers with an older forecast than the kept one, leaves the
    kept one in force, marked `is_last_good`. Raises `BadInput` for a source that cannot be right: no such file, a
    faulty file, a place off the globe, a service without contact.
    """
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise BadInput("", f"the place {lat}, {lon} is not on the globe; give degrees north and east")
    if source.kind == "file":
        return _from_file(Path(source.address), now)
    if not source.contact.strip():
        raise BadInput("contact", "must be an e-mail or web address, by which the service can reach you")
    store = ForecastStore(folder)
    key = f"{source.kind} {source.address} {lat:.4f},{lon:.4f}"
    kept = store.load(key)
    if kept is not None and 0 <= (now - kept.fetched).total_seconds() < source.fresh_s:
        return _with_age(Got(kept.forecast, kept.fetched, False, kept.notes), now)
    session = client or httpx.Client()
    session.headers["User-Agent"] = f"eaveboard ({source.contact.strip()})"
    session.headers["Accept"] = "application/geo+json, application/json"
    try:
        forecast, notes = _ask(source, lat, lon, now, store, session)
    except (FetchFault, BadInput) as fault:
        return _fallen_back(kept, f"the forecast could not be renewed: {fault}", now)
    finally:
        if client is None:
            session.close()
    if kept is not None and forecast.issued < kept.forecast.issued:
        return _fallen_back(kept, "the service answered with an older forecast than the one kept", now)
    try:
        store.save(key, KeptForecast(now, notes, forecast))
    except OSError as fault:
        notes = (*notes, f"the forecast could not be kept for later: {fault}")
    return _with_age(Got(forecast, now, False, notes), now)


def _ask(
    source: Source, lat: float, lon: float, now: datetime.datetime, store: ForecastStore, client: httpx.Client
) -> tuple[Forecast, tuple[str, ...]]:
    if source.kind == "open-meteo":
        return open_meteo_forecast(get_json(client, source.address, query(lat, lon, source.days), source.patience), now)
    base = source.address.rstrip("/")
    point = store.load_value(_point_key(base, lat, lon))
    known = isinstance(point, dict) and isinstance(point.get("asked"), str) and isinstance(point.get("hourly"), str)
    if not known or not _within(point["asked"], now, datetime.timedelta(days=_POINT_DAYS)):
        point = _look_up(base, lat, lon, now, store, client, source.patience)
        known = False
    try:
        hourly = get_json(client, point["hourly"], None, source.patience)
    except FetchFault as fault:
        if fault.status != 404 or not known:
            raise
        point = _look_up(base, lat, lon, now, store, client, source.patience)  # the grid was moved
        hourly = get_json(client, point["hourly"], None, source.patience)
    notes: tuple[str, ...] = ()
    grid = None
    if point.get("grid"):
        try:
            grid = get_json(client, point["grid"], None, source.patience)
        except FetchFault as fault:
            notes = (f"without gusts, rain amounts and thunder: {fault}",)
    forecast, more = nws_forecast(hourly, grid)
    return forecast, notes + more


def _look_up(
    base: str,
    lat: float,
    lon: float,
    now: datetime.datetime,
    store: ForecastStore,
    client: httpx.Client,
    patience: Patience,
) -> dict[str, Any]:
    hourly, grid = forecast_paths(get_json(client, f"{base}/points/{_short(lat)},{_short(lon)}", None, patience))
    point = {"asked": now.isoformat(), "hourly": _below(base, hourly), "grid": grid and _below(base, grid)}
    with contextlib.suppress(OSError):  # only saves a request; the forecast itself says when nothing can be kept
        store.save_value(_point_key(base, lat, lon), point)
    return point


def _point_key(base: str, lat: float, lon: float) -> str:
    return f"point {base} {lat:.4f},{lon:.4f}"


def _below(base: str, address: str) -> str:
    """Return the path of an address named by the service on the address that we were told to use, and no other host."""
    parts = urllib.parse.urlsplit(address)
    return base + urllib.parse.urlunsplit(("", "", parts.path, parts.query, ""))


def _short(degrees: float) -> str:
    """Four decimals without trailing zeros: the service answers other forms by a redirect."""
    return f"{degrees:.4f}".rstrip("0").rstrip(".")


def _within(text: str, now: datetime.datetime, age: datetime.timedelta) -> bool:
    try:
        return datetime.timedelta() <= now - datetime.datetime.fromisoformat(text) < age
    except (ValueError, TypeError):
        return False


def _from_file(file: Path, now: datetime.datetime) -> Got:
    try:
        text = file.read_text(encoding="utf-8-sig")
        issued = datetime.datetime.fromtimestamp(file.stat().st_mtime, datetime.UTC)
    except OSError as fault:
        raise BadInput(str(file), f"cannot be read: {fault.strerror or fault}") from None
    except UnicodeDecodeError:
        raise BadInput(str(file), "is not text in UTF-8") from None
    try:
        forecast = forecast_from_csv(text, f"file {file.name}", issued)
    except BadInput as fault:
        raise BadInput(f"{file}: {fault.where}", fault.problem) from None
    return _with_age(Got(forecast, issued, False, ()), now)


def _fallen_back(kept: KeptForecast | None, problem: str, now: datetime.datetime) -> Got:
    if kept is None:
        return Got(None, None, False, (problem, "no earlier forecast is kept for this place"))
    return _with_age(Got(kept.forecast, kept.fetched, True, (problem, *kept.notes)), now)


def _with_age(got: Got, now: datetime.datetime) -> Got:
    age = got.age(now)
    if age is None or (not got.is_last_good and age < datetime.timedelta(hours=OLD_HOURS)):
        return got
    what = "the last good forecast is" if got.is_last_good else "the forecast is"
    return replace(got, notes=(*got.notes, f"{what} {age_text(age)}"))
