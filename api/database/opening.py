"""Opening the database, and its transactions."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from scheduler.errors import BadInput

# Pages are made in up to 40 threads, each with a connection and now and then a second one for work that is kept by
# itself: with fewer than twice as many all could wait for each other. A connection beyond POOL is closed after use.
POOL, MORE = 40, 50
Key = TypeVar("Key", str, int)


def open_database(address: str) -> sa.Engine:
    """Return an engine for `address`; a SQLite file and its folder are made, foreign keys are kept, readers never wait.

    Raises `BadInput` where the file cannot be made or written.
    """
    url = make_url(address)
    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url, pool_pre_ping=True, pool_size=POOL, max_overflow=MORE)
    file = sqlite_file(url)
    pool = {} if file is None else {"pool_size": POOL, "max_overflow": MORE}
    if file is not None:
        make_private(file)
    engine = sa.create_engine(url, connect_args={"timeout": 30}, **pool)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: Any) -> None:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA journal_mode = WAL")

    return engine


def sqlite_file(url: sa.URL) -> Path | None:
    """Return the file of a SQLite database; None for one in memory, or on a server."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return None
    return Path(url.database)


def make_folder(folder: Path, name: str) -> None:
    """Make a folder that its owner alone may enter, where it is missing; one that there is keeps its rights.

    Raises `BadInput` at `name` where it cannot be made or written.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise BadInput(name, f"cannot be used: {folder}: {fault.strerror}") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise BadInput(name, f"cannot be used: {folder}: may not be written")


def make_private(file: Path) -> None:
    """Make an empty file that its owner alone may read, where it is missing; raises `BadInput` where it cannot be."""
    make_folder(file.parent, str(file.parent))
    try:
        os.close(os.open(file, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as fault:
        raise BadInput(str(file), f"cannot be used: {fault.strerror}") from None


def unusable(name: str, fault: DBAPIError) -> BadInput:
    """Return the refusal of a database at `name`, with the first line of what its driver says."""
    said = str(fault.orig or fault).strip().splitlines() or ["no reason is given"]
    return BadInput(name, f"cannot be used as the database: {said[0]}")


@contextmanager
def aside(engine: sa.Engine) -> Iterator[sa.Engine]:
    """Give an engine in which long tries keep nobody waiting: of a SQLite file, which one writes at a time, a copy."""
    file = sqlite_file(engine.url)
    if file is None:
        yield engine
        return
    with tempfile.TemporaryDirectory(prefix="eave-tried-") as folder:
        copy = Path(folder) / file.name
        copy_sqlite(file, copy)
        tried = open_database(f"sqlite:///{copy}")
        try:
            yield tried
        finally:
            tried.dispose()


@contextmanager
def transaction(engine: sa.Engine) -> Iterator[Session]:
    """Give a session whose changes are kept together at the end, or not at all."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        yield session


def begin_writing(session: Session) -> None:
    """Begin a transaction that parts of can be taken back: SQLite's driver would keep the first part at its end."""
    connection = session.connection()
    driver: Any = connection.connection.driver_connection
    if connection.dialect.name == "sqlite" and not driver.in_transaction:
        connection.exec_driver_sql("BEGIN IMMEDIATE")


# Ids named in one statement at most; SQLite takes 32,766, PostgreSQL 65,535.
AT_ONCE = 2000


def parts(ids: Collection[Key]) -> Iterator[list[Key]]:
    """Return the ids in order, as many in one list as a statement may name."""
    ordered = sorted(ids)
    return (ordered[k : k + AT_ONCE] for k in range(0, len(ordered), AT_ONCE))


def copy_sqlite(file: Path, copy: Path) -> None:
    """Write the SQLite database `file` as it is at one moment into `copy`, one file without its log beside it."""
    source, target = sqlite3.connect(file), sqlite3.connect(copy)
    try:
        source.backup(target)
        target.execute("PRAGMA journal_mode = DELETE")
    finally:
        target.close()
        source.close()
