"""Fixtures of the service's tests: an application with its cast, and databases of both kinds."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from api.database import open_database
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


def emptied(address: str) -> str:
    """Drop all that the PostgreSQL database holds; return its address again."""
    engine = open_database(address)
    with engine.begin() as connection:
        connection.execute(sa.text("DROP SCHEMA public CASCADE"))
        connection.execute(sa.text("CREATE SCHEMA public"))
    engine.dispose()
    return address


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    """The application on an empty SQLite database with a yard, and the cast's accounts."""
    with running(settings_for(tmp_path)) as app:
        add_yard(app.state.database)
        yield app


@pytest.fixture(params=["sqlite", "postgresql"])
def app_on_either(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[FastAPI]:
    """The application as `app`, on a database of either kind."""
    server = request.param == "postgresql"
    address = emptied(request.getfixturevalue("postgresql_address")) if server else ""
    with running(settings_for(tmp_path, address)) as app:
        add_yard(app.state.database)
        yield app
