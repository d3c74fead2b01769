"""Fixtures of the service's tests: an application with its cast, and databases of both kinds."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlmodel import SQLModel

from api.database import open_database, upgrade
from api.settings import Settings
from tests import postgresql
from tests.service.cast import add_yard, running, settings_for


@pytest.fixture(scope="session")
def postgresql_address() -> Iterator[str]:
    """The address of a PostgreSQL server of our own; skips where none is installed."""
    if postgresql.binaries() is None:
        pytest.skip("PostgreSQL is not installed")
    # A socket's path must be short, and the server's own user must reach it: not in the test's own folder.
    folder = Path(tempfile.mkdtemp(prefix="eave-pg-", dir="/tmp"))
    try:
        with postgresql.running(folder) as address:
            yield address
    finally:
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite database in the newest form, to be copied: quicker than migrating for every test."""
    path = tmp_path_factory.mktemp("migrated") / "eaveboard.sqlite"
    engine = open_database(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def migrated_on_server(postgresql_address: str) -> str:
    """The address of a PostgreSQL database in the newest form."""
    engine = open_database(postgresql_address)
    upgrade(engine)
    engine.dispose()
    return postgresql_address


@pytest.fixture
def sqlite_folder(migrated_file: Path, tmp_path: Path) -> Path:
    """A data folder with an empty SQLite database in the newest form."""
    shutil.copy(migrated_file, tmp_path / "eaveboard.sqlite")
    return tmp_path


@pytest.fixture
def postgresql_database(migrated_on_server: str) -> str:
    """The address of the PostgreSQL database, emptied; skips where none can be had."""
    engine = open_database(migrated_on_server)
    with engine.begin() as connection:
        connection.execute(sa.text("SET LOCAL session_replication_role = replica"))  # the history only grows, but here
        for table in SQLModel.metadata.sorted_tables:
            connection.execute(sa.delete(table))
    engine.dispose()
    return migrated_on_server


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
