"""The demo business in a database of its own for each test, nothing planned: loaded once into a file and copied."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from api.business.seed import load, read_business
from api.database import open_database, transaction, upgrade
from tests.conftest import DEMO


def loaded_business(folder: Path) -> Path:
    """Return a database file in `folder` that holds the demo business."""
    path = folder / "loaded.sqlite"
    engine = open_database(f"sqlite:///{path}")
    upgrade(engine)
    with transaction(engine) as session:
        load(session, read_business(DEMO))
    engine.dispose()
    return path


@contextmanager
def copy_of(path: Path, folder: Path) -> Iterator[sa.Engine]:
    """Give a copy of a database file, in `folder`, that a test may change."""
    engine = open_database(f"sqlite:///{shutil.copy(path, folder)}")
    yield engine
    engine.dispose()
