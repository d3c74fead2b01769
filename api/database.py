"""Opening the database, and bringing it to the newest form."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import alembic.command
import alembic.config
import sqlalchemy as sa
from sqlalchemy.engine import make_url
from sqlmodel import Session

MIGRATIONS = Path(__file__).parent / "migrations"


# Pages are made in up to 40 threads, each with a connection and now and then a second one for work that is kept by
# itself: with fewer than twice as many all could wait for each other. A connection beyond POOL is closed after use.
POOL, MORE = 40, 50


def open_database(address: str) -> sa.Engine:
    """Return an engine for `address`; a SQLite file's folder is made, foreign keys are kept, readers never wait."""
    url = make_url(address)
    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url, pool_pre_ping=True, pool_size=POOL, max_overflow=MORE)
    if url.database and url.database != ":memory:":
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
    in_memory = not url.database or url.database == ":memory:"
    pool = {} if in_memory else {"pool_size": POOL, "max_overflow": MORE}
    engine = sa.create_engine(url, connect_args={"timeout": 30}, **pool)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: Any) -> None:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA journal_mode = WAL")

    return engine


def upgrade(engine: sa.Engine) -> None:
    """Bring the database to the newest migration; does nothing where it is there already."""
    config = alembic.config.Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        alembic.command.upgrade(config, "head")


@contextmanager
def transaction(engine: sa.Engine) -> Iterator[Session]:
    """Give a session whose changes are kept together at the end, or not at all."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        yield session


# Ids named in one statement at most; SQLite takes 32,766, PostgreSQL 65,535.
AT_ONCE = 2000


def parts(ids: Collection[str]) -> Iterator[list[str]]:
    """Return the ids in order, as many in one list as a statement may name."""
    ordered = sorted(ids)
    return (ordered[k : k + AT_ONCE] for k in range(0, len(ordered), AT_ONCE))
