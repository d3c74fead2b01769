"""Outages: runs end and people read on while the database is away, locked or full, and all is mended afterwards."""

from __future__ import annotations

import datetime
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction, upgrade
from api.week.run import runs as module
from api.week.run.ending import GOING
from api.week.run.runs import Runs
from scheduler.documents import encode
from tests import postgresql
from tests.service.cast import JSON, PAGE, add_yard, anonymous, running, settings_for, sign_in, signed_in
from tests.service.scripted import SMALL, Script, ScriptedDesk
from tests.waiting import until

pytestmark = pytest.mark.usefixtures("migrated_for_real")

NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)


def asked(database: sa.Engine) -> int:
    row = tables.PlanRun(
        start_date=SMALL.start_date, seconds=60, asked_at=NOW, asked_by="maud", week=encode(SMALL).decode()
    )
    with transaction(database) as session:
        session.add(row)
    assert row.id is not None
    return row.id


def stored(database: sa.Engine, run_id: int) -> tables.PlanRun:
    with transaction(database) as session:
        return session.get_one(tables.PlanRun, run_id)


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "Desk", ScriptedDesk)
    monkeypatch.setattr(module, "LISTEN_S", 0.01)
    monkeypatch.setattr(module, "AGAIN_S", (0.05, 0.1))
    monkeypatch.setattr(module, "MEND_S", 0.05)


@pytest.fixture
def impatient(sqlite_folder: Path) -> Iterator[sa.Engine]:
    """A SQLite database whose connections wait for a lock a tenth of a second only."""
    engine = sa.create_engine(f"sqlite:///{sqlite_folder / 'eaveboard.sqlite'}", connect_args={"timeout": 0.1})
    yield engine
    engine.dispose()


def begun(database: sa.Engine, script: Script) -> tuple[Runs, int]:
    runs, run_id = Runs(database, 1, lambda: NOW), asked(database)
    ScriptedDesk.scripts = {run_id: script}
    runs.begin(stored(database, run_id), "")
    return runs, run_id


def test_a_run_that_ends_while_the_database_is_locked_is_ended_when_it_is_not(
    impatient: sa.Engine, sqlite_folder: Path
) -> None:
    runs, run_id = begun(impatient, Script([True], True, "plan"))
    until(lambda: stored(impatient, run_id).state == "running")
    with closing(sqlite3.connect(sqlite_folder / "eaveboard.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        runs.stop(run_id)
        time.sleep(0.5)
        assert stored(impatient, run_id).state == "running"
        other.execute("ROLLBACK")
    until(lambda: stored(impatient, run_id).state == "stopped")
    assert stored(impatient, run_id).plan_id is not None
    assert runs.shown(run_id) is None
    _next_one_goes(impatient, runs)
    runs.close()


def _next_one_goes(database: sa.Engine, runs: Runs) -> None:
    run_id = asked(database)
    ScriptedDesk.scripts[run_id] = Script([], False, "plan")
    runs.begin(stored(database, run_id), "")
    until(lambda: stored(database, run_id).state == "done")


def test_a_planner_that_does_not_answer_a_stop_is_ended_and_the_next_run_goes(
    impatient: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "STOP_S", 0.2)
    runs, run_id = begun(impatient, Script([True], True, "silent"))
    until(lambda: stored(impatient, run_id).state == "running")
    assert runs.stop(run_id)
    until(lambda: stored(impatient, run_id).state not in GOING)
    row = stored(impatient, run_id)
    assert (row.state, row.fault) == ("cut off", "The planner did not answer any more and was started anew.")
    assert row.plan_id is not None  # what it had told of
    _next_one_goes(impatient, runs)
    runs.close()


def test_a_planner_that_overstays_its_seconds_is_ended(impatient: sa.Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "GRACE_S", -59.8)
    runs, run_id = begun(impatient, Script([], True, "silent"))
    until(lambda: stored(impatient, run_id).state == "cut off")
    runs.close()


def test_a_run_in_the_database_that_nobody_is_at_is_ended(impatient: sa.Engine) -> None:
    runs, going = begun(impatient, Script([True], True, "plan"))
    left = asked(impatient)
    runs.start()
    until(lambda: stored(impatient, left).state == "cut off")
    assert stored(impatient, going).state == "running"
    runs.close()


@pytest.mark.slow
def test_a_server_that_is_started_anew_ends_no_run_and_pages_are_back_by_themselves(tmp_path: Path) -> None:
    if postgresql.binaries() is None:
        pytest.skip("PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="eave-pg-", dir="/tmp"))
    try:
        with postgresql.running(folder) as address:
            database = open_database(address)
            upgrade(database)
            database.dispose()
            with running(settings_for(tmp_path, address)) as app:
                add_yard(app.state.database)
                client = signed_in(app, Role.manager)
                run_id = asked(app.state.database)
                ScriptedDesk.scripts = {run_id: Script([True], True, "plan")}
                app.state.runs.begin(stored(app.state.database, run_id), "")
                until(lambda: stored(app.state.database, run_id).state == "running")
                postgresql.stop(folder)
                answer = client.get("/jobs", headers=JSON)
                assert answer.status_code == 503
                assert "cannot be reached" in answer.json()["detail"]
                app.state.runs.stop(run_id)
                time.sleep(0.3)
                postgresql.start(folder)
                until(lambda: stored(app.state.database, run_id).state == "stopped")
                assert client.get("/jobs", headers=PAGE).status_code == 200
                _next_one_goes(app.state.database, app.state.runs)
    finally:
        shutil.rmtree(folder)


@pytest.fixture
def full(app: FastAPI) -> Iterator[FastAPI]:
    """The application on a database that cannot grow by a page."""
    engine = app.state.database

    @sa.event.listens_for(engine, "connect")
    def no_more(connection: Any, _: Any) -> None:
        connection.execute("PRAGMA max_page_count = 1")  # as few as it has already

    engine.dispose()
    yield app
    sa.event.remove(engine, "connect", no_more)


def test_with_a_full_disk_people_sign_in_and_read_and_are_told_what_is_full(full: FastAPI) -> None:
    manager = signed_in(full, Role.manager)
    for n in range(60):
        sent = {"name": f"Customer {n}", "phone": "1", "note": "y" * 900}
        answer = manager.post("/customers", json=sent, headers=JSON)
        if answer.status_code != 201:
            break
    assert answer.status_code == 503, answer.text
    assert "the database's disk is full" in answer.json()["detail"]
    assert answer.json()["type"] == "/problems/no-room"
    client = sign_in(anonymous(full), "olive")
    assert client.get("/jobs", headers=PAGE).status_code == 200
    assert client.post("/sign-out", headers=PAGE).status_code == 303
    assert client.get("/jobs", headers=JSON).status_code == 401
