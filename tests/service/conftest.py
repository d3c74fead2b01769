"""Fixtures of the service's tests: an application with its cast, and databases of both kinds."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from api.fields.addresses.mail import Server
from api.settings import Settings
from tests.machines import Machines
from tests.service.cast import add_yard, running, settings_for
from tests.service.postbox import Postbox, mail_server


@pytest.fixture
def sqlite_folder(migrated_file: Path, tmp_path: Path) -> Path:
    """A data folder with an empty SQLite database in the newest form."""
    shutil.copy(migrated_file, tmp_path / "eaveboard.sqlite")
    return tmp_path


@pytest.fixture(params=["sqlite", "postgresql"])
def either_settings(request: pytest.FixtureRequest, sqlite_folder: Path) -> Settings:
    """Settings for an empty database of either kind."""
    server = request.param == "postgresql"
    return settings_for(sqlite_folder, request.getfixturevalue("postgresql_database") if server else "")


@pytest.fixture
def app(sqlite_folder: Path) -> Iterator[FastAPI]:
    """The application on an empty SQLite database with a yard, and the cast's accounts."""
    with running(settings_for(sqlite_folder)) as app:
        add_yard(app.state.database)
        yield app


@pytest.fixture
def app_on_either(either_settings: Settings) -> Iterator[FastAPI]:
    """The application as `app`, on a database of either kind."""
    with running(either_settings) as app:
        add_yard(app.state.database)
        yield app


@pytest.fixture
def postbox() -> Iterator[tuple[Postbox, Server]]:
    """A local mail server that knows one password."""
    with mail_server() as running_server:
        yield running_server


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    """A cluster of two workers of one thread each, of the tests of one module."""
    found = Machines(tmp_path_factory.mktemp("cluster"))
    try:
        found.wait()
        yield found
    finally:
        found.close()
