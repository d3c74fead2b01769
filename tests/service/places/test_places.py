"""The wire of the addresses: typed, asked for, a pin on the page, a site that is kept, drives of the week by it."""

from __future__ import annotations

import datetime
import html
import json
import re
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.places import protocols
from api.places.finder import Finder
from api.week.run.planning import prepare_week
from scheduler.travel import great_circle_m
from scheduler.travel.estimate import DEFAULT, estimates
from tests.service.cast import PAGE, add_yard, running, settings_for, signed_in
from tests.service.office.test_entry import form_of
from tests.service.places.place_cast import NOW, found, set_source
from tests.service.places.place_services import MILL, Places

MONDAY = datetime.date(2027, 4, 12)
NEW = {
    "customers.name": "Orla Pennyroyal", "customers.phone": "555-0444", "sites.town": "Tallow Bend",
    "sites.address": "9 Mill Ln", "visits.kind": "survey",
}  # fmt: skip


@pytest.mark.parametrize("kind", ["nominatim", "photon"])
def test_a_typed_address_is_asked_for_pinned_kept_and_times_the_drives_of_the_week(
    app: FastAPI, office: TestClient, places: Places, kind: str
) -> None:
    set_source(app, kind, places.address)
    page = office.get("/jobs/new").text
    assert "Latitude" not in page
    assert "Longitude" not in page
    form = form_of(page) | NEW
    looked = office.post("/jobs/new", data=form)  # as without a script: shown with its pin before anything is kept
    assert looked.status_code == 422
    assert "The pin was found by the address: look at it on the map" in looked.text
    form = form_of(looked.text)
    assert form["sites.pin"] == "41.031200, -98.042100"
    ((path, query, agent),) = places.asked
    assert path == ("/search" if kind == "nominatim" else "/api")
    assert query["q"] == "9 Mill Ln, Tallow Bend"
    assert agent == "eaveboard (office@example.org)"
    if kind == "nominatim":  # looked for around the yards first
        west, north, east, south = map(float, query["viewbox"].split(","))
        assert west < MILL[3] < east
        assert south < MILL[2] < north
    else:
        assert (float(query["lat"]), float(query["lon"])) == pytest.approx(MILL[2:], abs=1)
    answer = office.post("/jobs/new", data=form)
    assert answer.status_code == 303, html.unescape(answer.text)
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, answer.headers["location"].rsplit("/", 1)[1])
        site = session.get_one(tables.Site, visit.site_id)
        assert (site.lat, site.lon) == MILL[2:]
        yard = session.exec(select(tables.Yard)).first()
        assert yard is not None
    week = prepare_week(app.state.database, MONDAY, NOW).built.week
    at = {place.id: n for n, place in enumerate(week.places)}
    straight = great_circle_m([(yard.lat, yard.lon), MILL[2:]])
    minutes = estimates(straight, DEFAULT)[1]
    assert week.travel.minutes[at[f"yard-{yard.id}"]][at[site.id]] == pytest.approx(minutes[0, 1], abs=1)
    office.post("/jobs/new", data=form_of(office.get("/jobs/new").text) | NEW)
    assert len(places.asked) == 1  # the answer is kept


def test_of_several_places_one_is_chosen_and_a_street_alone_wants_its_pin_moved(
    app: FastAPI, office: TestClient, places: Places
) -> None:
    set_source(app, "nominatim", places.address)
    form = form_of(office.get("/jobs/new").text) | NEW | {"sites.address": "4 Ash Street", "sites.town": "Marl"}
    page = office.post("/jobs/new", data=form).text
    assert html.unescape(page).count('name="sites.found"') == 2
    assert "2 places fit “4 Ash Street, Marl”: choose one." in html.unescape(page)
    form = form_of(page) | {"sites.pin": "", "sites.found": "41.260000, -98.220000"}
    answer = office.post("/jobs/new", data=form)
    assert answer.status_code == 303, answer.text
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, answer.headers["location"].rsplit("/", 1)[1])
        assert session.get_one(tables.Site, visit.site_id).lat == 41.26
    told = found(office, "90 Quarry Road", "Marl")
    assert (told["state"], told["words"]) == (
        "near", "Only the street of “90 Quarry Road, Marl” was found: move the pin to the house.",
    )  # fmt: skip
    assert found(office, "1 Nowhere", "Marl")["state"] == "none"


def test_a_pin_far_from_every_yard_is_questioned_and_kept_on_a_word(
    app: FastAPI, office: TestClient, places: Places
) -> None:
    form = form_of(office.get("/jobs/new").text) | NEW | {"sites.pin": "43.9, -98.0"}
    page = office.post("/jobs/new", data=form)
    assert page.status_code == 422
    assert re.search(r"The pin is \d+\smi from the nearest yard, [^.]+\. Is it really that far\?", page.text)
    answer = office.post("/jobs/new", data=form | {"sites.far": "yes"})
    assert answer.status_code == 303, answer.text


def test_a_site_whose_address_changes_is_looked_up_anew(app: FastAPI, office: TestClient, places: Places) -> None:
    set_source(app, "photon", places.address)
    with transaction(app.state.database) as session:
        site = session.exec(select(tables.Site)).first()
        assert site is not None
    where = f"/records/sites/{site.id}"
    form = form_of(office.get(where).text)
    assert office.post(where, data=form | {"sites.access": "a dog"}).status_code == 303
    assert places.asked == []
    form = form_of(office.get(where).text) | {"sites.address": "9 Mill Lane", "sites.town": "Tallow Bend"}
    page = office.post(where, data=form)
    assert page.status_code == 422
    assert "still stands at the address before" in page.text
    answer = office.post(where, data=form_of(page.text) | {"sites.found": "41.031200, -98.042100"})
    assert answer.status_code == 303, answer.text
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Site, site.id).lat == MILL[2]


