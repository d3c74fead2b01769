"""An empty SQLite database in the newest form, made once in the suite: migrating takes longer than most tests."""

from __future__ import annotations

import functools
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from api.database import open_database, upgrade, upgrading

_lock = threading.Lock()
_one: Callable[..., None] = upgrading._one


def put_migrated(file: Path) -> Path:
    """Write the empty database to `file`, which its owner alone may read, as the service makes it."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    file.touch(0o600)
    file.write_bytes(_migrated())
    return file


def _make(folder: Path) -> bytes:
    file = folder / "eaveboard.sqlite"
    with for_real():
        engine = open_database(f"sqlite:///{file}")
        upgrade(engine)
        engine.dispose()
    return file.read_bytes()


def _alone(make: Callable[[Path], bytes]) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        return make(Path(folder))


_once = _alone


@functools.cache
def _migrated() -> bytes:
    return _once(_make)


@contextmanager
def copied(once: Callable[[Callable[[Path], bytes]], bytes]) -> Iterator[None]:
    """Have an empty SQLite database that is to come to the newest form get it as a copy, from `upgrade` itself.

    once: calls what it is given with an empty folder, once for all processes of the suite, and returns what that gave.
    """
    global _once
    _once = once
    upgrading._one = _quick
    try:
        yield
    finally:
        upgrading._one = _one
        _once = _alone


@contextmanager
def for_real() -> Iterator[None]:
    """Have every step taken meanwhile: for tests of the steps themselves."""
    before, upgrading._one = upgrading._one, _one
    try:
        yield
    finally:
        upgrading._one = before


def _quick(connection: sa.Connection, config: Any, scripts: Any, chain: tuple[str, ...], step: str) -> None:
    if connection.dialect.name == "sqlite" and step == chain[0] and chain == upgrading.forms():
        made = _migrated()  # before the lock: making it comes by here as well
        driver: Any = connection.connection.driver_connection
        with _lock:  # of two that begin at once the second finds what the first has put there
            if driver.execute("SELECT count(*) FROM sqlite_master").fetchall() == [(0,)]:
                with tempfile.TemporaryDirectory() as folder:
                    (Path(folder) / "made.sqlite").write_bytes(made)
                    with closing(sqlite3.connect(Path(folder) / "made.sqlite")) as source:
                        source.backup(driver)
    _one(connection, config, scripts, chain, step)
