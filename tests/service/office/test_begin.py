"""/begin: from an empty database to a business, by its name, by the demo, or by a ZIP file of its files."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.business.begin import example_zip
from api.database import transaction
from api.places.addresses import take_in
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.waiting import until


@pytest.fixture
def app(sqlite_folder: Path) -> Iterator[FastAPI]:
    """The application on an empty database, without any business."""
    with running(settings_for(sqlite_folder)) as app:
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


def done(client: TestClient) -> dict[str, str]:
    steps = client.get("/begin", headers=JSON).json()["steps"]
    return {step["title"]: step["there"] for step in steps if step["done"]}


def packed(change: dict[str, bytes | None] | None = None, within: str = "business/") -> bytes:
    """Return the example's ZIP file with some files changed (None: left out)."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(example_zip())) as source, zipfile.ZipFile(out, "w") as target:
        files: dict[str, bytes | None] = {
            name.removeprefix("business/"): source.read(name) for name in source.namelist()
        }
        for name, data in (files | (change or {})).items():
            if data is not None:
                target.writestr(within + name, data)
    return out.getvalue()


def take(client: TestClient, data: bytes, headers: dict[str, str] = JSON) -> Any:
    return client.post("/begin/business", files={"file": ("mine.zip", data, "application/zip")}, headers=headers)


def followed(client: TestClient, answer: Any) -> str:
    """Go on as a browser does until what is taken in is in or refused; return the page that is shown then."""
    assert answer.status_code == 303, answer.text
    address = answer.headers["location"]
    shown: list[Any] = []

    def over() -> bool:
        shown[:] = [client.get(address, headers=PAGE)]
        return 'http-equiv="refresh"' not in shown[0].text

    until(over)
    return str(shown[0].text if shown[0].status_code == 200 else client.get("/begin", headers=PAGE).text)


@pytest.mark.slow
def test_a_business_is_taken_in_by_another_process_that_tells_how_far_it_is(sqlite_folder: Path) -> None:
    behind = JSON | {"Prefer": "respond-async"}
    with running(replace(settings_for(sqlite_folder), preparers=1)) as app:
        manager = signed_in(app, Role.manager)
        begun = manager.post("/begin/demo", headers=behind)
        assert begun.status_code == 202, begun.text
        assert manager.post("/begin/demo", headers=behind).status_code == 409  # one at a time
        assert manager.get("/begin", headers=PAGE).status_code == 200
        told: list[Any] = []

        def over() -> bool:
            told.append(manager.get(begun.headers["location"], headers=JSON).json())
            return bool(told[-1]["state"] != "working")

        until(over)
        assert (told[-1]["state"], told[-1]["faults"]) == ("done", [])
        assert told[-1]["done"] == told[-1]["total"] > 300
        assert done(manager)["The business"].startswith("Tallow Bend Awning Works")
        assert signed_in(app, Role.office).get(begun.headers["location"], headers=JSON).status_code == 403
        assert manager.get("/begin/loads/none", headers=JSON).status_code == 404


def test_an_empty_database_leads_to_the_guide_and_the_guide_to_the_first_step(manager: TestClient) -> None:
    assert 'href="/begin"' in manager.get("/", headers=PAGE).text
    page = manager.get("/begin", headers=PAGE).text
    assert "There is no business in this database yet." in page
    assert page.count("○") + page.count("▶") == 9  # all but the accounts of the cast
    assert 'href="/settings/business"' in page
    assert list(done(manager)) == ["Who else may sign in"]


def test_the_demo_is_loaded_once_and_the_next_step_is_its_plan(app: FastAPI, manager: TestClient) -> None:
    before = app.state.clock
    followed(manager, manager.post("/begin/demo", headers=PAGE))
    there = done(manager)
    assert there["The business"].startswith("Tallow Bend Awning Works")
    assert "5 crews" in there["Yards, people, vans, crews"]
    assert "A week planned" not in there
    page = manager.get("/begin", headers=PAGE).text
    assert 'id="plan"' in page
    assert 'action="/begin/demo"' not in page
    assert app.state.clock is before  # no clock was asked for
    assert manager.post("/begin/demo", headers=JSON).status_code == 409
    assert take(manager, packed()).status_code == 409
    assert manager.get("/jobs/J-1042", headers=PAGE).status_code == 200


