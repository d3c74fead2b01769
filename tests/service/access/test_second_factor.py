"""A code from a phone at sign-in: set up, asked for, each once; a lost phone, wrong codes, and managers who must."""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyotp
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select
from typer.testing import CliRunner

from api import tables
from api.access.accounts import Role
from api.access.second_factor import RECOVERY_CODES
from api.access.tries import TRIES_BY_NAME
from api.cli import app as commands
from api.database import transaction
from tests.service.cast import (
    JSON,
    PAGE,
    PASSWORD,
    anonymous,
    csrf_in,
    frozen,
    running,
    settings_for,
    signed_in_by_form,
)

pytestmark = pytest.mark.slow

NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)


@pytest.fixture
def app(app: FastAPI) -> Iterator[FastAPI]:
    """The application at noon."""
    with frozen(NOON):
        yield app


def key_of(client: TestClient) -> str:
    address = client.post("/second-factor/begin", data={"old": PASSWORD}, headers=JSON).json()["address"]
    return str(pyotp.parse_uri(address).secret)


def code(key: str, seconds: int = 0) -> str:
    """Return what a phone with `key` shows `seconds` after noon."""
    return pyotp.TOTP(key).at(NOON + datetime.timedelta(seconds=seconds))


def set_up(client: TestClient) -> tuple[str, list[str]]:
    key = key_of(client)
    return key, client.post("/second-factor/confirm", data={"code": code(key)}, headers=JSON).json()["recovery_codes"]


def half_in(app: FastAPI, name: str = "maud") -> tuple[TestClient, str]:
    """Give a client that has given the right password, and its ticket."""
    client = anonymous(app)
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    client.headers["X-CSRF-Token"] = csrf
    answer = client.post("/sign-in", data={"name": name, "password": PASSWORD}, headers=JSON)
    assert answer.status_code == 202, answer.text
    return client, answer.json()["ticket"]


def give(client: TestClient, ticket: str, typed: str) -> Any:
    return client.post("/sign-in/code", data={"ticket": ticket, "code": typed}, headers=JSON)


def history(app: FastAPI) -> list[tuple[str, str, str]]:
    with transaction(app.state.database) as session:
        lines = session.exec(select(tables.History).where(tables.History.noun == "account").order_by("id"))
        return [(line.by, line.did, line.noun_id) for line in lines]


def test_after_the_password_a_code_is_asked_for_and_each_opens_once(app: FastAPI) -> None:
    maud = signed_in_by_form(app, Role.manager)
    key, codes = set_up(maud)
    assert len(set(codes)) == RECOVERY_CODES
    assert maud.get("/session").status_code == 401
    client, ticket = half_in(app)
    assert client.get("/session").status_code == 401
    assert give(client, ticket, code(key)).status_code == 401  # it was used to set this up
    assert give(client, ticket, f" {code(key, 30)[:3]} {code(key, 30)[3:]}").status_code == 200
    assert client.get("/session").json()["name"] == "maud"
    other, ticket = half_in(app)
    assert give(other, ticket, code(key, 30)).status_code == 401
    with frozen(NOON + datetime.timedelta(seconds=90)):
        assert give(other, ticket, code(key, 90)).status_code == 200
    assert ("maud", "set up codes at sign-in", "maud") in history(app)
    assert history(app).count(("maud", "gave a wrong code", "maud")) == 2


@pytest.mark.race
def test_of_two_that_send_one_code_at_once_one_comes_in(app_on_either: FastAPI) -> None:
    app = app_on_either
    with frozen(NOON):
        key, codes = set_up(signed_in_by_form(app, Role.manager))
        for typed in (code(key, 30), codes[0]):
            pair = [half_in(app) for _ in range(2)]
            with ThreadPoolExecutor(2) as pool:
                found = list(pool.map(lambda one, typed=typed: give(*one, typed).status_code, pair))  # type: ignore[call-arg]
            assert sorted(found) == [200, 401], typed


