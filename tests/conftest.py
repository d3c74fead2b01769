"""What several folders of tests share: the demo business's files, and an empty database for each test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.database import open_database, upgrade

DEMO = Path(__file__).parent.parent / "seeds" / "demo"


@pytest.fixture
def demo_files(tmp_path: Path) -> Path:
    """A copy of the demo business's files that a test may spoil."""
    return shutil.copytree(DEMO, tmp_path / "demo-files")


@pytest.fixture
def database(tmp_path: Path) -> Iterator[sa.Engine]:
    """An empty SQLite database in the newest form."""
    engine = open_database(f"sqlite:///{tmp_path / 'test.sqlite'}")
    upgrade(engine)
    yield engine
    engine.dispose()