def test_a_set_clock_goes_by_the_forecast_that_came_with_the_demo(sqlite_folder: Path) -> None:
    with running(replace(settings_for(sqlite_folder), clock="forecast")) as app:
        manager = signed_in(app, Role.manager)
        assert app.state.clock().year != 2027
        followed(manager, manager.post("/begin/demo", headers=PAGE))
        assert f"{app.state.clock():%Y-%m-%d}" == "2027-04-08"
        assert 'value="2027-04-12"' in manager.get("/begin", headers=PAGE).text


def test_a_business_is_taken_in_whole_from_the_example_or_one_like_it(manager: TestClient) -> None:
    example = manager.get("/begin/example.zip")
    assert example.headers["content-type"] == "application/zip"
    # A name given by hand before gives way to the whole.
    values = {"name": "Marl Awnings", "town": "Marl", "timezone": "America/Denver", "units": "metric"}
    mark = manager.get("/settings/business", headers=JSON).headers["etag"].strip('"')
    assert manager.post("/settings/business", data=values | {"mark": mark}, headers=PAGE).status_code == 303
    assert done(manager)["The business"] == "Marl Awnings, Marl"
    answer = take(manager, example.content)
    assert answer.status_code == 303, answer.text
    assert done(manager)["The business"].startswith("Tallow Bend Awning Works")


def test_bad_cells_are_named_with_file_row_and_column_and_nothing_is_taken_in(manager: TestClient) -> None:
    bad = packed({"yards.csv": b"yard,name,lat,lon\nnorth,North yard,141,-98\nriver,,41,-98\n"}, within="")
    answer = take(manager, bad)
    assert answer.status_code == 422
    wheres = [error["where"] for error in answer.json()["errors"]]
    assert {"yards.csv, row 2, lat", "yards.csv, row 3, name"} <= set(wheres)
    page = followed(manager, take(manager, bad, PAGE))
    assert "yards.csv, row 2, lat" in page
    assert "Nothing was taken in" in page
    assert "The business" not in done(manager)
    assert "is missing" in take(manager, packed({"crews.csv": None})).text


def test_an_address_is_enough_for_a_yard(app: FastAPI, manager: TestClient) -> None:
    yards = b'yard,name,address\nnorth,North yard,"4 Quarry Road, Tallow Bend"\nriver,River yard,"9 Mill Lane, Marl"\n'
    refused = take(manager, packed({"yards.csv": yards}))
    assert refused.status_code == 422
    assert "yards.csv, row 2, address" in refused.text
    assert "no source of addresses is set yet: choose one on the page Addresses, or write lat and lon" in refused.text
    county = b"LON,LAT,NUMBER,STREET,CITY\n-98.29,41.42,4,Quarry Road,Tallow Bend\n-98.01,41.35,9,Mill Lane,Marl\n"
    with transaction(app.state.database) as session:
        session.add(tables.PlaceSource(kind="file", address="county.csv"))
        take_in(session, county, "county.csv")
    assert take(manager, packed({"yards.csv": yards})).status_code in (200, 303)
    with transaction(app.state.database) as session:
        north = session.get_one(tables.Yard, "north")
        assert (north.lat, north.lon, north.address) == (41.42, -98.29, "4 Quarry Road, Tallow Bend")
        assert session.exec(select(tables.KnownAddress)).first() is not None  # sites are placed by them next


def test_what_is_no_zip_file_of_a_business_is_refused(manager: TestClient) -> None:
    assert "cannot be read as a ZIP file" in take(manager, b"PK nothing").text
    empty = io.BytesIO()
    zipfile.ZipFile(empty, "w").close()
    assert "holds no business.yaml" in take(manager, empty.getvalue()).text
    climbing = take(manager, packed({"../../outside.csv": b"x"}, within=""))
    assert climbing.status_code == 422
    assert "lies outside" in climbing.text
    assert "The business" not in done(manager)


def test_only_the_manager_sets_up_and_everyone_may_look(app: FastAPI) -> None:
    office = signed_in(app, Role.office)
    for role in Role:
        client = signed_in(app, role)
        page = client.get("/begin", headers=PAGE).text
        for address in set(re.findall(r'<a href="(/[^"]*)"', page[page.index("<main") :])):
            assert client.get(address, headers=PAGE).status_code in (200, 303), (role, address)
    assert office.post("/begin/demo", headers=JSON).status_code == 403
