"""The wire of the forecast: a service's answer, fetched by the hour, reaches plans and the posted week."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.forecasts.keeper import KEPT_FOR, dropped, fetch_all
from api.forecasts.places import clusters, wanted_places
from api.ledger.forecasts import Forecasts, Placed, distance_km, forecasts, standing_words
from scheduler.weather.climate import climate_to_csv
from scheduler.weather.forecast import Forecast, Hour, forecast_to_csv
from tests.service.cast import add_yard, anonymous, running, settings_for, signed_in
from tests.service.stand_in import Answer, Asked, StandIn
from tests.unit.weather.test_climate import YEAR

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
HOUR = datetime.timedelta(hours=1)


class Weather(StandIn):
    """An invented Open-Meteo-like service: calm, but for gusts of `gust_mps` on the days named; or out of order."""

    def __init__(self) -> None:
        self.gusty: set[datetime.date] = set()
        self.broken = False
        self.asked: list[tuple[float, float]] = []
        super().__init__()
        self.address += "/v1/forecast"

    def respond(self, asked: Asked) -> Answer:
        self.asked.append((float(asked.query["latitude"]), float(asked.query["longitude"])))
        body = b"{}" if self.broken else json.dumps(self.answer()).encode()
        return Answer(body, 404 if self.broken else 200, {"content-type": "application/json"})

    def answer(self) -> dict[str, Any]:
        start = NOW.replace(hour=0)
        times = [start + n * HOUR for n in range(24 * 10)]
        rough = [t.date() in self.gusty for t in times]
        return {
            "utc_offset_seconds": 0,
            "hourly": {
                "time": [t.strftime("%Y-%m-%dT%H:%M") for t in times],
                "wind_speed_10m": [9.0 if bad else 2.0 for bad in rough],
                "wind_gusts_10m": [20.0 if bad else 3.0 for bad in rough],
                "precipitation": [0.0] * len(times),
                "precipitation_probability": [0] * len(times),
                "weather_code": [0] * len(times),
                "temperature_2m": [16.0] * len(times),
                "relative_humidity_2m": [50.0] * len(times),
            },
        }


@pytest.fixture
def weather() -> Iterator[Weather]:
    service = Weather()
    yield service
    service.close()


@pytest.fixture
def app(sqlite_folder: Any) -> Iterator[FastAPI]:
    with running(settings_for(sqlite_folder)) as app:
        add_yard(app.state.database)
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.manager)
    client.headers["accept"] = "application/json"
    return client


def set_source(client: TestClient, **values: str) -> Any:
    etag = client.get("/settings/forecast").headers["etag"]
    return client.put("/settings/forecast", json={"values": values}, headers={"If-Match": etag})


def stored(app: FastAPI) -> list[tables.StoredForecast]:
    with transaction(app.state.database) as session:
        return list(session.exec(select(tables.StoredForecast).order_by(tables.StoredForecast.id)))  # type: ignore[arg-type]


def test_a_source_set_on_the_page_is_fetched_and_shown_for_every_place(
    app: FastAPI, manager: TestClient, weather: Weather
) -> None:
    assert set_source(manager, kind="open-meteo", address=weather.address).status_code == 422  # no contact
    assert stored(app) == []
    done = set_source(manager, kind="open-meteo", address=weather.address, contact="office@example.org")
    assert done.status_code == 200, done.text
    assert manager.post("/forecasts/fetch").json() == {"came": 1}
    (row,) = stored(app)
    assert (row.lat, row.lon, row.fetched) == (41.0, -98.0, NOW)
    assert weather.asked[-1] == (41.0, -98.0)
    (place,) = manager.get("/forecasts").json()["places"]
    assert (place["place"], place["hours"], place["failing_since"]) == ("41.0000, -98.0000", 240, None)
    page = manager.get("/forecasts", headers={"accept": "text/html"}).text
    assert "41.0000, -98.0000" in page
    assert "Fetch now" in page


def test_a_service_out_of_order_keeps_what_came_last_and_the_page_says_since_when(
    app: FastAPI, manager: TestClient, weather: Weather
) -> None:
    set_source(manager, kind="open-meteo", address=weather.address, contact="office@example.org")
    manager.post("/forecasts/fetch")
    weather.broken = True
    app.state.clock = lambda: NOW + 3 * HOUR
    assert manager.post("/forecasts/fetch").json() == {"came": 0}
    app.state.clock = lambda: NOW + 50 * HOUR
    assert manager.post("/forecasts/fetch").json() == {"came": 0}
    assert len(stored(app)) == 1
    (place,) = manager.get("/forecasts").json()["places"]
    assert place["failing_since"].startswith("2027-04-09T00:00")
    assert "404" in place["words"]
    with transaction(app.state.database) as session:
        words = standing_words(session, NOW + 50 * HOUR, "America/Chicago")
        lines = [
            line.did
            for line in session.exec(
                select(tables.History).where(tables.History.noun == "forecast").order_by(col(tables.History.id))
            )
        ]
    assert words.startswith("The forecast is 2 days old, issued Thu Apr 8, 16:00. It could not be renewed since")
    assert lines == ["came", "did not come"]  # not one line for every hour of an outage
    weather.broken = False
    assert manager.post("/forecasts/fetch").json() == {"came": 1}
    assert manager.get("/forecasts").json()["places"][0]["failing_since"] is None


def test_a_dropped_file_is_read_and_no_other_file_of_the_machine(app: FastAPI, manager: TestClient) -> None:
    set_source(manager, kind="file")
    folder = app.state.settings.data
    assert manager.post("/forecasts/fetch").json() == {"came": 0}
    assert "cannot be read" in manager.get("/forecasts").json()["places"][0]["words"]
    hours = tuple(
        Hour(start=NOW + n * HOUR, wind_mps=2.0, gust_mps=None, rain_mm=0.0, rain_chance=None, thunder_chance=None,
             temp_c=15.0, humidity=None)
        for n in range(24)
    )  # fmt: skip
    dropped(folder).parent.mkdir()
    dropped(folder).write_text(forecast_to_csv(Forecast("by hand", NOW, hours)))
    assert manager.post("/forecasts/fetch").json() == {"came": 1}
    assert manager.post("/forecasts/fetch").json() == {"came": 0}  # the same file again
    dropped(folder).write_text("wind,weather\n1,2\n")
    manager.post("/forecasts/fetch")
    assert "first line" in manager.get("/forecasts").json()["places"][0]["words"]
    assert len(stored(app)) == 1
    assert "http" in set_source(manager, kind="open-meteo", address="/etc/passwd", contact="x").json()["detail"]


def test_forecasts_that_newer_ones_replaced_are_swept_after_some_days(app: FastAPI, weather: Weather) -> None:
    with transaction(app.state.database) as session:
        session.add(tables.ForecastSource(kind="open-meteo", address=weather.address, contact="x@example.org"))
    for days in range(6):
        fetch_all(app.state.database, app.state.settings.data, NOW + datetime.timedelta(days=days))
    left = [row.issued for row in stored(app)]
    assert left[-1] == NOW + datetime.timedelta(days=5)
    assert all(issued >= left[-1] - KEPT_FOR for issued in left)


def test_only_managers_and_the_office_see_and_fetch(app: FastAPI) -> None:
    for role, status in ((Role.lead, 403), (Role.reader, 403), (Role.office, 200)):
        assert signed_in(app, role).get("/forecasts").status_code == status
    assert anonymous(app).get("/forecasts", headers={"accept": "application/json"}).status_code == 401


def test_places_near_each_other_share_a_forecast_and_yards_come_first(app: FastAPI) -> None:
    near, far = (41.03, -98.02), (41.9, -98.0)
    assert clusters([(41.0, -98.0), near, far]) == [(41.0, -98.0), far]
    assert 99 < distance_km((41.0, -98.0), (41.9, -98.0)) < 101
    with transaction(app.state.database) as session:
        assert wanted_places(session) == [(41.0, -98.0)]


def test_a_site_goes_by_its_nearest_place_or_by_what_is_for_all_whichever_is_newer() -> None:
    def told(hours: int) -> Forecast:
        return Forecast(f"{hours}", NOW + hours * HOUR, ())

    here = Placed(told(1), (41.0, -98.0))
    both = Forecasts((here, Placed(told(2), (43.0, -98.0)), Placed(told(0), None)))
    assert both.at(41.1, -98.0) == told(1)
    assert both.at(42.9, -98.0) == told(2)
    assert both.at(45.0, -98.0) == told(0)  # too far from either
    assert Forecasts((here,)).at(45.0, -98.0) is None
    assert Forecasts((here, Placed(told(5), None))).at(41.0, -98.0) == told(5)


def test_the_usual_weather_is_typed_by_month_and_all_or_none(app: FastAPI, manager: TestClient) -> None:
    answer = manager.get("/settings/climate")
    etag = answer.headers["etag"]
    values = {}
    for line in climate_to_csv(YEAR).splitlines()[1:]:
        month, *cells = line.split(",")
        values |= {f"{month}.{name}": cell for name, cell in zip(
            ("wind_mps", "wind_sd_mps", "wet_hours", "wet_hour_mm", "thunder_hours", "temp_c", "temp_swing_c",
             "temp_sd_c", "humidity"), cells, strict=True)}  # fmt: skip
    some = dict(list(values.items())[:20])
    refused = manager.put("/settings/climate", json={"values": some}, headers={"If-Match": etag})
    assert refused.status_code == 422
    assert "give all months, or none" in refused.json()["detail"]
    wrong = manager.put("/settings/climate", json={"values": values | {"3.humidity": "7"}}, headers={"If-Match": etag})
    assert wrong.json()["where"] == "3.humidity"
    done = manager.put("/settings/climate", json={"values": values}, headers={"If-Match": etag})
    assert done.status_code == 200, done.text
    assert done.json()["values"]["3.wind_mps"] == "9"
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Business, 1).climate == climate_to_csv(YEAR)
        assert forecasts(session).newest is None
