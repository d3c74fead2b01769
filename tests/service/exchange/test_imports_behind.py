"""Tables taken in behind the page: in a process of its own that tells how far it is, one at a time, whole or not."""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.exchange import imports as module
from api.exchange.imports import KEPT
from tests.service.cast import JSON, PAGE, add_yard, csrf_in, running, settings_for, signed_in
from tests.waiting import until

pytestmark = pytest.mark.slow

CUSTOMERS = "customer,name,phone,email,note\n" + "".join(
    f"C-{n:04},Betony Sallowfield,555-{n:04},b{n}@example.org,\n" for n in range(300)
)
BEHIND = JSON | {"Prefer": "respond-async"}


@pytest.fixture(scope="module")
def service(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    folder = tmp_path_factory.mktemp("imports")
    (folder / "eaveboard.sqlite").write_bytes(migrated_file.read_bytes())
    with running(replace(settings_for(folder), preparers=1)) as app:
        add_yard(app.state.database)
        yield app


@pytest.fixture
def client(service: FastAPI) -> TestClient:
    return signed_in(service, Role.office)


def sent(client: TestClient, text: str = CUSTOMERS, **form: str) -> Any:
    return client.post("/exchange/imports", files={"file": ("customers.csv", text)}, data=form, headers=BEHIND)


def begun(client: TestClient, text: str = CUSTOMERS, **form: str) -> Any:
    """Send a file; the one before says that it is over a moment before the next has its turn."""
    answers: list[Any] = []

    def has_its_turn() -> bool:
        answers.append(sent(client, text, **form))
        return bool(answers[-1].status_code != 409)

    until(has_its_turn)
    return answers[-1]


def ended(client: TestClient, address: str) -> dict[str, Any]:
    """Wait until a run is over; return what is said of it then."""
    until(lambda: client.get(address, headers=JSON).json()["state"] != "working")
    return dict(client.get(address, headers=JSON).json())


def test_a_table_is_tried_and_taken_in_by_another_process_that_tells_how_far_it_is(client: TestClient) -> None:
    answer = begun(client)
    assert (answer.status_code, answer.headers["preference-applied"]) == (202, "respond-async")
    assert sent(client).status_code == 409  # one at a time
    tried = ended(client, answer.headers["location"])
    assert (tried["state"], tried["faults"], tried["told"]["kept"]) == ("done", [], False)
    assert (tried["done"], tried["total"]) == (300, 300)
    assert client.get("/customers", headers=JSON).json()["items"] == []
    kept = begun(client, run="keep", expected=tried["told"]["fingerprint"])
    done = ended(client, kept.headers["location"])
    assert done["told"]["tables"] == [{"table": "customers", "new": 300, "changed": 0, "unchanged": 0}]
    assert done["total"] == 600
    assert len(client.get("/customers?limit=200", headers=JSON).json()["items"]) == 200
    line = signed_in(client.app, Role.manager).get("/history?limit=1", headers=JSON).json()["items"][0]  # type: ignore[arg-type]
    assert (line["by"], line["did"], line["noun_id"]) == ("olive", "imported, new", "C-0299")
    page = client.get(kept.headers["location"], headers=PAGE).text
    assert "✓ Taken in." in page


def test_what_is_wrong_is_told_by_its_cell_and_nothing_is_kept(client: TestClient) -> None:
    wrong = "customer,name,phone,email,note\nC-9001,Good Name,555-1,,\nC-9002,,555-2,not mail,\n"
    address = begun(client, wrong, run="keep").headers["location"]
    found = ended(client, address)
    assert (found["state"], found["told"]) == ("failed", None)
    assert {fault["row"] for fault in found["faults"]} == {3}
    assert "customers.csv, row 3, name" in [fault["where"] for fault in found["faults"]]
    assert client.get("/customers/C-9001", headers=JSON).status_code == 404
    page = client.get(address, headers=PAGE).text
    assert "Nothing was taken in:" in page
    assert client.get("/exchange/imports/unknown", headers=JSON).status_code == 404


def test_a_process_that_is_killed_is_told_keeps_nothing_and_the_next_is_taken(
    client: TestClient, service: FastAPI
) -> None:
    before = multiprocessing.active_children()
    more = CUSTOMERS.replace("C-", "K-")
    address = begun(client, more, run="keep").headers["location"]
    end = time.monotonic() + 30
    while not (new := [one for one in multiprocessing.active_children() if one not in before]):
        assert time.monotonic() < end
    assert all(one.pid != os.getpid() for one in new)
    for child in new:
        child.kill()
    found = ended(client, address)
    assert found["state"] == "failed"
    assert "was broken off: send it again" in found["faults"][0]["problem"]
    assert client.get("/customers/K-0000", headers=JSON).status_code == 404
    assert ended(client, begun(client, more).headers["location"])["state"] == "done"
    [path] = (Path(service.state.settings.data) / "imports").glob("*.json")
    old = msgspec.json.decode(path.read_bytes(), type=module.Import)
    address, old.begun_at = f"/exchange/imports/{old.id}", old.begun_at - 2 * KEPT
    assert client.get(address, headers=JSON).status_code == 200
    old.keep()
    assert client.get(address, headers=JSON).status_code == 404


def test_the_page_says_how_far_it_is(client: TestClient, service: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    go = threading.Event()

    def slowly(*_: Any, step: Callable[[int, int], None], **__: Any) -> None:
        step(120, 3000)
        go.wait(30)
        raise module.BrokenOff

    monkeypatch.setattr(module, "behind", slowly)
    address = begun(client).headers["location"]
    until(lambda: client.get(address, headers=JSON).json()["done"] == 120)
    page = client.get(address, headers=PAGE).text
    assert "120 of 3000 rows" in page
    assert 'http-equiv="refresh"' in page
    assert csrf_in(page)
    go.set()
    assert ended(client, address)["state"] == "failed"