def test_a_recovery_code_stands_in_for_the_phone_once(app: FastAPI) -> None:
    _, codes = set_up(signed_in_by_form(app, Role.manager))
    client, ticket = half_in(app)
    assert give(client, ticket, codes[0].upper()).status_code == 200
    client.headers["X-CSRF-Token"] = client.get("/session").json()["csrf"]
    assert client.get("/second-factor", headers=JSON).json()["recovery_codes_left"] == RECOVERY_CODES - 1
    again, ticket = half_in(app)
    assert give(again, ticket, codes[0]).status_code == 401
    assert ("maud", "used a recovery code", "maud") in history(app)
    with transaction(app.state.database) as session:
        stored = " ".join(session.exec(select(tables.RecoveryCode.digest)))
    assert not any(one in stored for one in codes)


def test_wrong_codes_have_to_wait_and_a_ticket_is_over_soon(app: FastAPI) -> None:
    key, codes = set_up(signed_in_by_form(app, Role.manager))
    client, ticket = half_in(app)
    statuses = [give(client, ticket, "000000").status_code for _ in range(TRIES_BY_NAME + 1)]
    assert statuses == [401] * TRIES_BY_NAME + [429]
    assert give(client, ticket, codes[0]).status_code == 429
    with frozen(NOON + datetime.timedelta(minutes=6)):
        client, late = half_in(app)
        assert give(client, ticket, codes[0]).json()["detail"].startswith("That took too long")
    assert give(client, "made.up", code(key, 30)).status_code == 401
    assert give(client, late[:-2], code(key, 30)).status_code == 401


def test_a_ticket_ends_with_the_password_that_it_was_given_for(app: FastAPI) -> None:
    set_up(signed_in_by_form(app, Role.manager))
    client, ticket = half_in(app)
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.Account).where(tables.Account.name == "maud")).one()
        row.version += 1
        key = session.exec(select(tables.SecondFactor.key)).one()
    assert give(client, ticket, code(key, 30)).status_code == 401


def test_the_pages_lead_through_it_without_a_script(app: FastAPI) -> None:
    olive = signed_in_by_form(app, Role.office)
    assert "/second-factor" in olive.get("/password", headers=PAGE).text
    asked = olive.get("/second-factor", headers=PAGE).text
    wrong = olive.post("/second-factor/begin", data={"csrf": csrf_in(asked), "old": "wrong"}, headers=PAGE)
    assert (wrong.status_code, "This is not the password that you have now" in wrong.text) == (422, True)
    shown = olive.post("/second-factor/begin", data={"old": PASSWORD}, headers=PAGE)
    assert "<svg" in shown.text
    (key,) = re.findall(r"<code>([A-Z2-7 ]+)</code>", shown.text)
    again = olive.post("/second-factor/confirm", data={"code": "000000"}, headers=PAGE)
    assert (again.status_code, "<svg" in again.text, "look at its clock" in again.text) == (422, True, True)
    made = olive.post("/second-factor/confirm", data={"code": code(key.replace(" ", ""))}, headers=PAGE)
    codes = re.findall(r"<li><code>([a-z2-9-]{19})</code>", made.text)
    assert (len(codes), made.headers["cache-control"]) == (RECOVERY_CODES, "no-store")
    client = anonymous(app)
    form = csrf_in(client.get("/sign-in", headers=PAGE).text)
    data = {"name": "olive", "password": PASSWORD, "csrf": form, "next": "/jobs"}
    page = client.post("/sign-in", data=data, headers=PAGE)
    assert (page.status_code, "The code from your phone" in page.text) == (200, True)
    sent = dict(re.findall(r'name="(csrf|next|ticket)" value="([^"]*)"', page.text))
    refused = client.post("/sign-in/code", data=sent | {"code": "1"}, headers=PAGE)
    assert (refused.status_code, 'role="alert"' in refused.text) == (401, True)
    led = client.post("/sign-in/code", data=sent | {"code": codes[3]}, headers=PAGE)
    assert (led.status_code, led.headers["location"]) == (303, "/jobs")
    assert f"{RECOVERY_CODES - 1} recovery codes are left" in client.get("/second-factor", headers=PAGE).text


