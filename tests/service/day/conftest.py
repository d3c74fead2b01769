"""What the tests of a crew's day share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from tests.conftest import BuiltDemo
from tests.service.day.day_cast import Jobs, posted_morning


@pytest.fixture
def day(built: BuiltDemo, tmp_path: Path) -> Iterator[tuple[FastAPI, Jobs]]:
    """A posted day of the demo on its morning, and its jobs."""
    with posted_morning(built.out, tmp_path / "posted") as found:
        yield found
