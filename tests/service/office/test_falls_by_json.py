"""What falls by a change that a program sends is named, and nothing is changed, until it says that it knows."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import JSON, signed_in


def client(app: FastAPI, role: Role = Role.manager) -> TestClient:
    made = signed_in(app, role)
    made.headers.update(JSON)
    return made


def planned_install(app: FastAPI) -> tables.Visit:
    with transaction(app.state.database) as session:
        plan = session.exec(select(tables.StoredPlan)).one().plan
        visits = [session.get_one(tables.Visit, one) for one in re.findall(r'"job": ?"(J-[0-9]+)"', plan)]
        return next(one for one in visits if one.kind == "install" and one.awning_id)


def put(office: TestClient, address: str, change: Any, *, params: dict[str, str] | None = None, key: str = "") -> Any:
    """Send a record as it is with a change."""
    now = office.get(address)
    body = {key: value for key, value in now.json().items() if key not in ("id", "version")}
    headers = {"If-Match": now.headers["etag"]} | ({"Idempotency-Key": key} if key else {})
    return office.put(address, json=body | change, params=params, headers=headers)


@pytest.mark.parametrize("what", ["visit", "awning", "crew", "person", "van"])
def test_a_record_by_which_posted_visits_fall_is_refused_with_their_names(posted: FastAPI, what: str) -> None:
    office, job = client(posted, Role.office), planned_install(posted)
    with transaction(posted.state.database) as session:
        plan = session.exec(select(tables.StoredPlan)).one().plan
        crew = session.get_one(tables.Crew, re.findall(r'"crew": ?"([^"]+)"', plan)[0])
    off = {"first": "2027-04-12", "last": "2027-04-16", "why": "ill"}
    address, change = {
        "visit": (f"/visits/{job.id}", {"hands": 19}),
        "awning": (f"/awnings/{job.awning_id}", {"box_mm": 18_000}),
        "crew": (f"/crews/{crew.id}", {"hours": []}),
        "person": (f"/people/{crew.lead_id}", {"days_off": [off]}),
        "van": (f"/vans/{crew.van_id}", {"days_out": [off]}),
    }[what]
    before = office.get(address)
    asked = put(office, address, change)
    assert asked.status_code == 409, asked.text
    told = asked.json()
    assert told["type"].endswith("falls")
    assert told["falls"]
    for one in told["falls"]:
        assert set(one) == {"visit", "date", "start", "words"}
        assert one["visit"] in told["detail"]
    if what in ("visit", "awning"):
        assert [one["visit"] for one in told["falls"]] == [job.id]
    else:
        assert told["lost"]
    assert "although_falls=true" in told["detail"]
    after = office.get(address)
    assert (after.json(), after.headers["etag"]) == (before.json(), before.headers["etag"])
    yes = put(office, address, change, params={"although_falls": "true"})
    assert yes.status_code == 200, yes.text
    assert office.get(address).headers["etag"] != before.headers["etag"]


def test_settings_by_which_posted_visits_fall_are_refused_with_their_names(posted: FastAPI) -> None:
    manager = client(posted)
    now = manager.get("/settings/weather")
    values = {name: "1" for name in (line["name"] for line in now.json()["lines"]) if "wind" in name.lower()}
    assert values, now.json()
    headers = {"If-Match": now.headers["etag"]}
    asked = manager.put("/settings/weather", json={"values": values}, headers=headers)
    assert asked.status_code == 409, asked.text
    assert asked.json()["falls"]
    assert manager.get("/settings/weather").headers["etag"] == now.headers["etag"]
    yes = manager.put("/settings/weather?although_falls=true", json={"values": values}, headers=headers)
    assert yes.status_code == 200, yes.text


def test_what_makes_nothing_fall_is_changed_at_once(posted: FastAPI) -> None:
    office, job = client(posted, Role.office), planned_install(posted)
    assert put(office, f"/visits/{job.id}", {"note": "rings twice"}).status_code == 200


def test_a_request_that_was_asked_is_sent_again_with_its_yes_under_a_key_of_its_own(posted: FastAPI) -> None:
    office, job = client(posted, Role.office), planned_install(posted)
    address = f"/visits/{job.id}"
    for _ in range(2):
        assert put(office, address, {"hands": 19}, key="one").status_code == 409
    assert put(office, address, {"hands": 19}, params={"although_falls": "true"}, key="one").status_code == 200
    assert office.get(address).json()["hands"] == 19


def test_an_order_with_visits_stays_at_their_site(posted: FastAPI) -> None:
    office, job = client(posted, Role.office), planned_install(posted)
    with transaction(posted.state.database) as session:
        order = session.get_one(tables.Order, job.order_id)
        other = session.exec(select(tables.Site).where(tables.Site.id != order.site_id)).first()
        assert other is not None
        address, elsewhere = f"/orders/{order.id}", {"site_id": other.id, "customer_id": other.customer_id}
    refused = put(office, address, elsewhere)
    assert refused.status_code == 409, refused.text
    assert job.id in refused.json()["detail"]
    assert put(office, address, {"note": "paid"}).status_code == 200


def test_papers_that_have_to_be_made_anew_keep_no_change_waiting_for_itself(posted: FastAPI) -> None:
    """What the week rests on is made and stored while it is looked at; on SQLite one writes at a time."""
    office, job = client(posted, Role.office), planned_install(posted)
    with transaction(posted.state.database) as session:
        for row in session.exec(select(tables.Prepared)).all():
            session.delete(row)
    assert put(office, f"/visits/{job.id}", {"hands": 19}).status_code == 409
