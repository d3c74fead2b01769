"""/sites: where the work is, on SQLite and on PostgreSQL."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import signed_in


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    return signed_in(app_on_either, Role.office)


@pytest.fixture
def body(office: TestClient) -> dict[str, Any]:
    customer = office.post("/customers", json={"name": "Odile Marrack"}).json()["id"]
    return {
        "customer_id": customer,
        "town": "Tallow Bend",
        "address": "4 Long Row",
        "lat": 41.4,
        "lon": -98.3,
        "storeys": 2,
        "built": 1956,
        "access": "dog",
    }


def test_a_site_is_made_read_changed_and_deleted(office: TestClient, body: dict[str, Any]) -> None:
    record = office.post("/sites", json=body).json()
    address = f"/sites/{record['id']}"
    assert office.get(address).json() == {**body, "id": record["id"], "placed": True, "version": 1}
    changed = office.put(address, json={**body, "built": None}, headers={"If-Match": '"1"'})
    assert changed.json()["built"] is None
    assert [item["id"] for item in office.get("/sites", params={"customer": body["customer_id"]}).json()["items"]] == [
        record["id"]
    ]
    assert office.get("/sites", params={"customer": "C-other"}).json()["items"] == []
    assert office.delete(address, headers={"If-Match": changed.headers["etag"]}).status_code == 204
    assert office.get(address).status_code == 404


def test_a_site_needs_an_address_and_no_coordinates(office: TestClient, body: dict[str, Any]) -> None:
    bare = {name: value for name, value in body.items() if name not in ("lat", "lon")}
    record = office.post("/sites", json=bare).json()
    assert record["placed"] is False
    as_read = {name: value for name, value in record.items() if name not in ("id", "version")}
    assert office.put(f"/sites/{record['id']}", json=as_read, headers={"If-Match": '"1"'}).json()["placed"] is False
    placed = office.put(f"/sites/{record['id']}", json=body, headers={"If-Match": '"2"'}).json()
    assert (placed["placed"], placed["lat"]) == (True, 41.4)
    same = office.put(f"/sites/{record['id']}", json=bare, headers={"If-Match": '"3"'}).json()
    assert (same["placed"], same["lat"]) == (True, 41.4)
    half = office.post("/sites", json={**bare, "lat": 41.4})
    assert (half.status_code, half.json()["where"]) == (422, "lon")


def test_a_value_that_cannot_be_is_named(office: TestClient, body: dict[str, Any]) -> None:
    wrong = {"lat": 91, "lon": "east", "storeys": 0, "built": 3000, "town": "", "address": None}
    for field, value in wrong.items():
        answer = office.post("/sites", json={**body, field: value})
        assert (answer.status_code, answer.json()["where"]) == (422, f"body.{field}")


def test_a_site_of_an_unknown_customer_is_refused(office: TestClient, body: dict[str, Any]) -> None:
    answer = office.post("/sites", json={**body, "customer_id": "C-nobody"})
    assert (answer.status_code, answer.json()["where"]) == (422, "customer_id")


def test_a_site_with_a_visit_is_not_deleted(app_on_either: FastAPI, office: TestClient, body: dict[str, Any]) -> None:
    site = office.post("/sites", json=body).json()["id"]
    with transaction(app_on_either.state.database) as session:
        session.add(tables.Visit(id="J-1", kind="repair", site_id=site))  # type: ignore[call-arg]
    refused = office.delete(f"/sites/{site}", headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.json()["used_by"]) == (409, {"visits": 1})


def test_a_crew_lead_has_the_sites_of_the_own_days_alone(app: FastAPI) -> None:
    lead = signed_in(app, Role.lead)
    assert lead.get("/sites").status_code == 403
    assert lead.post("/sites", json={}).status_code == 403
    assert lead.get("/sites/S-nowhere").status_code == 403
