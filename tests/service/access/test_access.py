"""Who gets in: one-time passwords once, plain passwords never, the right person always, sessions seen and ended."""

from __future__ import annotations

import datetime
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role, trivial
from api.access.tries import TRIES_BY_NAME
from api.database import transaction
from tests.service.cast import JSON, NAMES, PAGE, PASSWORD, anonymous, frozen, sign_in, signed_in_by_form

NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)


def tried(client: TestClient, name: str, password: str) -> int:
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    data = {"name": name, "password": password, "csrf": csrf}
    return client.post("/sign-in", data=data, headers=JSON).status_code


@pytest.mark.race
def test_a_one_time_password_opens_one_session(app: FastAPI) -> None:
    made = signed_in_by_form(app, Role.manager).post(
        "/who-may-sign-in", data={"name": "perrin", "role": "office"}, headers=JSON
    )
    password = made.json()["one_time_password"]
    first = sign_in(anonymous(app), "perrin", password)
    assert tried(anonymous(app), "perrin", password) == 401
    new = "eight green boats"
    assert first.post("/password", data={"old": password, "new": new, "again": new}).status_code == 303
    assert tried(anonymous(app), "perrin", new) == 200
    with ThreadPoolExecutor(2) as pool:  # of two at once one
        again = (
            signed_in_by_form(app, Role.manager)
            .post(f"/who-may-sign-in/{_id(app, 'perrin')}/reset", headers=JSON)
            .json()
        )
        found = list(pool.map(lambda _: tried(anonymous(app), "perrin", again["one_time_password"]), range(2)))
    assert sorted(found) == [200, 401]


def _id(app: FastAPI, name: str) -> int:
    with transaction(app.state.database) as session:
        return session.exec(select(tables.Account).where(tables.Account.name == name)).one().id or 0


@pytest.mark.parametrize(
    "password",
    ["password12345", "P@ssw0rd1234!", "qwertyuiop12", "123456789012", "abcabcabcabcabc", "abcdefghijkl",
     "Welcome2027!!",
     "monkey123456", "Dragon!2026!", "trustno1trustno1", "iloveyou123456", "maud-olive-1",
     "asdfghjkl;12", "eaveboard2027", "lkjhgfdsapoi", "manager-admin1"],
)  # fmt: skip
def test_passwords_that_are_tried_first_are_refused(app: FastAPI, password: str) -> None:
    client = signed_in_by_form(app, Role.office)
    answer = client.post("/password", data={"old": PASSWORD, "new": password, "again": password}, headers=JSON)
    assert (answer.status_code, answer.json()["where"]) == (422, "new")


@pytest.mark.parametrize("password", [PASSWORD, "east seattle oats", "Tq7-vv2z-mmp4", "häuser am see"])
def test_words_that_one_can_picture_are_taken(password: str) -> None:
    assert not trivial(password)


def test_guessing_elsewhere_does_not_lock_the_right_person_out_of_a_known_browser(app: FastAPI) -> None:
    known = signed_in_by_form(app, Role.office)
    known.post("/sign-out")
    del known.headers["X-CSRF-Token"]
    stranger = anonymous(app)
    assert [tried(stranger, "olive", "wrong") for _ in range(TRIES_BY_NAME + 1)] == [401] * TRIES_BY_NAME + [429]
    assert tried(anonymous(app), "olive", PASSWORD) == 429
    assert tried(known, "olive", PASSWORD) == 200
    # A known browser is no way to guess at that name, nor at another one.
    assert [tried(known, "olive", "wrong") for _ in range(TRIES_BY_NAME + 1)] == [401] * TRIES_BY_NAME + [429]
    stranger.cookies.set("eave-browser", "made.up")
    assert tried(stranger, "olive", PASSWORD) == 429


def test_a_session_that_is_not_used_ends_and_one_that_is_goes_on(app: FastAPI) -> None:
    with frozen(NOON):
        used, idle = signed_in_by_form(app, Role.office), signed_in_by_form(app, Role.reader)
    with frozen(NOON + datetime.timedelta(hours=3)):
        assert used.get("/customers").status_code == 200
    with frozen(NOON + datetime.timedelta(hours=5)):
        assert used.get("/customers").status_code == 200
        assert idle.get("/customers").status_code == 401


def test_ones_sessions_are_listed_and_ended_one_by_one(app: FastAPI) -> None:
    here, there = signed_in_by_form(app, Role.office), signed_in_by_form(app, Role.office)
    stranger = signed_in_by_form(app, Role.reader)
    items = here.get("/sessions", headers=JSON).json()["items"]
    assert sorted(one["this"] for one in items) == [False, True]
    (other,) = [one["id"] for one in items if not one["this"]]
    page = here.get("/password", headers=PAGE).text
    assert f"/sessions/{other}/end" in page
    assert "this one" in page
    assert stranger.post(f"/sessions/{other}/end", headers=JSON).status_code == 404
    assert here.post(f"/sessions/{other}/end", headers=JSON).status_code == 200
    assert there.get("/session").status_code == 401
    assert here.get("/session").status_code == 200


def demote(client: TestClient, account: int) -> int:
    return client.post(f"/who-may-sign-in/{account}", data={"role": "office", "active": "yes"}).status_code


@pytest.mark.race
def test_two_managers_cannot_demote_each_other_at_once(app_on_either: FastAPI) -> None:
    app = app_on_either
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Account).where(tables.Account.name.in_(["manager", "rhea"]))):  # type: ignore[attr-defined]
            row.role, row.active = (Role.manager, True) if row.name == "rhea" else (Role.reader, False)
            session.add(row)
    clients = {name: sign_in(anonymous(app), name) for name in ("maud", "rhea")}
    aims = {"maud": _id(app, "rhea"), "rhea": _id(app, "maud")}
    for _ in range(5):
        with ThreadPoolExecutor(2) as pool:
            both = [pool.submit(demote, clients[name], aims[name]) for name in clients]
            assert {future.result() for future in both} <= {200, 303, 401, 403, 422, 503}
        with transaction(app.state.database) as session:
            rows = session.exec(select(tables.Account).where(tables.Account.role == Role.manager)).all()
            assert [row for row in rows if row.active]
            for row in session.exec(select(tables.Account).where(tables.Account.name.in_(["maud", "rhea"]))):  # type: ignore[attr-defined]
                row.role = Role.manager
                session.add(row)
        clients = {name: sign_in(anonymous(app), name) for name in ("maud", "rhea")}


def test_links_never_begin_with_what_the_caller_calls_this_machine(app: FastAPI) -> None:
    office = signed_in_by_form(app, Role.office)
    tomorrow = datetime.date.today() + datetime.timedelta(days=1)
    evil = JSON | {"host": "evil.example"}
    made = office.post("/day-links", data={"crew_id": "north-1", "day": str(tomorrow)}, headers=evil).json()
    assert made["address"].startswith("http://127.0.0.1:8410/")
    feed = office.get("/crews/north-1/calendar", headers=evil).json()
    assert feed["address"].startswith("http://127.0.0.1:8410/")


def test_personal_pages_are_not_kept_by_browsers(app: FastAPI) -> None:
    for role in NAMES:
        client = signed_in_by_form(app, role)
        assert client.get("/password", headers=PAGE).headers["cache-control"] == "no-store", role
