"""Fixtures of the tests of addresses: a service that finds them, the demo, and the office."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.conftest import BuiltDemo
from tests.service.cast import for_pages, running, settings_for
from tests.service.places.place_cast import NOW
from tests.service.places.place_services import Places


@pytest.fixture
def places() -> Iterator[Places]:
    service = Places()
    yield service
    service.close()


@pytest.fixture
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, whose two yards lie around 41.4, -98.2."""
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("places") / "out")
    with running(settings_for(out)) as app:
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)
