"""The demo with its week posted."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from tests.conftest import BuiltDemo
from tests.service.posted import posted_demo

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


@pytest.fixture
def posted(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, its week posted."""
    with posted_demo(built.out, tmp_path_factory.mktemp("set-up") / "data", NOW) as app:
        yield app
