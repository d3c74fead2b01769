"""/visits: the jobs of the week sheet as records."""

from __future__ import annotations

import datetime
import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import signed_in
from tests.service.sales import made, sale

MORNINGS = [
    {"weekday": 0, "day": None, "start": 480, "end": 720},
    {"weekday": None, "day": "2027-04-17", "start": 540, "end": 720},
]


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)


def test_a_visit_is_made_with_its_hours_changed_and_deleted(app_on_either: FastAPI) -> None:
    office = signed_in(app_on_either, Role.office)
    sold = sale(office)
    record = made(office.post("/visits", json=sold.visit(hours=MORNINGS, due_on="2027-04-20", skills=["masonry"])))
    address = f"/visits/{record['id']}"
    assert office.get(address).json() == record
    assert (record["hours"], record["due_on"], record["state"]) == (MORNINGS, "2027-04-20", "open")
    assert office.get("/visits", params={"site": sold.site, "kind": "install"}).json()["items"] == [record]
    assert office.get("/visits", params={"site": sold.site, "kind": "repair"}).json()["items"] == []
    changed = office.put(address, json=sold.visit(note="rings twice", hours=MORNINGS[:1]), headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["hours"]) == (200, MORNINGS[:1])
    assert changed.json() == office.get(address).json()
    (line, _) = office.get("/history", params={"noun": "visit", "noun_id": record["id"]}).json()["items"]
    assert line["detail"]["hours"] == [MORNINGS, MORNINGS[:1]]
    assert line["detail"]["note"] == ["", "rings twice"]
    late = office.put(address, json=sold.visit(), headers={"If-Match": '"1"'})
    assert (late.status_code, late.json()["current"]["hours"], late.json()["sent"]["hours"]) == (412, MORNINGS[:1], [])
    assert office.get(address).json()["hours"] == MORNINGS[:1]
    assert office.delete(address, headers={"If-Match": '"2"'}).status_code == 204
    assert office.get(address).status_code == 404


@pytest.mark.race
def test_jobs_that_are_made_at_the_same_moment_get_numbers_of_their_own(app_on_either: FastAPI) -> None:
    clients = [signed_in(app_on_either, Role.office) for _ in range(6)]
    sold = sale(clients[0])
    with ThreadPoolExecutor(6) as pool:
        ids = list(pool.map(lambda client: made(client.post("/visits", json=sold.visit()))["id"], clients))
    assert len(set(ids)) == 6
    assert all(re.fullmatch("J-[0-9]{4}", one) for one in ids)


def test_what_a_program_makes_has_numbers_that_can_be_said_on_the_phone(office: TestClient) -> None:
    """C-1001 with S-1001, O-1001, A-1001 and V-1001; a second site of the customer, the next awning are told apart."""
    sold = sale(office)
    survey = made(office.post("/surveys", json=sold.survey()))["id"]
    number = sold.customer.removeprefix("C-")
    assert re.fullmatch("[0-9]{4}", number)
    assert (sold.site, sold.order, sold.awning, survey) == tuple(f"{letter}-{number}" for letter in "SOAV")
    another = sale(office)
    assert another.customer != sold.customer
    awning = {
        key: value
        for key, value in office.get(f"/awnings/{sold.awning}").json().items()
        if key not in ("id", "version")
    }
    assert made(office.post("/awnings", json=awning))["id"] == f"A-{number}-2"
    visit = made(office.post("/visits", json=sold.visit()))["id"]
    assert re.fullmatch("J-[0-9]{4}", visit)


@pytest.mark.parametrize(
    "hours",
    [
        {"start": 480, "end": 720}, {"weekday": 1, "day": "2027-04-17", "start": 480, "end": 720},
        {"weekday": 1, "start": 720, "end": 720}, {"weekday": 7, "start": 0, "end": 1}, {"weekday": 1, "start": 0},
    ],
)  # fmt: skip
def test_hours_that_no_clock_has_are_refused(office: TestClient, hours: dict[str, object]) -> None:
    refused = office.post("/visits", json=sale(office).visit(hours=[hours]))
    assert refused.status_code == 422
    assert refused.json()["where"].startswith("body.hours.0")


def test_site_order_and_awning_must_be_of_one_sale(office: TestClient) -> None:
    one, other = sale(office), sale(office)
    for change in (
        {"site_id": "S-none"}, {"order_id": "O-none"}, {"awning_id": "A-none"}, {"order_id": other.order},
        {"awning_id": other.awning}, {"order_id": None},
    ):  # fmt: skip
        refused = office.post("/visits", json=one.visit(**change))
        assert refused.status_code == 422, refused.text
        assert refused.json()["where"] in (*change, "awning_id")
    assert office.post("/visits", json=one.visit(kind="survey", order_id=None, awning_id=None)).status_code == 201


def test_a_visit_that_somebody_was_told_of_is_not_deleted(app: FastAPI, office: TestClient) -> None:
    sold = sale(office)
    visit = made(office.post("/visits", json=sold.visit()))["id"]
    with transaction(app.state.database) as session:
        day = datetime.date(2027, 4, 12)
        session.add(tables.Booking(visit_id=visit, crew_id="north-1", day=day, start=480, hold="firm"))
        seen = {"media_type": "image/png", "bytes": 1, "sha256": "0"}
        at = datetime.datetime(2027, 4, 1, tzinfo=datetime.UTC)
        session.add(tables.Photo(visit_id=visit, shows="wall", taken_at=at, taken_by="Ida", **seen))
    refused = office.delete(f"/visits/{visit}", headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["used_by"]) == (409, {"bookings": 1, "photos": 1})
    cancelled = office.put(f"/visits/{visit}", json=sold.visit(state="cancelled"), headers={"If-Match": '"1"'})
    assert cancelled.json()["state"] == "cancelled"


def test_leads_have_their_crews_jobs_and_no_others(app: FastAPI) -> None:
    sold = sale(signed_in(app, Role.office))
    lead = signed_in(app, Role.lead)
    assert lead.get("/visits").status_code == 403
    assert lead.post("/visits", json=sold.visit()).status_code == 403
