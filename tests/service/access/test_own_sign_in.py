"""One's own sign-in: the password again before what is grave, what was changed on it, and the end of all sessions."""

from __future__ import annotations

import datetime

import pyotp
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access import second_factor
from api.access.accounts import Role
from api.access.proof import MINUTES
from api.access.tries import TRIES_BY_NAME
from api.database import transaction
from tests.service.cast import JSON, NAMES, PAGE, PASSWORD, anonymous, csrf_in, frozen, sign_in, signed_in_by_form

NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)
LATER = NOON + datetime.timedelta(minutes=MINUTES + 1)


def account_id(app: FastAPI, role: Role) -> int:
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.Account).where(tables.Account.name == NAMES[role])).one()
    assert row.id is not None
    return row.id


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    with frozen(NOON):
        return signed_in_by_form(app, Role.manager)


GRAVE = [
    ("/who-may-sign-in", {"name": "newcomer", "role": "office"}),
    ("/who-may-sign-in/{reader}", {"role": "office", "active": "yes"}),
    ("/who-may-sign-in/{reader}/reset", {}),
    ("/who-may-sign-in/{reader}/second-factor/end", {}),
    ("/tokens", {"name": "shop", "scopes": "read"}),
    ("/customers/C-1/erase", {"sure": "C-1"}),
    ("/sessions/end", {}),
]


@pytest.mark.parametrize(("address", "data"), GRAVE)
def test_what_is_grave_asks_for_the_password_again_after_some_minutes(
    app: FastAPI, manager: TestClient, address: str, data: dict[str, str]
) -> None:
    address = address.format(reader=account_id(app, Role.reader))
    with frozen(LATER):
        refused = manager.post(address, data=data, headers=JSON)
        assert (refused.status_code, refused.json()["type"]) == (403, "/problems/give-password")
        assert manager.post("/prove", data={"old": "wrong"}, headers=JSON).status_code == 422
        assert manager.post(address, data=data, headers=JSON).status_code == 403
        assert manager.post("/prove", data={"old": PASSWORD}, headers=JSON).json() == {"minutes": MINUTES}
        assert manager.post(address, data=data, headers=JSON).status_code in (200, 201, 404)


def test_a_browser_is_led_to_the_password_and_back_to_its_page(app: FastAPI, manager: TestClient) -> None:
    with frozen(LATER):
        sent = {"name": "newcomer", "role": "office", "crew_id": ""}
        led = manager.post(
            "/who-may-sign-in", data=sent, headers=PAGE | {"referer": "http://testserver/who-may-sign-in"}
        )
        assert (led.status_code, led.headers["location"]) == (303, "/prove?next=%2Fwho-may-sign-in")
        page = manager.get(led.headers["location"], headers=PAGE).text
        form = {"csrf": csrf_in(page), "next": "/who-may-sign-in"}
        again = manager.post("/prove", data=form | {"old": "wrong"}, headers=PAGE)
        assert (again.status_code, "is not the password" in again.text) == (422, True)
        back = manager.post("/prove", data=form | {"old": PASSWORD}, headers=PAGE)
        assert (back.status_code, back.headers["location"]) == (303, "/who-may-sign-in")
        assert manager.post("/who-may-sign-in", data=sent, headers=PAGE).status_code == 201
        away = manager.post("/prove", data=form | {"old": PASSWORD, "next": "//evil.example"}, headers=PAGE)
        assert away.headers["location"] == "/"


def test_where_codes_are_asked_for_the_password_alone_is_not_enough(app: FastAPI) -> None:
    now = datetime.datetime.now(datetime.UTC)
    with transaction(app.state.database) as session:
        account = session.get_one(tables.Account, account_id(app, Role.manager))
        second_factor.begin(session, account, now)
        session.flush()
        key = session.get_one(tables.SecondFactor, account.id).key
    client = signed_in_by_form(app, Role.manager)
    with transaction(app.state.database) as session:
        session.get_one(tables.SecondFactor, account.id).since = now
    assert client.get("/prove", headers=JSON).json() == {"code_asked": True}
    assert client.post("/prove", data={"old": PASSWORD}, headers=JSON).status_code == 422
    assert client.post("/prove", data={"old": PASSWORD, "code": pyotp.TOTP(key).now()}, headers=JSON).status_code == 200


def test_guessing_the_password_there_has_to_wait(app: FastAPI, manager: TestClient) -> None:
    with frozen(LATER):
        tried = [manager.post("/prove", data={"old": "wrong"}, headers=JSON).status_code for _ in range(7)]
    assert tried[:TRIES_BY_NAME] == [422] * TRIES_BY_NAME
    assert tried[-1] == 429


def test_what_was_changed_on_ones_sign_in_is_read_at_the_next_one(app: FastAPI) -> None:
    manager, reader = signed_in_by_form(app, Role.manager), account_id(app, Role.reader)
    assert manager.post(f"/who-may-sign-in/{reader}", data={"role": "office", "active": "yes"}).status_code == 303
    client = anonymous(app)
    form = {
        "csrf": csrf_in(client.get("/sign-in", headers=PAGE).text),
        "name": NAMES[Role.reader],
        "password": PASSWORD,
    }
    led = client.post("/sign-in", data=form | {"next": "/jobs"}, headers=PAGE)
    assert led.headers["location"] == "/notices?next=%2Fjobs"
    page = client.get(led.headers["location"], headers=PAGE).text
    assert "maud changed the sign-in" in page
    assert "role from “read-only” to “office”" in page
    on = client.post("/notices/read", data={"csrf": csrf_in(page), "next": "/jobs"}, headers=PAGE)
    assert on.headers["location"] == "/jobs"
    assert [line["read"] for line in client.get("/notices", headers=JSON).json()["items"]] == [True]
    again = anonymous(app)
    form["csrf"] = csrf_in(again.get("/sign-in", headers=PAGE).text)
    assert again.post("/sign-in", data=form | {"next": "/jobs"}, headers=PAGE).headers["location"] == "/jobs"
    assert signed_in_by_form(app, Role.office).get("/notices", headers=JSON).json() == {
        "items": [],
        "next": None,
    }  # nobody else's


def test_all_other_sessions_end_at_once_and_the_history_says_so(app: FastAPI) -> None:
    here, there = signed_in_by_form(app, Role.office), sign_in(anonymous(app), NAMES[Role.office])
    assert "End all others" in here.get("/password", headers=PAGE).text
    assert here.post("/sessions/end", headers=JSON).json() == {"ended": 1}
    assert (here.get("/session").status_code, there.get("/session").status_code) == (200, 401)
    with transaction(app.state.database) as session:
        line = session.exec(select(tables.History).where(tables.History.did == "ended other sessions")).one()
    assert (line.by, line.noun_id, line.detail) == ("olive", "olive", {"number": 1})
