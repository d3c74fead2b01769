"""Writes sent again: the work is done once, whatever a phone repeats, also at the same moment."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Annotated

import pytest
from fastapi import FastAPI, Request, UploadFile
from fastapi.responses import Response
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow
from api.access.idempotency import ABANDONED_SECONDS, KEPT_DAYS, Once, forget_old
from api.database import transaction
from api.fields.ids import new_id
from api.http.pages import Database
from tests.service.cast import running, settings_for, signed_in

BODY = {"name": "Odile Marrack"}


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    return signed_in(app_on_either, Role.office)


def customers(app: FastAPI) -> list[str]:
    with transaction(app.state.database) as session:
        return [row.name for row in session.exec(select(tables.Customer).order_by(tables.Customer.name))]


def test_the_same_request_again_gets_the_first_answer_and_does_nothing(
    app_on_either: FastAPI, office: TestClient
) -> None:
    first = office.post("/customers", json=BODY, headers={"Idempotency-Key": "k-1"})
    again = office.post("/customers", json=BODY, headers={"Idempotency-Key": '"k-1"'})
    assert (first.status_code, first.json()) == (again.status_code, again.json())
    for name in ("content-type", "location", "etag"):
        assert first.headers[name] == again.headers[name]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert customers(app_on_either) == ["Odile Marrack"]


def test_a_key_is_good_for_one_request_only(app_on_either: FastAPI, office: TestClient) -> None:
    address = office.post("/customers", json=BODY, headers={"Idempotency-Key": "k-1"}).headers["location"]
    other_body = office.post("/customers", json={"name": "Other"}, headers={"Idempotency-Key": "k-1"})
    other_address = office.put(address, json=BODY, headers={"Idempotency-Key": "k-1", "If-Match": '"1"'})
    for answer in (other_body, other_address):
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/key-reused")
    assert customers(app_on_either) == ["Odile Marrack"]


def test_a_key_belongs_to_its_caller(app_on_either: FastAPI, office: TestClient) -> None:
    manager = signed_in(app_on_either, Role.manager)
    for client in (office, manager):
        assert client.post("/customers", json=BODY, headers={"Idempotency-Key": "k-1"}).status_code == 201
    assert len(customers(app_on_either)) == 2


def test_a_change_and_a_delete_can_be_repeated_though_the_version_has_moved_on(office: TestClient) -> None:
    address = office.post("/customers", json=BODY).headers["location"]
    for _ in range(2):
        put = office.put(address, json={"name": "New"}, headers={"Idempotency-Key": "p", "If-Match": '"1"'})
        assert (put.status_code, put.headers["etag"]) == (200, '"2"')
    for _ in range(2):
        assert office.delete(address, headers={"Idempotency-Key": "d", "If-Match": '"2"'}).status_code == 204


def test_a_refusal_is_not_kept(app_on_either: FastAPI, office: TestClient) -> None:
    headers = {"Idempotency-Key": "k-1"}
    site = {"customer_id": "C-later", "town": "T", "address": "1 Row", "lat": 41.0, "lon": -98.0}
    assert office.post("/sites", json=site, headers=headers).status_code == 422
    with transaction(app_on_either.state.database) as session:
        session.add(tables.Customer(id="C-later", name="Later", phone="", email=""))
    assert office.post("/sites", json=site, headers=headers).status_code == 201
    assert office.post("/sites", json=site, headers=headers).headers["idempotency-replayed"] == "true"


def test_a_key_that_is_none_is_refused(app: FastAPI) -> None:
    client = signed_in(app, Role.office)
    for key in ("", " ", "a b", '""', "x" * 201, "é"):
        answer = client.post("/customers", json=BODY, headers=[(b"Idempotency-Key", key.encode())])
        assert answer.status_code == 400, key
    assert customers(app) == []


@pytest.mark.race
def test_many_at_the_same_moment_do_it_once(app_on_either: FastAPI, office: TestClient) -> None:
    clients = [signed_in(app_on_either, Role.office) for _ in range(6)]

    def post(client: TestClient) -> tuple[int, str]:
        answer = client.post("/customers", json=BODY, headers={"Idempotency-Key": "k-1"})
        return answer.status_code, answer.text

    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(post, clients))
    assert {status for status, _ in answers} <= {201, 409}
    assert len({text for status, text in answers if status == 201}) == 1
    assert customers(app_on_either) == ["Odile Marrack"]
    assert post(office)[0] == 201  # who got 409 asks again and gets the answer
    assert customers(app_on_either) == ["Odile Marrack"]


@pytest.fixture
def slow(app_on_either: FastAPI) -> Iterator[tuple[FastAPI, threading.Event, threading.Event]]:
    """The application with a write that waits in its middle, as it is reached (first event), for the second event."""
    reached, go_on = threading.Event(), threading.Event()

    @app_on_either.post("/slow")
    def write(session: Database, once: Once, _: Annotated[Who, allow(Role.office)]) -> Response:
        def work() -> Response:
            reached.set()
            assert go_on.wait(20)
            session.add(tables.Customer(id=new_id("C"), name="slow", phone="", email=""))
            return Response("done")

        return once(session, work)

    yield app_on_either, reached, go_on
    go_on.set()


@pytest.mark.race
def test_while_the_first_is_under_way_the_same_is_told_to_wait(
    slow: tuple[FastAPI, threading.Event, threading.Event],
) -> None:
    app, reached, go_on = slow
    one, two = signed_in(app, Role.office), signed_in(app, Role.office)
    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(one.post, "/slow", headers={"Idempotency-Key": "k"})
        assert reached.wait(20)
        waits = two.post("/slow", headers={"Idempotency-Key": "k"})
        assert (waits.status_code, waits.json()["type"]) == (409, "/problems/under-way")
        assert int(waits.headers["retry-after"]) > 0
        go_on.set()
        assert first.result(20).text == "done"
    assert two.post("/slow", headers={"Idempotency-Key": "k"}).text == "done"
    assert customers(app) == ["slow"]


@pytest.mark.race
def test_one_that_was_cut_off_is_taken_up_anew_and_never_counted_twice(
    slow: tuple[FastAPI, threading.Event, threading.Event],
) -> None:
    app, reached, go_on = slow
    one, two = signed_in(app, Role.office), signed_in(app, Role.office)
    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(one.post, "/slow", headers={"Idempotency-Key": "k"})
        assert reached.wait(20)
        long_ago = datetime.datetime.now(datetime.UTC) - datetime.timedelta(seconds=ABANDONED_SECONDS + 1)
        with transaction(app.state.database) as session:
            (row,) = session.exec(select(tables.KeptAnswer)).all()
            row.claimed_at = long_ago
            session.add(row)
        reached.clear()
        second = ThreadPoolExecutor(1).submit(two.post, "/slow", headers={"Idempotency-Key": "k"})
        assert reached.wait(20)
        go_on.set()
        assert second.result(20).text == "done"
        assert first.result(20).status_code == 409  # its work was rolled back: the second one holds the key
    assert customers(app) == ["slow"]


def test_a_photo_repeated_with_another_border_is_the_same_request(app: FastAPI) -> None:
    @app.post("/photo")
    def photo(
        session: Database, once: Once, _: Annotated[Who, allow(Role.office)], request: Request, file: UploadFile
    ) -> Response:
        return once(session, lambda: Response(file.file.read()))

    client = signed_in(app, Role.office)
    headers = {"Idempotency-Key": "k"}
    for expected in (None, "true"):
        answer = client.post("/photo", files={"file": ("wall.jpg", b"picture")}, headers=headers)
        assert (answer.content, answer.headers.get("idempotency-replayed")) == (b"picture", expected)
    assert client.post("/photo", files={"file": ("wall.jpg", b"another")}, headers=headers).status_code == 422


def test_old_answers_are_forgotten_and_newer_ones_kept(app: FastAPI) -> None:
    client = signed_in(app, Role.office)
    client.post("/customers", json=BODY, headers={"Idempotency-Key": "k"})
    now = datetime.datetime.now(datetime.UTC)
    forget_old(app.state.database, now + datetime.timedelta(days=KEPT_DAYS - 1))
    assert client.post("/customers", json=BODY, headers={"Idempotency-Key": "k"}).headers["idempotency-replayed"]
    forget_old(app.state.database, now + datetime.timedelta(days=KEPT_DAYS + 1))
    assert "idempotency-replayed" not in client.post("/customers", json=BODY, headers={"Idempotency-Key": "k"}).headers


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_for(tmp_path_factory.mktemp("shared"))) as app:
        yield app


_requests = st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(["Anna", "Bert"])), min_size=1, max_size=6)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sent=_requests)
def test_any_order_of_requests_does_what_the_first_of_each_key_asked(
    shared: FastAPI, sent: list[tuple[str, str]]
) -> None:
    """The rule itself: the first request of a key is done; later ones are its echo if the same, 422 if another."""
    with transaction(shared.state.database) as session:
        for row in [*session.exec(select(tables.Customer)), *session.exec(select(tables.KeptAnswer))]:
            session.delete(row)
    client = signed_in(shared, Role.office)
    first: dict[str, tuple[str, str]] = {}
    for key, name in sent:
        answer = client.post("/customers", json={"name": name}, headers={"Idempotency-Key": key})
        if key not in first:
            assert answer.status_code == 201
            first[key] = (name, answer.text)
        elif first[key][0] == name:
            assert (answer.status_code, answer.text) == (201, first[key][1])
        else:
            assert answer.status_code == 422
    assert customers(shared) == sorted(name for name, _ in first.values())
