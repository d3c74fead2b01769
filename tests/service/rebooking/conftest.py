"""The demo planned and posted, and the application over it."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.ledger.plans.stored import newest_plan
from api.rebooking import search
from api.settings import sqlite_address
from api.week.post import post
from scheduler.week import read_week
from tests.conftest import made_once
from tests.service.cast import running, settings_for, signed_in
from tests.service.rebooking.cast import (
    MONDAY,
    THURSDAY,
)


@pytest.fixture(scope="session")
def posted_demo(planned_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's week, planned by the engine, posted, and every customer's message of the posting dropped."""

    def make(folder: Path) -> Path:
        shutil.copytree(planned_demo, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        with transaction(engine) as session:
            stored = newest_plan(session, MONDAY)
            assert stored is not None
            post(session, stored, read_week(stored.week), now=THURSDAY, by="test")
            session.execute(sa.update(tables.Message).values(state="dropped"))
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "posted-for-rebooking", make)


@pytest.fixture
def app(posted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    """The application over the posted demo, at the moment of the posting."""
    monkeypatch.setattr(search.Searches, "begin", lambda *_, **__: None)  # searched when a test asks for it
    settings = settings_for(shutil.copytree(posted_demo, tmp_path / "data"))
    with running(settings) as app:
        app.state.clock = lambda: THURSDAY + datetime.timedelta(hours=1)
        app.state.searches.seconds = search.SearchSeconds(prove=0.1)
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers["accept"] = "application/json"
    return client
