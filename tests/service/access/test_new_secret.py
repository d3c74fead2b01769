"""A new secret: links, addresses and open forms by the old one stay good for a set time, and end then."""

from __future__ import annotations

import datetime
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.secret import change_secret, read_secret
from api.settings import Settings
from scheduler.errors import BadInput
from tests.service.cast import (
    JSON,
    NAMES,
    add_yard,
    anonymous,
    application,
    frozen,
    running,
    settings_for,
    signed_in_by_form,
)
from tests.service.cast import by_link as crew_by_link

ROOT = Path(__file__).parents[3]
DAY = datetime.date(2900, 1, 6)
NEW = "n" * 43


@contextmanager
def anew(settings: Settings) -> Iterator[FastAPI]:
    """Give the application on a data folder that has served before."""
    with application(settings) as app, TestClient(app):
        yield app


@pytest.mark.parametrize("days", [30, 0])
def test_what_the_old_secret_signed_is_good_for_so_many_days(sqlite_folder: Path, days: int) -> None:
    settings = settings_for(sqlite_folder)
    with running(settings) as app:
        add_yard(app.state.database)
        office, phone = signed_in_by_form(app, Role.office), crew_by_link(app, "north-1", DAY)
        calendar = office.get("/crews/north-1/calendar").json()["address"].removeprefix("http://127.0.0.1:8410")
        assert anonymous(app).get(calendar).status_code == 200
        kept = office.cookies, office.headers["X-CSRF-Token"]
        crew = phone.cookies, phone.headers["X-CSRF-Token"]
    now = datetime.datetime.now(datetime.UTC)
    change_secret(settings, NEW, now + datetime.timedelta(days=days), now)
    with anew(settings) as app:
        assert app.state.secret == NEW
        office, phone = anonymous(app), anonymous(app)
        office.cookies, office.headers["X-CSRF-Token"] = kept
        phone.cookies, phone.headers["X-CSRF-Token"] = crew
        assert office.get("/session").json()["name"] == NAMES[Role.office]  # nobody is signed out
        sent = {"name": "Odile Marrack"}
        assert office.post("/customers", json=sent, headers=JSON).status_code == (201 if days else 403)
        assert phone.get("/session").status_code == (200 if days else 401)
        assert anonymous(app).get(calendar).status_code == (200 if days else 404)
        with frozen(now + datetime.timedelta(days=31)):
            assert phone.get("/session").status_code == 401
            assert anonymous(app).get(calendar).status_code == 404
            fresh = crew_by_link(app, "north-1", DAY)
            assert fresh.get("/session").status_code == 200


def test_the_file_is_its_owners_alone_and_what_is_wrong_with_it_is_said(tmp_path: Path) -> None:
    settings = settings_for(tmp_path)
    with pytest.raises(BadInput, match="is not there: start the service once"):
        change_secret(settings, NEW, datetime.datetime.now(datetime.UTC), datetime.datetime.now(datetime.UTC))
    first = read_secret(settings, lambda: "s" * 43)
    now = datetime.datetime(2027, 4, 8, tzinfo=datetime.UTC)
    day = datetime.timedelta(days=1)
    assert change_secret(settings, NEW, now + 3 * day, now) == 1
    assert change_secret(settings, "m" * 43, now + 9 * day, now + 2 * day) == 2
    found = read_secret(settings, lambda: "")
    assert (found, found.before) == ("m" * 43, ((NEW, now + 9 * day), (str(first), now + 3 * day)))
    assert change_secret(settings, "k" * 43, now + 9 * day, now + 4 * day) == 2  # the first one is over
    assert (tmp_path / "secret").stat().st_mode & 0o777 == 0o600
    (tmp_path / "secret").write_text(f"{NEW}\nnonsense\n")
    with pytest.raises(BadInput, match="delete that line"):
        read_secret(settings, lambda: "")


def test_the_command_says_what_to_do_next(tmp_path: Path) -> None:
    read_secret(settings_for(tmp_path), lambda: "s" * 43)
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")} | {"EAVEBOARD_DATA": str(tmp_path)}
    code = "from api.cli import main; main(['new-secret', '--days', '7'])"
    done = subprocess.run([sys.executable, "-c", code], env=own, cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, "Start the service anew" in done.stdout, done.stderr) == (0, True, "")
    assert len((tmp_path / "secret").read_text().splitlines()) == 2
    refused = subprocess.run(
        [sys.executable, "-c", code], env=own | {"EAVEBOARD_SECRET": "x" * 32}, cwd=ROOT, capture_output=True, text=True
    )
    assert (refused.returncode, refused.stderr.count("\n")) == (2, 1)
