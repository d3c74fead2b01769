"""Addresses from files: a county's list that is asked at home, and tables whose rows say where by address alone."""

from __future__ import annotations

import html
import re
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.places.finder import Finder
from tests.service.cast import JSON
from tests.service.office.test_entry import form_of
from tests.service.places.place_cast import NOW, found, set_source
from tests.service.places.place_services import MILL, Places

ADDRESSES = (
    "LON,LAT,NUMBER,STREET,UNIT,CITY,DISTRICT,REGION,POSTCODE,ID,HASH\n"
    "-98.0421,41.0312,9,Mill Ln,,Tallow Bend,,,52001,,a1\n"
    "-98.0431,41.0318,13,Mill Ln,,Tallow Bend,,,52001,,a2\n"
    "-98.0200,41.0600,4,ASH ST,,Marl,,,52002,,a3\n"
    "-98.2200,41.2600,4,ASH ST,,Marlby,,,52003,,a4\n"
    "-98.3000,41.3000,,No Number Rd,,Marl,,,52003,,a5\n"
)


def test_a_file_of_addresses_is_dropped_on_the_page_and_asked_without_anybody_outside(
    app: FastAPI, office: TestClient
) -> None:
    sent = {"file": ("county.csv", ADDRESSES.encode(), "text/csv")}
    answer = office.post("/places/addresses", files=sent)
    assert answer.status_code == 303, answer.text
    page = html.unescape(office.get(answer.headers["location"]).text)
    assert "4 addresses taken in. Addresses are looked up in them from now on." in page
    told = found(office, "9 Mill Lane", "Tallow Bend")
    assert (told["state"], told["places"][0]["lat"]) == ("one", 41.0312)
    assert found(office, "4 Ash St.", "Marlby")["places"][0]["lat"] == 41.26  # the town decides
    assert found(office, "4 Ash Street", "Marl")["places"][0]["lat"] == 41.06
    near = found(office, "11 Mill Lane", "Tallow Bend")
    assert near["state"] == "near"
    assert len(near["places"]) == 2
    assert found(office, "4 Ash Street", "Elsewhere")["state"] == "near"
    bad = {"file": ("county.csv", b"LON,LAT,NUMBER,STREET\n-91,north,9,Mill Ln\n", "text/csv")}
    refused = office.post("/places/addresses", files=bad)
    assert refused.status_code == 422
    assert 'county.csv, line 2, LAT: must be degrees such as 41.0213, is "north"' in html.unescape(refused.text)
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "one"  # what was held stays
    tried = html.unescape(office.post("/places/try", data={"address": "9 Mill Lane", "town": "Tallow Bend"}).text)
    assert "✓ 9 Mill Ln, Tallow Bend, 52001" in tried
    assert "pin-map" in tried


SITES = (
    "site,customer,town,address,lat,lon,storeys,built,access\n"
    "S-new-1,C-001,Tallow Bend,9 Mill Lane,,,1,,\n"
    "S-new-2,C-001,Marl,4 Ash Street,,,1,,\n"
    "S-new-3,C-001,Otherwhere,77 Far Road,43.9,-98.0,1,,\n"
)


def take_in(client: TestClient, run: str = "try") -> Any:
    sent = {"file": ("sites.csv", SITES.encode(), "text/csv")}
    return client.post("/exchange/imports", files=sent, data={"run": run}, headers=JSON)


def test_rows_without_coordinates_get_those_of_their_address_and_unsure_ones_are_placed_by_somebody(
    app: FastAPI, office: TestClient, places: Places
) -> None:
    tried = take_in(office)
    assert tried.status_code == 200, tried.text
    assert [words.partition(":")[0] for words in tried.json()["questions"]] == [
        f"sites.csv, row {n}" for n in (2, 3, 4)
    ]
    set_source(app, "nominatim", places.address)
    app.state.places.find("9 Mill Lane", "Tallow Bend")
    app.state.places.find("4 Ash Street", "Marl")
    asked = take_in(office).json()["questions"]
    assert asked[0].startswith("sites.csv, row 3: its address is not on the map yet"), asked
    assert take_in(office, "keep").status_code == 200
    with transaction(app.state.database) as session:
        assert [session.get_one(tables.Site, f"S-new-{n}").placed for n in (1, 2, 3)] == [True, False, True]
    page = html.unescape(office.get("/places").text)
    assert "4 Ash Street, Marl" in page
    assert "9 Mill Lane" not in page
    where = html.unescape(re.search(r'href="(/places/one\?[^"]*)"', page)[1])  # type: ignore[index]
    form = form_of(office.get(where).text) | {"pin": "41.06, -98.02"}
    placed = office.post("/places/one", data=form)
    assert placed.status_code == 303, placed.text
    again = take_in(office, "keep")
    assert again.json()["tables"] == [{"table": "sites", "new": 0, "changed": 0, "unchanged": 3}]
    assert len(again.json()["questions"]) == 1
    assert "row 4: The pin is" in again.json()["questions"][0]
    with transaction(app.state.database) as session:
        kept = [session.get_one(tables.Site, f"S-new-{n}") for n in (1, 2)]
        assert [(site.lat, site.lon) for site in kept] == [MILL[2:], (41.06, -98.02)]


def test_a_long_table_is_worked_off_behind_the_page(app: FastAPI, places: Places) -> None:
    """What one request cannot ask for stays in line, and is known when the file is sent again."""
    set_source(app, "nominatim", places.address)
    finder = Finder(app.state.database, lambda: NOW, lambda: 0.0, lambda _: None)
    finder.want([("9 Mill Lane", "Tallow Bend"), ("12 Quarry Road", "Marl")], "tables")
    places.status = 503
    assert not finder.work()  # stays wanted
    places.status = 200
    assert finder.work()
    assert finder.work()
    assert not finder.work()
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.PlaceAnswer)).all()
        assert {row.state for row in rows} == {"one"}


def test_a_yard_is_made_from_its_address_by_form_and_by_file(app: FastAPI, office: TestClient, places: Places) -> None:
    set_source(app, "photon", places.address)
    page = office.get("/set-up/yards/new").text
    assert "Latitude" not in page
    form = form_of(page) | {"id": "bend", "name": "Bend yard", "address": "9 Mill Lane, Tallow Bend"}
    looked = office.post("/set-up/yards/new", data=form)
    assert looked.status_code == 422
    made = office.post("/set-up/yards/new", data=form_of(looked.text))
    assert made.status_code == 303, made.text
    table = b'Short name,Name,Address\nmarl,Marl yard,"12 Quarry Road, Marl"\n'
    sent = office.post("/set-up/yards/files", files={"file": ("yards.csv", table, "text/csv")})
    assert sent.status_code == 303, sent.text
    where = sent.headers["location"]
    page = office.get(where).text
    mark = re.search(r'name="mark" value="([^"]*)"', page)
    assert mark is not None, page
    columns = {"column-0": "id", "column-1": "name", "column-2": "address"}
    kept = office.post(where, data={"do": "keep", "mark": mark[1], **columns})
    assert kept.status_code == 200, kept.text
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Yard, "bend").lat == MILL[2]
        assert session.get_one(tables.Yard, "marl").lat == 41.05
