"""What the tests of addresses share: the hour, and what the office does on the pages."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.office.test_entry import form_of

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


def set_source(app: FastAPI, kind: str, address: str = "") -> None:
    """Set where addresses are looked up, by its page of the settings."""
    manager = signed_in(app, Role.manager)
    manager.headers.update(PAGE)
    page = manager.get("/settings/places").text
    sent = form_of(page) | {"kind": kind, "address": address, "contact": "office@example.org"}
    answer = manager.post("/settings/places", data=sent)
    assert answer.status_code == 303, answer.text


def found(client: TestClient, address: str, town: str = "") -> dict[str, Any]:
    answer = client.post("/places/find", json={"address": address, "town": town}, headers=JSON)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told
