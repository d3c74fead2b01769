"""/sign-in, /sign-out, /password and /session: sessions begin and end, forms carry a token, guessing is slow."""

from __future__ import annotations

import datetime
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.tries import TRIES_BY_ADDRESS, TRIES_BY_NAME, TRY_MINUTES
from api.database import transaction
from api.settings import Settings, sqlite_address
from tests.service.cast import JSON, PAGE, PASSWORD, anonymous, csrf_in, frozen, running, sign_in, signed_in_by_form

NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)


def try_in(client: TestClient, name: str, password: str) -> int:
    csrf = csrf_in(client.get("/sign-in", headers=PAGE).text)
    data = {"name": name, "password": password, "csrf": csrf}
    return client.post("/sign-in", data=data, headers=PAGE).status_code


def test_a_person_signs_in_by_the_page_and_is_led_where_they_wanted(app: FastAPI) -> None:
    client = anonymous(app)
    led = client.get("/day-links?x=1", headers=PAGE)
    assert (led.status_code, led.headers["location"]) == (303, "/sign-in?next=%2Fday-links%3Fx%3D1")
    form = client.get(led.headers["location"], headers=PAGE).text
    assert 'name="next" value="/day-links?x=1"' in form
    data = {"name": " Olive ", "password": PASSWORD, "csrf": csrf_in(form), "next": "/day-links?x=1"}
    answer = client.post("/sign-in", data=data, headers=PAGE)
    assert (answer.status_code, answer.headers["location"]) == (303, "/day-links?x=1")
    assert "olive, office" in client.get("/day-links", headers=PAGE).text


def test_nobody_is_led_elsewhere_after_signing_in(app: FastAPI) -> None:
    for aim in ("//evil.example", "https://evil.example", "/\\evil.example", "javascript:x", "/\nx"):
        client = anonymous(app)
        csrf = csrf_in(client.get("/sign-in", headers=PAGE).text)
        data = {"name": "olive", "password": PASSWORD, "csrf": csrf, "next": aim}
        assert client.post("/sign-in", data=data, headers=PAGE).headers["location"] == "/"


def test_a_wrong_password_shows_the_form_again_with_the_name_kept_and_says_not_which_was_wrong(app: FastAPI) -> None:
    client = anonymous(app)
    told = []
    for name in ("olive", "nobody-here"):
        csrf = csrf_in(client.get("/sign-in", headers=PAGE).text)
        answer = client.post("/sign-in", data={"name": name, "password": "wrong", "csrf": csrf}, headers=PAGE)
        assert answer.status_code == 401
        assert f'value="{name}"' in answer.text
        assert "wrong" not in answer.text
        told.append(answer.text.replace(name, "NAME"))
    assert told[0] == told[1]


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(app: FastAPI) -> None:
    client = anonymous(app)
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    answer = client.post("/sign-in", data={"name": "olive", "password": PASSWORD, "csrf": csrf}, headers=JSON)
    cookie = answer.headers["set-cookie"].lower()
    assert cookie.startswith("eave-session=")
    for word in ("httponly", "samesite=lax", "path=/", f"max-age={12 * 3600}"):
        assert word in cookie
    assert "secure" not in cookie  # on this machine alone, without https


def test_cookies_are_secure_where_others_reach_the_pages(tmp_path: Path) -> None:
    settings = Settings(tmp_path, sqlite_address(tmp_path), 8410, address="https://board.example", secret="s" * 32)
    with running(settings) as app:
        client = TestClient(app, base_url="https://board.example", follow_redirects=False)
        csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
        answer = client.post("/sign-in", data={"name": "olive", "password": PASSWORD, "csrf": csrf}, headers=JSON)
        assert answer.status_code == 200
        assert answer.headers["set-cookie"].startswith("__Host-eave-session=")
        assert "; Secure" in answer.headers["set-cookie"]
        assert answer.headers["strict-transport-security"] == "max-age=31536000; includeSubDomains"
        assert client.get("/session").json()["name"] == "olive"