def test_its_owner_ends_it_by_a_code_and_by_nothing_less(app: FastAPI) -> None:
    key, _ = set_up(signed_in_by_form(app, Role.manager))
    client, ticket = half_in(app)
    client.headers["X-CSRF-Token"] = give(client, ticket, code(key, 30)).json()["csrf"]
    assert client.post("/second-factor/begin", data={"old": PASSWORD}, headers=JSON).status_code == 422
    assert client.post("/second-factor/end", data={"code": "000000"}, headers=JSON).status_code == 422
    with frozen(NOON + datetime.timedelta(seconds=90)):
        assert client.post("/second-factor/end", data={"code": code(key, 90)}, headers=JSON).status_code == 200
    signed_in_by_form(app, Role.manager)


def test_another_manager_ends_the_codes_of_a_lost_phone_and_nobody_their_own_so(app: FastAPI) -> None:
    set_up(signed_in_by_form(app, Role.office))
    maud = signed_in_by_form(app, Role.manager)
    by_name = {one["name"]: one["id"] for one in maud.get("/who-may-sign-in", headers=JSON).json()}
    page = maud.get("/who-may-sign-in", headers=PAGE).text
    assert f"/who-may-sign-in/{by_name['olive']}/second-factor/end" in page
    assert "with a code from a phone" in page
    assert maud.post(f"/who-may-sign-in/{by_name['maud']}/second-factor/end", headers=JSON).status_code == 403
    assert maud.post(f"/who-may-sign-in/{by_name['rhea']}/second-factor/end", headers=JSON).status_code == 404
    assert maud.post(f"/who-may-sign-in/{by_name['olive']}/second-factor/end", headers=JSON).status_code == 200
    signed_in_by_form(app, Role.office)
    assert ("maud", "ended codes at sign-in", "olive") in history(app)


def test_the_command_line_lets_a_manager_in_who_has_lost_phone_and_codes(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(signed_in_by_form(app, Role.manager))
    for name in [name for name in os.environ if name.startswith("EAVEBOARD_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("EAVEBOARD_DATA", str(app.state.settings.data))
    monkeypatch.setenv("EAVEBOARD_PASSWORD_COST", "quick")
    done = CliRunner().invoke(commands, ["reset-password", "maud", "--codes"])
    assert done.exit_code == 0, done.output
    password = done.output.split()[-1]
    client = anonymous(app)
    client.headers["X-CSRF-Token"] = client.get("/sign-in", headers=JSON).json()["csrf"]
    assert client.post("/sign-in", data={"name": "maud", "password": password}, headers=JSON).status_code == 200
    assert ("command line", "ended codes at sign-in", "maud") in history(app)


def test_where_managers_must_a_manager_without_codes_can_do_nothing_else(sqlite_folder: Path) -> None:
    with running(replace(settings_for(sqlite_folder), codes="managers")) as app, frozen(NOON):
        maud, olive = signed_in_by_form(app, Role.manager), signed_in_by_form(app, Role.office)
        assert maud.get("/customers").json()["type"] == "/problems/set-up-codes"
        led = maud.get("/jobs", headers=PAGE)
        assert (led.status_code, led.headers["location"]) == (303, "/second-factor")
        assert "Nothing else opens" in maud.get("/second-factor", headers=PAGE).text
        assert olive.get("/customers").status_code == 200
        key, _ = set_up(maud)
        client, ticket = half_in(app)
        assert give(client, ticket, code(key, 30)).status_code == 200
        assert client.get("/customers").status_code == 200


def test_guesses_at_ones_own_password_have_to_wait(app: FastAPI) -> None:
    """Who finds a session open must not find the password by trying."""
    olive = signed_in_by_form(app, Role.office)
    data = {"old": "wrong", "new": "eight green boats", "again": "eight green boats"}
    tried = [olive.post("/password", data=data, headers=JSON).status_code for _ in range(TRIES_BY_NAME + 1)]
    assert tried == [422] * TRIES_BY_NAME + [429]
    assert olive.post("/second-factor/begin", data={"old": PASSWORD}, headers=JSON).status_code == 429
