"""Below /v1, for programs, each address does what it does without, answers with JSON and leads on below /v1."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.access.guards import statements
from api.http.first_version import asked
from tests.service.cast import JSON, PAGE, anonymous, signed_in

ADA = {"name": "Ada Marlow", "phone": "555-0142"}


def test_what_a_program_makes_and_lists_below_v1_leads_on_below_v1(app: FastAPI) -> None:
    office = signed_in(app, Role.office)
    del office.headers["accept"]  # a program that says nothing of what it takes
    made = [office.post("/v1/customers", json={**ADA, "name": f"Ada {n}"}) for n in range(3)]
    assert [answer.status_code for answer in made] == [201] * 3
    assert office.get(made[0].headers["location"]).json()["name"] == "Ada 0"
    assert made[0].headers["location"].startswith("/v1/customers/")
    seen, at = list[str](), "/v1/customers?limit=2"
    while at:
        answer = office.get(at)
        assert urlsplit(at).path == "/v1/customers"
        seen += [one["name"] for one in answer.json()["items"]]
        at = answer.links["next"]["url"] if "next" in answer.links else ""
    assert seen == [one["name"] for one in office.get("/customers", headers=JSON).json()["items"]]
    assert len(seen) == 3


@pytest.mark.slow
def test_every_address_that_is_read_without_an_id_answers_alike_with_the_version_and_without(app: FastAPI) -> None:
    """But as JSON, whoever asks: a page is for people, and lies where it always did."""
    manager = signed_in(app, Role.manager)
    paths = {
        path
        for method, path, _ in statements(app)
        if method == "GET" and "{" not in path and path not in ("/", "/metrics")
    }
    told = 0
    for path in sorted(paths):
        with_version, without = (manager.get(f"{start}{path}", headers=JSON) for start in ("/v1", ""))
        assert with_version.status_code == without.status_code, path
        if without.headers.get("content-type") == "application/json":
            told += 1
            page_asked = manager.get(f"/v1{path}", headers=PAGE)
            assert page_asked.headers["content-type"] == "application/json", path
            assert type(page_asked.json()) is type(without.json()), path
    assert told > 20


def test_who_may_do_what_is_the_same(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    assert reader.post("/v1/customers", json=ADA).status_code == 403
    assert anonymous(app).get("/v1/customers").status_code == 401
    office = signed_in(app, Role.office)
    del office.headers["X-CSRF-Token"]
    assert office.post("/v1/customers", json=ADA).status_code == 403


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/v1/customers/C-0"),  # found by the address itself
        ("GET", "/v1/nothing"),
        ("PATCH", "/v1/customers"),
        ("POST", "/v1/customers"),
        ("GET", "/v1/customers/%D0%96-1%2F2"),
        ("GET", "/customers/C-0"),
        ("GET", "/v1/v1/customers"),
    ],
)
def test_a_refusal_names_the_address_that_was_asked(app: FastAPI, method: str, path: str) -> None:
    refused = signed_in(app, Role.office).request(method, path, json={}, headers=JSON)
    assert refused.status_code in (404, 405, 422)
    assert refused.json()["instance"] == path


def test_a_refusal_names_an_address_that_is_none_as_a_uri_has_it() -> None:
    scope = {"path": "/v1/customers/a b", "raw_path": b'/v1/customers/%zz"<\xd6>'}
    assert asked(scope) == "/v1/customers/%25zz%22%3C%D6%3E"
    assert asked({"path": "/v1/customers/a b"}) == "/v1/customers/a%20b"


def test_a_version_that_is_not_there_and_what_is_for_no_program_are_not_found(app: FastAPI) -> None:
    manager: TestClient = signed_in(app, Role.manager)
    for path in ("/v2/customers", "/v1/v1/customers", "/v1", "/v1/", "/v1customers", "/v1/metrics"):
        assert manager.get(path, headers=JSON).status_code == 404, path


def test_the_description_names_the_version(app: FastAPI) -> None:
    described = signed_in(app, Role.manager).get("/v1/openapi.json").json()
    assert described["servers"] == [{"url": "/v1"}]
    assert "/customers" in described["paths"]
