"""The demo planned and posted, and the application over it."""

from __future__ import annotations

import datetime
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.rebooking import search
from api.settings import sqlite_address
from api.week.planning import plan_week, prepare_week
from api.week.post import post
from scheduler import plan_week as solve
from scheduler.week import read_week
from tests.conftest import BuiltDemo, made_once
from tests.service.cast import running, settings_for, signed_in
from tests.service.rebooking.cast import (
    MONDAY,
    THURSDAY,
)

PLAN_S = 4.0


@pytest.fixture(scope="session")
def posted_demo(compiled: None, built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo planned by the engine and posted, every customer's message of the posting dropped."""
    return made_once(tmp_path_factory, "posted-for-rebooking", lambda folder: planned_and_posted(built, folder))


def planned_and_posted(built: BuiltDemo, folder: Path) -> Path:
    shutil.copytree(built.out, folder, dirs_exist_ok=True)
    engine = open_database(sqlite_address(folder))
    made = prepare_week(engine, MONDAY, THURSDAY)
    start = time.process_time()
    planner = lambda week, *, seconds, report=None: solve(  # noqa: E731
        week, seconds=60.0, clock=time.monotonic, stop=lambda: time.process_time() - start > seconds
    )
    row, _ = plan_week(engine, made, planner, seconds=PLAN_S, now=THURSDAY, by="test")
    with transaction(engine) as session:
        stored = session.get_one(tables.StoredPlan, row.id)
        post(session, stored, read_week(stored.week), now=THURSDAY, by="test")
        session.execute(sa.update(tables.Message).values(state="dropped"))
    engine.dispose()
    return folder


@pytest.fixture
def app(posted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    """The application over the posted demo, at the moment of the posting."""
    monkeypatch.setattr(search, "PROVE_S", 0.1)
    monkeypatch.setattr(search.Searches, "begin", lambda *_, **__: None)  # searched when a test asks for it
    settings = settings_for(shutil.copytree(posted_demo, tmp_path / "data"))
    with running(settings) as app:
        app.state.clock = lambda: THURSDAY + datetime.timedelta(hours=1)
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers["accept"] = "application/json"
    return client
