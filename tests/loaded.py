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
    with opened(Path(shutil.copy(path, folder))) as engine:
        yield engine


@contextmanager
def opened(path: Path) -> Iterator[sa.Engine]:
    """Give a database file, closed however its use ends: Python 3.13 says so of each that is left open."""
    engine = open_database(f"sqlite:///{path}")
    try:
        yield engine
    finally:
        engine.dispose()
