"""Two who edit the same: the version that was read must be named, and of two edits of one version one is refused."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import signed_in

BODY = {"name": "Odile Marrack"}


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    return signed_in(app_on_either, Role.office)


@pytest.fixture
def address(office: TestClient) -> str:
    return str(office.post("/customers", json=BODY).headers["location"])


def test_without_a_version_nothing_is_changed(office: TestClient, address: str) -> None:
    for answer in (office.put(address, json={"name": "Other"}), office.delete(address)):
        assert (answer.status_code, answer.json()["type"]) == (428, "/problems/no-version")
    assert office.get(address).json()["name"] == "Odile Marrack"


def test_an_old_version_is_refused_with_both_shown(office: TestClient, address: str) -> None:
    assert office.put(address, json={"name": "First"}, headers={"If-Match": '"1"'}).status_code == 200
    refused = office.put(address, json={"name": "Second"}, headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.headers["etag"]) == (412, '"2"')
    told: dict[str, Any] = refused.json()
    assert (told["current"]["name"], told["sent"]["name"]) == ("First", "Second")
    assert told["current"]["version"] == 2
    assert office.get(address).json()["name"] == "First"
    assert office.delete(address, headers={"If-Match": '"1"'}).status_code == 412


def test_the_caller_who_has_the_version_already_gets_no_body(office: TestClient, address: str) -> None:
    same = office.get(address, headers={"If-None-Match": '"7", "1"'})
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", '"1"')
    assert office.get(address, headers={"If-None-Match": '"2"'}).status_code == 200


def test_a_weak_or_quoteless_tag_names_no_version(office: TestClient, address: str) -> None:
    for tag in ('W/"1"', "1", ""):
        assert office.put(address, json=BODY, headers={"If-Match": tag}).status_code == 412


@pytest.mark.race
def test_of_many_edits_of_one_version_at_once_just_one_is_kept(
    app_on_either: FastAPI, office: TestClient, address: str
) -> None:
    clients = [signed_in(app_on_either, Role.office) for _ in range(4)]

    def edit(n: int) -> int:
        return clients[n].put(address, json={"name": f"Name {n}"}, headers={"If-Match": '"1"'}).status_code

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(edit, range(4)))
    assert sorted(answers) == [200, 412, 412, 412]
    kept = office.get(address).json()
    assert (kept["name"], kept["version"]) == (f"Name {answers.index(200)}", 2)
    lines = office.get("/history", params={"noun_id": kept["id"]}).json()["items"]
    assert [line["did"] for line in lines] == ["changed", "made"]
