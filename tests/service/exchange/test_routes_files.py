"""A crew's day as GeoJSON and GPX, by the rules of RFC 7946 and of the GPX 1.1 schema; the example client."""

from __future__ import annotations

import datetime
import importlib.machinery
import importlib.util
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import vobject  # type: ignore[import-untyped]
import xmlschema
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.access.tokens import make_token
from api.database import transaction
from api.feeds.maps import geojson, gpx, points
from api.ledger.plans.days import PlannedDay, crew_day
from tests.conftest import BuiltDemo
from tests.service.cast import anonymous, by_link, running, settings_for, signed_in

ROOT = Path(__file__).parents[3]
DAY = datetime.date(2027, 4, 13)
GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("routes") / "out")
    with running(settings_for(out)) as app:
        with transaction(app.state.database) as session:
            now = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
            session.add(
                tables.PostedWeek(start_date=DAY - datetime.timedelta(1), plan_id=1, posted_at=now, posted_by="t")
            )
        yield app


@pytest.fixture(scope="module")
def client(app: FastAPI) -> TestClient:
    return signed_in(app, Role.reader)


def day_of(app: FastAPI, crew: str, date: datetime.date) -> tuple[PlannedDay, list[Any]]:
    with transaction(app.state.database) as session:
        day = crew_day(session, crew, date)
        assert day is not None
        return day, points(session, day)


def test_geojson_keeps_the_rules_of_rfc_7946(client: TestClient, app: FastAPI) -> None:
    answer = client.get(f"/crews/north-1/days/{DAY}/route.geojson")
    assert answer.headers["content-type"] == "application/geo+json"  # section 12
    data = answer.json()
    assert data["type"] == "FeatureCollection"  # 3.3
    assert not {"crs", "coordinates", "geometries", "geometry", "properties"} & data.keys()  # 4, 7.1
    line, *places = data["features"]
    for feature in data["features"]:
        assert feature["type"] == "Feature"  # 3.2
        assert {"geometry", "properties"} <= feature.keys()
        assert isinstance(feature["id"], str)
    assert line["geometry"]["type"] == "LineString"
    route = line["geometry"]["coordinates"]
    assert len(route) >= 2  # 3.1.4
    assert [place["geometry"]["coordinates"] for place in places] == route
    west, south, east, north = data["bbox"]  # 5
    for lon, lat in route:  # 3.1.1: easting first
        assert -180 <= lon <= 180
        assert -90 <= lat <= 90
        assert west <= lon <= east
        assert south <= lat <= north
    day, _ = day_of(app, "north-1", DAY)
    assert day.cell is not None
    assert [p["properties"]["id"] for p in places] == ["north", *[e.job for e in day.cell.entries], "north"]
    assert route[0] == [day.yard.lon, day.yard.lat]
    assert (
        places[0]["properties"]["leave"]
        == f"2027-04-13T{(day.cell.depart + 300) // 60:02}:{day.cell.depart % 60:02}:00Z"
    )


def test_gpx_keeps_the_schema_and_its_times_are_utc(client: TestClient, app: FastAPI) -> None:
    answer = client.get(f"/crews/north-1/days/{DAY}/route.gpx")
    assert answer.headers["content-type"] == "application/gpx+xml"
    schema = xmlschema.XMLSchema(ROOT / "tests" / "reference" / "gpx" / "gpx.xsd")
    schema.validate(answer.text)
    root = xmlschema.XMLResource(answer.text).root
    times = [element.text or "" for element in root.iter(f"{GPX}time")]
    assert times
    assert all(text.endswith("Z") for text in times)
    _, route = day_of(app, "north-1", DAY)
    found = [(float(p.get("lat", "")), float(p.get("lon", ""))) for p in root.iter(f"{GPX}rtept")]
    assert found == [(round(p.lat, 7), round(p.lon, 7)) for p in route]
    assert len(list(root.iter(f"{GPX}wpt"))) == len(route) - 1
    arrivals = [p.findtext(f"{GPX}time") for p in root.iter(f"{GPX}rtept")]
    assert arrivals == sorted(arrivals)  # type: ignore[type-var]


def test_the_schema_would_see_a_fault(app: FastAPI) -> None:
    day, route = day_of(app, "north-1", DAY)
    good = gpx(day, route, datetime.datetime(2027, 4, 8, tzinfo=datetime.UTC)).decode()
    schema = xmlschema.XMLSchema(ROOT / "tests" / "reference" / "gpx" / "gpx.xsd")
    assert schema.is_valid(good)
    assert not schema.is_valid(good.replace('lat="4', 'lat="94', 1))
    assert not schema.is_valid(good.replace('version="1.1"', 'version="1.0"'))
    start, end = good.index("<time>", good.index("<wpt")), good.index("</name>", good.index("<wpt")) + 7
    swapped = good[start:end].split("</time>")
    assert not schema.is_valid(f"{good[:start]}{swapped[1]}{swapped[0]}</time>{good[end:]}")


def test_a_day_in_has_an_empty_route(app: FastAPI, client: TestClient) -> None:
    sunday = DAY + datetime.timedelta(days=5)
    assert client.get(f"/crews/north-1/days/{sunday}/route.geojson").json() == {
        "type": "FeatureCollection",
        "features": [],
    }
    schema = xmlschema.XMLSchema(ROOT / "tests" / "reference" / "gpx" / "gpx.xsd")
    assert schema.is_valid(client.get(f"/crews/north-1/days/{sunday}/route.gpx").text)
    day, route = day_of(app, "north-1", sunday)
    assert route == []
    assert json.loads(geojson(day, route))["features"] == []


def test_a_day_link_opens_its_own_day_alone(app: FastAPI) -> None:
    phone = by_link(app, "north-1", DAY)
    assert phone.get(f"/crews/north-1/days/{DAY}/route.gpx").status_code == 200
    assert phone.get(f"/crews/north-2/days/{DAY}/route.gpx").status_code == 404
    assert phone.get("/crews/north-1/days/2027-04-14/route.geojson").status_code == 404
    for address in ("/exchange/export.zip", "/exchange", "/crews/north-1/calendar", "/crews/north-1/visits"):
        assert phone.get(address).status_code == 403
    assert anonymous(app).get(f"/crews/north-1/days/{DAY}/route.gpx").status_code == 401


@pytest.mark.parametrize("address", ["/crews/x/days/2027-04-13/route.gpx", "/crews/north-1/days/2030-01-07/route.gpx"])
def test_what_is_not_there_is_told(client: TestClient, address: str) -> None:
    assert client.get(address).status_code == 404


def example_client() -> Any:
    path = str(ROOT / "ops" / "example-client")
    loader = importlib.machinery.SourceFileLoader("example_client", path)
    spec = importlib.util.spec_from_loader("example_client", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    return module


def test_the_example_client_lists_a_week_and_keeps_the_calendar(
    app: FastAPI, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "north-1.ics"
    program = example_client()
    with transaction(app.state.database) as session:
        now = datetime.datetime.now(datetime.UTC)
        token = make_token(session, "example", ["read"], 1, by="maud", now=now).text
    program.main(anonymous(app), token, "north-1", str(DAY), str(out))
    lines = capsys.readouterr().out.splitlines()
    day, _ = day_of(app, "north-1", DAY)
    assert day.cell is not None
    for entry in day.cell.entries:
        assert any(line.startswith("Tue 2027-04-13") and entry.job in line for line in lines)
    assert len(vobject.readOne(out.read_text()).contents["vevent"]) == len(lines)
    with pytest.raises(SystemExit, match="No crew has the id"):
        program.main(anonymous(app), token, "nobody", str(DAY), str(out))