def test_the_database_holds_no_token_and_no_password(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    with transaction(app.state.database) as session:
        (row,) = session.exec(select(tables.SignIn)).all()
        hashes = [account.password for account in session.exec(select(tables.Account))]
    assert client.cookies["eave-session"] not in row.digest
    assert all(text.startswith("$argon2id$") for text in hashes)


def test_signing_in_anew_ends_the_session_before(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    old = client.cookies["eave-session"]
    sign_in(client, "olive")
    assert client.cookies["eave-session"] != old
    assert anonymous(app).get("/session", headers={"cookie": f"eave-session={old}"}).status_code == 401
    assert client.get("/session").status_code == 200


def test_signing_out_ends_the_session_for_good(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    token = client.cookies["eave-session"]
    answer = client.post("/sign-out")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert "eave-session" not in client.cookies
    assert anonymous(app).get("/session", headers={"cookie": f"eave-session={token}"}).status_code == 401


def test_a_session_ends_after_its_hours(app: FastAPI) -> None:
    with frozen(NOON):
        client = signed_in_by_form(app, Role.office)
        held = {"cookie": f"eave-session={client.cookies['eave-session']}"}
    bare = anonymous(app)
    for hours in (3, 6, 9):  # used now and then: one that is not used ends sooner
        with frozen(NOON + datetime.timedelta(hours=hours)):
            assert bare.get("/session", headers=held).status_code == 200
    with frozen(NOON + datetime.timedelta(hours=11, minutes=59)):
        assert bare.get("/session", headers=held).status_code == 200
    with frozen(NOON + datetime.timedelta(hours=12, minutes=1)):
        assert bare.get("/session", headers=held).status_code == 401


def test_a_session_of_an_account_that_is_no_longer_active_opens_nothing(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Account).where(tables.Account.name == "olive")):
            row.active = False
            session.add(row)
    assert client.get("/session").status_code == 401


def test_a_writing_request_without_the_token_is_refused(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    other = signed_in_by_form(app, Role.manager).headers["X-CSRF-Token"]
    right = client.headers.pop("X-CSRF-Token")
    body = {"name": "Odile Marrack"}
    for token in (b"", b"x" * 64, other.encode(), "é".encode()):
        answer = client.post("/customers", json=body, headers=[(b"X-CSRF-Token", token)] if token else [])
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/form-expired")
    assert client.post("/sign-out", data={"csrf": other}).status_code == 403
    assert client.get("/customers").json()["items"] == []
    assert client.post("/customers", json=body, headers={"X-CSRF-Token": right}).status_code == 201
    assert client.post("/sign-out", data={"csrf": right}).status_code == 303


def test_signing_in_needs_the_token_of_its_own_form(app: FastAPI) -> None:
    client = anonymous(app)
    data = {"name": "olive", "password": PASSWORD}
    assert client.post("/sign-in", data=data).status_code == 403
    foreign = csrf_in(anonymous(app).get("/sign-in", headers=PAGE).text)
    client.get("/sign-in")
    assert client.post("/sign-in", data={**data, "csrf": foreign}).status_code == 403


def test_a_name_that_no_database_takes_is_refused(app: FastAPI) -> None:
    client = anonymous(app)
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    answer = client.post("/sign-in", data={"name": "a\0b", "password": "x", "csrf": csrf})
    assert (answer.status_code, answer.json()["where"]) == (422, "body.name")


def test_after_too_many_tries_a_name_waits_even_with_the_right_password(app: FastAPI) -> None:
    client = anonymous(app)
    with frozen(NOON):
        assert [try_in(client, "olive", "wrong") for _ in range(TRIES_BY_NAME + 1)] == [401] * TRIES_BY_NAME + [429]
        assert try_in(client, "olive", PASSWORD) == 429
        assert try_in(client, "rhea", PASSWORD) == 303
        csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
        told = client.post("/sign-in", data={"name": "olive", "password": "x", "csrf": csrf}, headers=JSON)
        assert told.status_code == 429
        assert 0 < int(told.headers["retry-after"]) <= TRY_MINUTES * 60
    with frozen(NOON + datetime.timedelta(minutes=TRY_MINUTES, seconds=30)):
        assert try_in(client, "olive", PASSWORD) == 303


def test_an_address_waits_after_tries_at_many_names(app: FastAPI) -> None:
    client = anonymous(app)
    answers = [try_in(client, f"name-{n}", "wrong") for n in range(TRIES_BY_ADDRESS + 1)]
    assert answers == [401] * TRIES_BY_ADDRESS + [429]
    elsewhere = TestClient(app, client=("192.0.2.9", 5000), follow_redirects=False)
    assert try_in(elsewhere, "olive", PASSWORD) == 303


def test_signing_in_well_is_no_try(app: FastAPI) -> None:
    client = anonymous(app)
    for _ in range(TRIES_BY_ADDRESS + 2):
        sign_in(client, "olive")


@pytest.mark.race
def test_tries_at_the_same_moment_are_all_counted(app: FastAPI) -> None:
    clients = [anonymous(app) for _ in range(8)]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda client: try_in(client, "olive", "wrong"), clients))
    assert set(answers) <= {401, 429}
    assert 1 <= answers.count(401) <= TRIES_BY_NAME
    with transaction(app.state.database) as session:
        tried = select(tables.SignInTry).where(tables.SignInTry.counted_for == "name olive")
        assert len(session.exec(tried).all()) == answers.count(401)


def test_a_changed_password_ends_all_other_sessions(app: FastAPI) -> None:
    here, there = signed_in_by_form(app, Role.office), signed_in_by_form(app, Role.office)
    data = {"old": PASSWORD, "new": "eight green boats", "again": "eight green boats"}
    assert here.post("/password", data=data).status_code == 303
    assert here.get("/session").json()["name"] == "olive"
    assert there.get("/session").status_code == 401
    assert try_in(anonymous(app), "olive", PASSWORD) == 401
    assert try_in(anonymous(app), "olive", "eight green boats") == 303


WRONG_PASSWORDS: list[tuple[dict[str, str], str]] = [
    ({"old": "wrong"}, "old"),
    ({"new": "short", "again": "short"}, "new"),
    ({"new": PASSWORD, "again": PASSWORD}, "new"),
    ({"new": "my name is olive", "again": "my name is olive"}, "new"),
    ({"new": "aaaaaaaaaaaaaa", "again": "aaaaaaaaaaaaaa"}, "new"),
    ({"new": "x" * 129, "again": "x" * 129}, "new"),
    ({"again": "another one here"}, "again"),
]


def test_a_password_that_cannot_be_is_told_at_its_field_and_changes_nothing(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.office)
    for change, where in WRONG_PASSWORDS:
        data = {"old": PASSWORD, "new": "eight green boats", "again": "eight green boats"} | change
        page = client.post("/password", data=data, headers=PAGE)
        assert page.status_code == 422, change
        assert f'id="{where}-wrong"' in page.text, change
        assert client.post("/password", data=data, headers=JSON).json()["where"] == where
    assert try_in(anonymous(app), "olive", PASSWORD) == 303


def test_every_answer_tells_the_browser_to_run_only_what_is_served_here(app: FastAPI) -> None:
    client = anonymous(app)
    for address in ("/sign-in", "/nothing", "/static/paper.css", "/customers"):
        headers = client.get(address).headers
        assert "script-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
    assert client.get("/sign-in").headers["cache-control"] == "no-store"


def test_no_page_has_scripts_or_styles_inside(app: FastAPI) -> None:
    client = signed_in_by_form(app, Role.manager)
    for address in ("/", "/who-may-sign-in", "/day-links", "/password", "/sign-in"):
        text = client.get(address, headers=PAGE).text
        for word in ("<script>", "<style", "style=", " onclick", " onload", "javascript:"):
            assert word not in text, (address, word)
