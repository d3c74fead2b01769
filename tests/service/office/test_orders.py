"""/orders: what was sold to whom, as records."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import signed_in
from tests.service.sales import Sale, made, sale


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)


def body(sold: Sale) -> dict[str, str]:
    return {"customer_id": sold.customer, "site_id": sold.site, "ordered_on": "2027-02-01"}


def test_an_order_is_made_read_changed_and_deleted_and_the_history_knows(app_on_either: FastAPI) -> None:
    office = signed_in(app_on_either, Role.office)
    sold = sale(office)
    record = made(office.post("/orders", json=body(sold)))
    address = f"/orders/{record['id']}"
    assert office.get(address).json() == record == {
        **body(sold), "state": "open", "note": "", "id": record["id"], "version": 1,
    }  # fmt: skip
    assert office.get(address, headers={"If-None-Match": '"1"'}).status_code == 304
    changed = office.put(address, json={**body(sold), "note": "paid"}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["note"], changed.headers["etag"]) == (200, "paid", '"2"')
    late = office.put(address, json={**body(sold), "note": "unpaid"}, headers={"If-Match": '"1"'})
    assert late.status_code == 412
    assert (late.json()["current"]["note"], late.json()["sent"]["note"]) == ("paid", "unpaid")
    assert late.json()["sent"]["ordered_on"] == "2027-02-01"
    assert office.delete(address, headers={"If-Match": '"2"'}).status_code == 204
    lines = office.get("/history", params={"noun": "order", "noun_id": record["id"]}).json()["items"]
    assert [line["did"] for line in lines] == ["deleted", "changed", "made"]
    assert lines[1]["detail"] == {"note": ["", "paid"]}


def test_the_list_is_narrowed_and_comes_in_parts(office: TestClient) -> None:
    one, other = sale(office), sale(office)
    more = [made(office.post("/orders", json=body(one)))["id"] for _ in range(2)]
    mine = office.get("/orders", params={"customer": one.customer}).json()["items"]
    assert {item["id"] for item in mine} == {one.order, *more}
    assert [item["id"] for item in office.get("/orders", params={"site": other.site}).json()["items"]] == [other.order]
    assert office.get("/orders", params={"state": "cancelled"}).json() == {"items": [], "next": None}
    first = office.get("/orders", params={"limit": 3}).json()
    rest = office.get("/orders", params={"limit": 3, "after": first["next"]}).json()
    assert {item["id"] for item in first["items"] + rest["items"]} == {one.order, other.order, *more}
    assert rest["next"] is None


def test_an_order_must_name_a_customer_and_one_of_its_sites(office: TestClient) -> None:
    one, other = sale(office), sale(office)
    for change, words in (
        ({"customer_id": "C-nobody"}, "no customer has the id"),
        ({"site_id": "S-nowhere"}, "no site has the id"),
        ({"site_id": other.site}, f"is a site of {other.customer}"),
    ):
        refused = office.post("/orders", json={**body(one), **change})
        assert (refused.status_code, words in refused.json()["detail"]) == (422, True), refused.text
    for day in ("yesterday", "2027-02-30", 5, "2027-02-01T00:00:00", None):
        assert office.post("/orders", json={**body(one), "ordered_on": day}).status_code == 422


def test_an_order_with_an_awning_or_a_visit_is_not_deleted(office: TestClient) -> None:
    sold = sale(office)
    office.post("/visits", json=sold.visit())
    refused = office.delete(f"/orders/{sold.order}", headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["used_by"]) == (409, {"awnings": 1, "visits": 1})


def test_a_repeated_request_makes_one_order(office: TestClient) -> None:
    sold = sale(office)
    answers = [office.post("/orders", json=body(sold), headers={"Idempotency-Key": "once"}) for _ in range(2)]
    assert answers[0].json() == answers[1].json()
    assert len(office.get("/orders", params={"customer": sold.customer}).json()["items"]) == 2


def test_readers_look_and_leads_are_refused(app: FastAPI) -> None:
    sold = sale(signed_in(app, Role.office))
    reader = signed_in(app, Role.reader)
    assert reader.get(f"/orders/{sold.order}").status_code == 200
    assert reader.post("/orders", json=body(sold)).status_code == 403
    assert signed_in(app, Role.lead).get("/orders").status_code == 403
