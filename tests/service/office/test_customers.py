"""/customers: the model of a noun in JSON, on SQLite and on PostgreSQL."""

from __future__ import annotations

import datetime
import json
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import anonymous, signed_in

ODILE = {"name": "Odile Marrack", "phone": "555-0300", "email": "odile@example.org", "note": "rings twice"}


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    return signed_in(app_on_either, Role.office)


def made(client: TestClient, **values: Any) -> dict[str, Any]:
    answer = client.post("/customers", json={**ODILE, **values})
    assert answer.status_code == 201, answer.text
    record: dict[str, Any] = answer.json()
    assert answer.headers["location"] == f"/customers/{record['id']}"
    return record


def test_a_customer_is_made_read_changed_and_deleted_and_the_history_knows(office: TestClient) -> None:
    record = made(office)
    address = f"/customers/{record['id']}"
    read = office.get(address)
    assert read.json() == record == {**ODILE, "language": "", "id": record["id"], "version": 1}
    assert read.headers["etag"] == '"1"'
    changed = office.put(address, json={**ODILE, "phone": "555-0301"}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["phone"], changed.headers["etag"]) == (200, "555-0301", '"2"')
    assert office.get(address).json() == changed.json()
    assert office.delete(address, headers={"If-Match": '"2"'}).status_code == 204
    assert office.get(address).status_code == 404
    lines = office.get("/history", params={"noun": "customer", "noun_id": record["id"]}).json()["items"]
    assert [(line["did"], line["by"]) for line in lines] == [
        ("deleted", "olive"),
        ("changed", "olive"),
        ("made", "olive"),
    ]
    assert lines[1]["detail"] == {"phone": ["555-0300", "555-0301"]}


def test_what_is_done_to_a_customer_is_dated_by_the_service_s_clock(app_on_either: FastAPI, office: TestClient) -> None:
    app_on_either.state.clock = lambda: datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
    address = f"/customers/{made(office)['id']}"
    office.put(address, json={**ODILE, "phone": "555-0301"}, headers={"If-Match": '"1"'})
    office.delete(address, headers={"If-Match": '"2"'})
    lines = office.get("/history", params={"noun": "customer", "noun_id": address.rpartition("/")[2]}).json()["items"]
    assert [line["at"][:16] for line in lines] == ["2027-04-08T20:00"] * 3


def test_the_list_comes_in_parts_each_customer_once(office: TestClient) -> None:
    ids = {made(office, name=f"Customer {n}")["id"] for n in range(7)}
    found, after = [], None
    for _ in range(4):
        part = office.get("/customers", params={"limit": 2} | ({"after": after} if after else {})).json()
        assert len(part["items"]) <= 2
        found += [item["id"] for item in part["items"]]
        after = part["next"]
    assert after is None
    assert found == sorted(ids)


def test_the_list_finds_by_letters_of_the_name_and_takes_signs_as_letters(office: TestClient) -> None:
    made(office, name="Odile 100% Marrack")
    made(office, name="Perrin Oldacre")
    names = [item["name"] for item in office.get("/customers", params={"name": "MARR"}).json()["items"]]
    assert names == ["Odile 100% Marrack"]
    assert len(office.get("/customers", params={"name": "%"}).json()["items"]) == 1
    assert office.get("/customers", params={"name": "_"}).json() == {"items": [], "next": None}


def test_all_faults_of_a_body_are_told_at_once(office: TestClient) -> None:
    answer = office.post("/customers", json={"name": " ", "email": "nowhere", "phone": 5, "colour": "red"})
    assert answer.status_code == 422
    assert {error["where"] for error in answer.json()["errors"]} == {
        "body.name",
        "body.email",
        "body.phone",
        "body.colour",
    }


def test_a_name_that_no_database_takes_is_refused(office: TestClient) -> None:
    for name in ("a\x00b", "\ud800", "x" * 121):
        body = json.dumps({"name": name})
        answer = office.post("/customers", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422


def test_an_unknown_customer_is_404_for_every_method(office: TestClient) -> None:
    for address in ("/customers/C-nobody", "/customers/%00", "/customers/" + "x" * 500):
        for answer in (
            office.get(address),
            office.put(address, json=ODILE, headers={"If-Match": '"1"'}),
            office.delete(address, headers={"If-Match": '"1"'}),
        ):
            assert answer.status_code == 404
            assert answer.json()["type"] == "about:blank"


def test_a_customer_with_a_site_is_not_deleted(office: TestClient) -> None:
    customer = made(office)["id"]
    site = {"customer_id": customer, "town": "T", "address": "1 Row", "lat": 41.0, "lon": -98.0}
    assert office.post("/sites", json=site).status_code == 201
    refused = office.delete(f"/customers/{customer}", headers={"If-Match": "*"})
    assert refused.status_code == 409
    assert refused.json()["used_by"] == {"sites": 1}
    assert office.get(f"/customers/{customer}").status_code == 200


def test_others_read_or_are_refused(app: FastAPI) -> None:
    customer = made(signed_in(app, Role.office))["id"]
    reader, lead = signed_in(app, Role.reader), signed_in(app, Role.lead)
    assert reader.get(f"/customers/{customer}").status_code == 200
    assert reader.post("/customers", json=ODILE).status_code == 403
    assert lead.get("/customers").status_code == 403
    assert anonymous(app).get("/customers").status_code == 401
