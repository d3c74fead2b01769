"""/who-may-sign-in: the manager makes, disables and resets accounts; one-time passwords; the first start."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select
from typer.testing import CliRunner

from api import tables
from api.access.accounts import ONE_TIME_DAYS, Role
from api.app import create_app
from api.cli import app as commands
from api.database import transaction
from tests.service.cast import JSON, PAGE, anonymous, frozen, settings_for, sign_in, signed_in_by_form

NEW = "eight green boats"


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    return signed_in_by_form(app, Role.manager)


def account_id(manager: TestClient, name: str) -> int:
    (found,) = [
        record["id"] for record in manager.get("/who-may-sign-in", headers=JSON).json() if record["name"] == name
    ]
    return int(found)


def test_a_new_account_starts_with_a_one_time_password_that_must_be_changed(app: FastAPI, manager: TestClient) -> None:
    page = manager.post("/who-may-sign-in", data={"name": "Perrin", "role": "office"}, headers=PAGE)
    assert (page.status_code, page.headers["cache-control"]) == (201, "no-store")
    (password,) = re.findall(r"<code>([a-z2-9-]{19})</code>", page.text)
    assert password not in manager.get("/who-may-sign-in", headers=PAGE).text
    perrin = sign_in(anonymous(app), "perrin", password)
    assert perrin.get("/customers").json()["type"] == "/problems/change-password"
    led = perrin.get("/", headers=PAGE)
    assert (led.status_code, led.headers["location"]) == (303, "/password")
    assert "Choose your own password" in perrin.get("/password", headers=PAGE).text
    assert perrin.post("/password", data={"old": password, "new": NEW, "again": NEW}).status_code == 303
    assert perrin.get("/customers").status_code == 200
    assert sign_in(anonymous(app), "perrin", NEW).get("/session").json()["role"] == "office"


def test_a_one_time_password_is_over_after_some_days(app: FastAPI, manager: TestClient) -> None:
    made = manager.post("/who-may-sign-in", data={"name": "perrin", "role": "office"}, headers=JSON).json()
    later = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=ONE_TIME_DAYS, minutes=1)
    client = anonymous(app)
    with frozen(later):
        csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
        data = {"name": "perrin", "password": made["one_time_password"], "csrf": csrf}
        assert client.post("/sign-in", data=data, headers=JSON).status_code == 401


def test_a_reset_ends_the_sessions_and_the_old_password(app: FastAPI, manager: TestClient) -> None:
    olive = signed_in_by_form(app, Role.office)
    made = manager.post(f"/who-may-sign-in/{account_id(manager, 'olive')}/reset", headers=JSON).json()
    assert made["name"] == "olive"
    assert olive.get("/session").status_code == 401
    with pytest.raises(AssertionError, match="do not fit"):
        signed_in_by_form(app, Role.office)
    again = sign_in(anonymous(app), "olive", made["one_time_password"])
    assert again.get("/customers").status_code == 403


def test_a_disabled_account_cannot_sign_in_and_an_enabled_one_can(app: FastAPI, manager: TestClient) -> None:
    address = f"/who-may-sign-in/{account_id(manager, 'olive')}"
    assert manager.post(address, data={"role": "office", "active": "no"}).status_code == 303
    assert "✕ disabled" in manager.get("/who-may-sign-in", headers=PAGE).text
    with pytest.raises(AssertionError, match="do not fit"):
        signed_in_by_form(app, Role.office)
    manager.post(address, data={"role": "office", "active": "yes"})
    assert signed_in_by_form(app, Role.office).get("/customers").status_code == 200


def test_the_last_manager_stays(app: FastAPI, manager: TestClient) -> None:
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Account).where(tables.Account.name == "manager")):
            row.active = False
            session.add(row)
    own = f"/who-may-sign-in/{account_id(manager, 'maud')}"
    for data in ({"role": "manager", "active": "no"}, {"role": "office", "active": "yes"}):
        answer = manager.post(own, data=data, headers=PAGE)
        assert answer.status_code == 422
        assert "the last manager" in answer.text
    assert manager.get("/who-may-sign-in").status_code == 200


WRONG_FORMS: list[tuple[dict[str, str], str]] = [
    ({"name": "x", "role": "office"}, "name"),
    ({"name": "two words", "role": "office"}, "name"),
    ({"name": "OLIVE", "role": "office"}, "name"),
    ({"name": "perrin", "role": "owner"}, "role"),
    ({"name": "perrin", "role": "office", "crew_id": "north-1"}, "crew_id"),
    ({"name": "perrin", "role": "crew lead", "crew_id": "north-9"}, "crew_id"),
    ({}, "name"),
]


def test_a_bad_form_is_shown_again_with_the_text_kept(manager: TestClient) -> None:
    for form, where in WRONG_FORMS:
        page = manager.post("/who-may-sign-in", data=form, headers=PAGE)
        assert page.status_code == 422, form
        assert f"▲ {where}: " in page.text, form
        assert f'name="name" value="{form.get("name", "")}"' in page.text
        assert manager.post("/who-may-sign-in", data=form, headers=JSON).json()["where"] == where
    assert "perrin" not in [record["name"] for record in manager.get("/who-may-sign-in", headers=JSON).json()]


def test_text_is_shown_as_text(manager: TestClient) -> None:
    page = manager.post("/who-may-sign-in", data={"name": "<b>x</b>", "role": "office"}, headers=PAGE).text
    assert "<b>x</b>" not in page
    assert "&lt;b&gt;x&lt;/b&gt;" in page


def test_others_are_refused_and_an_unknown_account_is_404(app: FastAPI, manager: TestClient) -> None:
    for role in (Role.office, Role.lead, Role.reader):
        client = signed_in_by_form(app, role)
        assert client.get("/who-may-sign-in").status_code == 403
        assert client.post("/who-may-sign-in", data={"name": "perrin", "role": "manager"}).status_code == 403
        assert "Who may sign in" not in client.get("/password", headers=PAGE).text
    for address in (
        "/who-may-sign-in/999",
        "/who-may-sign-in/999/reset",
        "/who-may-sign-in/0",
        "/who-may-sign-in/99999999999999999999",
    ):
        assert manager.post(address, data={"role": "office", "active": "yes"}).status_code == 404


def test_a_crew_lead_has_a_crew(app: FastAPI, manager: TestClient) -> None:
    form = {"name": "perrin", "role": "crew lead", "crew_id": "north-2"}
    made = manager.post("/who-may-sign-in", data=form, headers=JSON).json()
    client = sign_in(anonymous(app), "perrin", made["one_time_password"])
    assert client.get("/session").json()["crew_id"] == "north-2"


def test_the_history_says_who_did_what_and_no_password(app: FastAPI, manager: TestClient) -> None:
    made = manager.post("/who-may-sign-in", data={"name": "perrin", "role": "office"}, headers=JSON).json()
    address = f"/who-may-sign-in/{account_id(manager, 'perrin')}"
    manager.post(address, data={"role": "read-only", "active": "no"})
    answer = manager.get("/history", params={"noun": "account", "noun_id": "perrin"})
    assert [(line["by"], line["did"]) for line in answer.json()["items"]] == [("maud", "changed"), ("maud", "made")]
    assert made["one_time_password"] not in answer.text


@contextmanager
def started(folder: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[tuple[FastAPI, str | None]]:
    """Give the application of `folder`, started, with the one-time password that it printed."""
    app = create_app(settings_for(folder))
    with TestClient(app):
        printed = re.findall(r"as manager with the one-time password ([a-z2-9-]{19})$", capsys.readouterr().err, re.M)
        assert len(printed) <= 1
        yield app, printed[0] if printed else None


def test_the_first_start_prints_a_managers_password_and_later_ones_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with started(tmp_path, capsys) as (_, lost):
        pass
    with started(tmp_path, capsys) as (app, password):
        assert lost
        assert password
        assert lost != password  # the first was never used: its terminal may be gone
        with pytest.raises(AssertionError, match="do not fit"):
            sign_in(anonymous(app), "manager", lost)
        client = sign_in(anonymous(app), "manager", password)
        assert client.get("/who-may-sign-in").status_code == 403
        assert client.post("/password", data={"old": password, "new": NEW, "again": NEW}).status_code == 303
        assert client.get("/who-may-sign-in").status_code == 200
    with started(tmp_path, capsys) as (_, none):
        assert none is None


def test_the_command_line_lets_a_locked_out_manager_in(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Account).where(tables.Account.name == "maud")):
            row.active = False
            session.add(row)
    monkeypatch.setenv("EAVEBOARD_DATA", str(app.state.settings.data))
    monkeypatch.setenv("EAVEBOARD_PASSWORD_COST", "quick")
    done = CliRunner().invoke(commands, ["reset-password", "Maud"])
    assert done.exit_code == 0, done.output
    password = done.output.split()[-1]
    assert sign_in(anonymous(app), "maud", password).get("/password").status_code == 200
    made = CliRunner().invoke(commands, ["reset-password", "new.one", "--manager"])
    assert sign_in(anonymous(app), "new.one", made.output.split()[-1]).get("/session").json()["role"] == "manager"
    raised = CliRunner().invoke(commands, ["reset-password", "rhea", "--manager"])
    assert sign_in(anonymous(app), "rhea", raised.output.split()[-1]).get("/session").json()["role"] == "manager"
    unknown = CliRunner().invoke(commands, ["reset-password", "nobody-here"])
    assert (unknown.exit_code, 'nobody signs in as "nobody-here"' in unknown.output) == (2, True)


def test_the_address_of_before_leads_on(app: FastAPI) -> None:
    manager = signed_in_by_form(app, Role.manager)
    led = manager.get("/accounts", headers=PAGE, follow_redirects=False)
    assert (led.status_code, led.headers["location"]) == (308, "/who-may-sign-in")
    assert "Who may sign in" in manager.get(led.headers["location"], headers=PAGE).text
