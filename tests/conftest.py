"""What several folders of tests share: the demo business's files, and an empty database for each test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import settings

from api.business import demo
from api.database import open_database, upgrade
from tests.one_a_day import one_a_day

# How long one example takes hangs on what else the machine does: no reason to call a test failed.
settings.register_profile("project", deadline=None)
settings.load_profile("project")

DEMO = Path(__file__).parent.parent / "seeds" / "demo"


@pytest.fixture
def demo_files(tmp_path: Path) -> Path:
    """A copy of the demo business's files that a test may spoil."""
    return shutil.copytree(DEMO, tmp_path / "demo-files")


@dataclass(frozen=True)
class BuiltDemo:
    """The demo folder, planned by a planner that is quick and not clever; `told` are the lines that were reported."""

    out: Path
    made: demo.Demo
    told: tuple[str, ...]


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> BuiltDemo:
    """The demo, built once for all tests: copy its folder before changing anything in it."""
    out, told = tmp_path_factory.mktemp("demo"), list[str]()
    return BuiltDemo(out, demo.build(out, told.append, planner=one_a_day), tuple(told))


@pytest.fixture
def database(tmp_path: Path) -> Iterator[sa.Engine]:
    """An empty SQLite database in the newest form."""
    engine = open_database(f"sqlite:///{tmp_path / 'test.sqlite'}")
    upgrade(engine)
    yield engine
    engine.dispose()