def test_without_a_source_the_pin_is_dragged_or_typed_in_one_field(app: FastAPI, office: TestClient) -> None:
    form = form_of(office.get("/jobs/new").text) | NEW
    page = office.post("/jobs/new", data=form)
    assert page.status_code == 422
    assert "The pin must be put on the map" in page.text
    for text, fault in (
        ("91, 0", "the latitude must be from -90 to 90, is 91"),
        ("here", 'must be latitude and longitude such as 41.0213, -91.0305, is "here"'),
    ):
        assert fault in html.unescape(office.post("/jobs/new", data=form | {"sites.pin": text}).text)
    answer = office.post("/jobs/new", data=form | {"sites.pin": "41.03 N, 98.04 W"})
    assert answer.status_code == 303, answer.text
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, answer.headers["location"].rsplit("/", 1)[1])
        site = session.get_one(tables.Site, visit.site_id)
        assert (site.lat, site.lon) == (41.03, -98.04)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        ({"status": 503}, "answered 503"),
        ({"status": 403}, "answered 403: it wants a contact"),
        ({"status": 429}, "answered 429"),
        ({"body": b"<html>"}, "answered something that is not JSON"),
        ({"body": b'{"no": 1}'}, "is no answer of the Nominatim kind"),
        ({"wait_s": 0.5}, "did not answer within 0.2 s"),
    ],
)
def test_a_service_that_fails_is_told_in_a_sentence_and_nothing_of_it_is_kept(
    app: FastAPI, office: TestClient, places: Places, monkeypatch: pytest.MonkeyPatch, spoil: dict[str, Any], words: str
) -> None:
    set_source(app, "nominatim", places.address)
    monkeypatch.setattr(protocols.ask, "__defaults__", (protocols.Patience(try_s=0.2, tries=1),))
    for name, value in spoil.items():
        setattr(places, name, value)
    told = found(office, "9 Mill Lane", "Tallow Bend")
    assert told["state"] == "fault"
    assert words in told["words"]
    assert "Put the pin on the map yourself, or try again." in told["words"]
    assert words in html.unescape(office.get("/places").text)  # whoever sets the source sees it
    places.status, places.body, places.wait_s = 200, None, 0.0
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "one"
    assert words not in html.unescape(office.get("/places").text)


def test_an_address_that_a_service_refuses_does_not_hold_up_the_line(app: FastAPI, places: Places) -> None:
    set_source(app, "photon", places.address)
    finder = Finder(app.state.database, lambda: NOW, lambda: 0.0, lambda _: None)
    finder.want([("???", "")], "tables")
    places.status = 400
    assert finder.work()
    assert finder.find("???", "").state == "none"


def test_a_service_that_is_not_there_is_told_too(app: FastAPI, office: TestClient, places: Places) -> None:
    set_source(app, "photon", places.address)
    places.close()
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "fault"


@pytest.mark.parametrize(
    "row",
    [
        {"lat": "north", "lon": "1", "display_name": "x", "place_rank": 30},
        {"lat": "91", "lon": "1", "display_name": "x", "place_rank": 30},
        {"lat": "nan", "lon": "1", "display_name": "x", "place_rank": 30},
        {"lat": "1", "lon": "1", "display_name": "", "place_rank": 30},
        {"lat": "1", "lon": "1", "display_name": 5, "place_rank": 30},
        ["lat"],
        None,
    ],
)
def test_a_row_that_cannot_be_is_passed_over(app: FastAPI, office: TestClient, places: Places, row: Any) -> None:
    set_source(app, "nominatim", places.address)
    places.body = json.dumps([row]).encode()
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "none"


def test_no_more_than_one_request_a_second_whoever_asks(app: FastAPI, office: TestClient, places: Places) -> None:
    set_source(app, "nominatim", places.address)
    clock, slept = [100.0], list[float]()

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        clock[0] += seconds

    finder = Finder(app.state.database, lambda: NOW, lambda: clock[0], sleep)
    finder.find("9 Mill Lane", "Tallow Bend")
    clock[0] += 0.25
    finder.find("12 Quarry Road", "Marl")
    finder.find("12 quarry rd.", "marl")  # the same address: not asked for again
    clock[0] += 5
    finder.find("4 Ash Street", "Marlby")
    assert slept == [pytest.approx(0.75)]
    assert len(places.asked) == 3


def test_an_answer_of_another_source_is_not_used(app: FastAPI, office: TestClient, places: Places) -> None:
    set_source(app, "nominatim", places.address)
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "one"
    set_source(app, "photon", places.address)
    assert found(office, "9 Mill Lane", "Tallow Bend")["state"] == "one"
    assert [path for path, _, _ in places.asked] == ["/search", "/api"]


def test_readers_and_leads_look_nothing_up(app: FastAPI) -> None:
    for role in (Role.reader, Role.lead):
        assert signed_in(app, role).get("/places").status_code == 403


def test_a_source_needs_address_and_contact(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    manager.headers.update(PAGE)
    sent = form_of(manager.get("/settings/places").text) | {"kind": "photon"}
    refused = manager.post("/settings/places", data=sent)
    assert refused.status_code == 422
    assert refused.text.count("flag fault") == 2


def test_a_business_without_any_yard_is_placed_on_a_map_of_the_country(sqlite_folder: Any) -> None:
    with running(settings_for(sqlite_folder)) as app:
        add_yard(app.state.database)
        client = signed_in(app, Role.manager)
        client.headers.update(PAGE)
        assert "pin-map" in client.get("/set-up/yards/new").text
