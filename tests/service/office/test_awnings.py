"""/awnings: what hangs, with the list that its maker packs, as records."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import signed_in
from tests.service.sales import AWNING, sale


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)


def test_an_awning_is_made_with_its_list_changed_and_deleted(app_on_either: FastAPI) -> None:
    office = signed_in(app_on_either, Role.office)
    sold = sale(office)
    address = f"/awnings/{sold.awning}"
    record = office.get(address).json()
    assert record == {"id": sold.awning, "version": 1, "order_id": sold.order, **AWNING}
    assert office.get("/awnings", params={"order": sold.order}).json()["items"] == [record]
    body = {"order_id": sold.order, **AWNING, "parts": {"awning": 1, "bracket": 5}, "cloth": "rust"}
    changed = office.put(address, json=body, headers={"If-Match": '"1"'})
    assert changed.status_code == 200
    assert changed.json() == office.get(address).json() == {"id": sold.awning, "version": 2, **body}
    (line, _) = office.get("/history", params={"noun": "awning", "noun_id": sold.awning}).json()["items"]
    assert line["detail"] == {"parts": [AWNING["parts"], body["parts"]], "cloth": ["oat", "rust"]}
    assert office.put(address, json=body, headers={"If-Match": '"1"'}).status_code == 412
    assert office.get(address).json()["parts"] == body["parts"]
    assert office.delete(address, headers={"If-Match": '"1"'}).status_code == 412
    assert office.get(address).json()["parts"] == body["parts"]
    assert office.delete(address, headers={"If-Match": '"2"'}).status_code == 204
    assert office.get(address).status_code == 404


def test_an_awning_needs_an_order_and_a_yard(office: TestClient) -> None:
    sold = sale(office)
    for change in ({"order_id": "O-none"}, {"yard_id": "moon"}, {"width_mm": 4000.5}, {"parts": {"bracket": 0}}):
        refused = office.post("/awnings", json={"order_id": sold.order, **AWNING, **change})
        assert refused.status_code == 422
        assert next(iter(change)) in refused.json()["where"]


def test_an_awning_with_a_survey_or_a_visit_is_not_deleted(office: TestClient) -> None:
    sold = sale(office)
    office.post("/surveys", json=sold.survey())
    office.post("/visits", json=sold.visit())
    refused = office.delete(f"/awnings/{sold.awning}", headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["used_by"]) == (409, {"surveys": 1, "visits": 1})
    assert office.get(f"/awnings/{sold.awning}").json()["parts"] == AWNING["parts"]


def test_readers_only_look_and_leads_have_the_own_days_alone(app: FastAPI) -> None:
    sold = sale(signed_in(app, Role.office))
    for role in (Role.lead, Role.reader):
        client = signed_in(app, role)
        assert client.get(f"/awnings/{sold.awning}").status_code == (200 if role is Role.reader else 403)
        assert client.post("/awnings", json={"order_id": sold.order, **AWNING}).status_code == 403
