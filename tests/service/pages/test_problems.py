"""What went wrong: problem documents (RFC 9457) to programs, pages to people, declared in the OpenAPI."""

from __future__ import annotations

from typing import Annotated, Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.exc import IntegrityError

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow
from api.fields.files.sheets import BadFiles
from api.http.problems import KINDS, MEDIA_TYPE, bad_fields
from scheduler.errors import BadInput
from tests.service.cast import PAGE, anonymous, signed_in

OWN = ("/bad", "/bad-files", "/at-once", "/broken")  # of this test, which no subject declares


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    """A client of the application with addresses that fail in each way."""

    def fail(address: str, fault: Exception) -> None:
        @app.get(address)
        def failing(_: Annotated[Who, allow(*STAFF)]) -> None:
            raise fault

    faults = (
        BadInput("jobs[2].end", "must come after start (480), is 400"),
        BadFiles([BadInput("vans.csv, row 2", "is long"), BadInput("", "no rows")]),
        IntegrityError("INSERT a secret", None, Exception("UNIQUE")),
        RuntimeError("a secret detail"),
    )
    for address, fault in zip(OWN, faults, strict=True):
        fail(address, fault)
    client = signed_in(app, Role.office)
    return TestClient(app, cookies=client.cookies, headers=dict(client.headers), raise_server_exceptions=False)


def document(client: TestClient, address: str, **sent: Any) -> dict[str, Any]:
    answer = client.request(sent.pop("method", "GET"), address, **sent)
    assert answer.headers["content-type"] == MEDIA_TYPE
    told: dict[str, Any] = answer.json()
    assert {"type", "title", "status", "detail", "instance"} <= set(told)
    assert (told["status"], told["instance"]) == (answer.status_code, address.partition("?")[0])
    return told


def test_bad_input_says_where(client: TestClient) -> None:
    told = document(client, "/bad")
    assert (told["status"], told["type"], told["where"]) == (422, "/problems/bad-input", "jobs[2].end")
    assert told["detail"] == "jobs[2].end: must come after start (480), is 400"


def test_every_fault_of_files_and_of_forms_is_told(client: TestClient) -> None:
    assert document(client, "/bad-files")["errors"] == [
        {"where": "vans.csv, row 2", "problem": "is long"},
        {"where": "", "problem": "no rows"},
    ]
    told = document(client, "/customers?limit=0&after=%00")
    assert {error["where"] for error in told["errors"]} == {"query.limit", "query.after"}
    told = document(client, "/customers", method="POST", content="{", headers={"content-type": "application/json"})
    assert told["status"] == 422
    assert document(client, "/weeks/soon")["where"] == "path.start_date"


@pytest.mark.parametrize(("address", "method", "status"), [("/nothing", "GET", 404), ("/customers", "PATCH", 405)])
def test_what_the_framework_refuses_has_the_same_form(
    client: TestClient, address: str, method: str, status: int
) -> None:
    assert document(client, address, method=method)["status"] == status


def test_an_unexpected_error_says_nothing_of_the_inside(client: TestClient) -> None:
    told = document(client, "/broken")
    assert told["status"] == 500
    assert "secret" not in str(told)
    page = client.get("/broken", headers=PAGE)
    assert page.status_code == 500
    assert "secret" not in page.text
    assert "Something broke on our side" in page.text
    assert page.headers["x-content-type-options"] == "nosniff"


def test_what_only_the_database_has_seen_is_told_as_a_clash(client: TestClient) -> None:
    told = document(client, "/at-once")
    assert (told["status"], told["type"]) == (409, "/problems/changed-meanwhile")
    assert "secret" not in str(told)


def test_people_get_pages_with_the_same_words(client: TestClient) -> None:
    for address, words in (("/bad", "jobs[2].end"), ("/bad-files", "vans.csv, row 2"), ("/nothing", "There is no")):
        answer = client.get(address, headers=PAGE)
        assert answer.headers["content-type"].startswith("text/html")
        assert words in answer.text
        assert "olive" in answer.text or address == "/nothing"


def test_a_form_that_cannot_be_read_is_refused_in_plain_words_and_leads_back(client: TestClient) -> None:
    came = {"referer": "http://testserver/bench?yard=north"}
    refused = client.post("/shorts/1/arrived", data={"pieces": "twelve"}, headers=PAGE | came)
    assert (refused.status_code, refused.headers["content-type"][:9]) == (422, "text/html")
    assert "<b>pieces</b>: must be a whole number, is &#34;twelve&#34;" in refused.text
    assert '<a href="/bench?yard=north">Back to what you typed</a>' in refused.text
    elsewhere = client.post("/shorts/1/arrived", data={}, headers=PAGE | {"referer": "https://other.example/x"})
    assert "<b>pieces</b>: is missing" in elsewhere.text
    assert "Back to what you typed" not in elsewhere.text
    hidden = client.post("/shorts/1/arrived", data={}, headers=PAGE | {"referer": "http://testserver//other.example/x"})
    assert "<b>pieces</b>: is missing" in hidden.text
    assert "other.example" not in hidden.text  # a link to "//other.example/x" leaves the service
    client.cookies.set("eave-language", "es")
    spanish = client.post("/shorts/1/arrived", data={"pieces": "doce"}, headers=PAGE | came)
    assert "debe ser un número entero" in spanish.text


def test_a_text_that_is_too_long_is_told_in_letters(client: TestClient) -> None:
    refused = client.post("/shorts/1", data={"ordered_on": "tomorrow or so"}, headers=PAGE)
    assert "<b>ordered on</b>: must have at most 10 letters, has 14" in refused.text


def test_without_a_session_a_program_gets_401_and_a_person_the_form(app: FastAPI) -> None:
    nobody = anonymous(app)
    answer = nobody.get("/customers")
    assert (answer.status_code, answer.headers["content-type"]) == (401, MEDIA_TYPE)
    assert "Session" in answer.headers["www-authenticate"]
    assert nobody.get("/customers", headers=PAGE).headers["location"] == "/sign-in?next=%2Fcustomers"
    assert nobody.post("/customers", headers=PAGE).status_code == 401


def test_the_type_of_a_problem_leads_to_what_it_is(app: FastAPI) -> None:
    nobody = anonymous(app)
    for kind, title in KINDS.items():
        assert nobody.get(f"/problems/{kind}").text == f"{title}.\n"
    assert nobody.get("/problems/other").status_code == 404


def test_the_openapi_declares_problems_and_nothing_of_the_framework_s_own_form(client: TestClient) -> None:
    described = client.get("/openapi.json").json()
    for path, operations in described["paths"].items():
        if path in OWN:
            continue
        for method, operation in operations.items():
            for status in ("401", "403", "404", "422", "500"):
                assert MEDIA_TYPE in operation["responses"][status]["content"], (method, path)
    assert "HTTPValidationError" not in str(described)
    put = described["paths"]["/customers/{customer_id}"]["put"]["responses"]
    assert {"400", "409", "412", "428"} <= set(put)
    sent = {parameter["name"] for parameter in described["paths"]["/customers/{customer_id}"]["put"]["parameters"]}
    assert {"If-Match", "Idempotency-Key"} <= sent


def test_one_fault_is_a_list_of_one() -> None:
    problem = bad_fields([("name", "is missing")])
    assert (problem.status, problem.members["errors"]) == (422, [{"where": "name", "problem": "is missing"}])
