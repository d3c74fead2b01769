"""What the tests of a crew's day share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from tests.conftest import BuiltDemo
from tests.service.day.day_cast import Jobs, on_the_morning, post_day


@pytest.fixture
def day(built: BuiltDemo, tmp_path: Path) -> Iterator[tuple[FastAPI, Jobs]]:
    """A posted day of the demo on its morning, and its jobs."""
    jobs = post_day(built.out, tmp_path / "posted")
    with on_the_morning(tmp_path / "posted") as app:
        yield app, jobs
