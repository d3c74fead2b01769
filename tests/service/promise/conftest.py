"""The demo planned and not posted, with a plan of the weeks ahead, and the application over it."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.database import open_database, transaction
from api.ledger.plans.documents import because_as_data
from api.settings import sqlite_address
from api.week.horizon.document import horizon_of
from api.week.horizon.keeping import store
from tests.conftest import made_once
from tests.plan_demo import kept_plan
from tests.service.cast import running, settings_for, signed_in

THURSDAY = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def ahead_demo(planned_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder with the engine's plan of the weeks ahead: copy it before changing anything in it."""

    def make(folder: Path) -> Path:
        shutil.copytree(planned_demo, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        with transaction(engine) as session:
            horizon = horizon_of(session, THURSDAY)
            plan = kept_plan(horizon.document)
            store(
                session, horizon.document, plan, weeks=horizon.weeks, because=because_as_data(horizon.because),
                how="planned", made_from=None, now=THURSDAY, by="test",
            )  # fmt: skip
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "weeks-ahead", make)


@pytest.fixture
def app(ahead_demo: Path, tmp_path: Path) -> Iterator[FastAPI]:
    """The application over that demo, an hour later."""
    with running(settings_for(shutil.copytree(ahead_demo, tmp_path / "data"))) as app:
        app.state.clock = lambda: THURSDAY + datetime.timedelta(hours=1)
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)
