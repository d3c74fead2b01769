"""Bringing a database to the newest form: a copy first, then each migration whole or not at all."""

from __future__ import annotations

import datetime
import functools
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import alembic.config
import sqlalchemy as sa
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.exc import DBAPIError

from api.database.opening import copy_sqlite, make_private, sqlite_file, unusable
from api.database.server_locks import ADVISORY
from scheduler.errors import BadInput

MIGRATIONS = Path(__file__).parents[1] / "migrations"
COPIES = 3  # copies kept beside a SQLite database, the newest ones


def upgrade(engine: sa.Engine, to: str = "head", others: Callable[[], bool] = lambda: False) -> None:
    """Bring the database to the migration `to`; does nothing where it is there already.

    others: whether workers are at it, which are of an older program then: it is refused where something is to change.

    Each migration is one transaction, so that a start cut off anywhere leaves the form before it or after it. A SQLite
    database that holds something is copied beside itself first. Raises `BadInput` in one sentence where the database
    cannot be reached or read, or is of a newer program.
    """
    config, scripts = _config(), _scripts()
    name = sqlite_file(engine.url) or "EAVEBOARD_DATABASE"
    try:
        with engine.connect() as connection:
            here = _form(connection, str(name))
        chain = forms(to)
        steps = chain[chain.index(here) + 1 :] if here in chain else () if here is not None else chain
        if not steps:
            return
        if others():
            problem = "must be brought to a newer form, and workers of the older program are at it; end those first"
            raise BadInput(str(name), problem)
        if here is not None:
            copy_beside(engine, here)
        with engine.connect() as connection, _quiet(connection):
            for step in steps:
                _one(connection, config, scripts, chain, step)
    except DBAPIError as fault:
        raise unusable(str(name), fault) from fault


def _config() -> alembic.config.Config:
    config = alembic.config.Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    return config


@functools.cache
def _scripts() -> ScriptDirectory:
    """Return the migrations, read once in a process: there are many, and they do not change while it runs."""
    return ScriptDirectory.from_config(_config())


@functools.cache
def forms(to: str = "head") -> tuple[str, ...]:
    """Return the names of the migrations up to `to`, the first one first."""
    return tuple(script.revision for script in _scripts().iterate_revisions(to, "base"))[::-1]


def _form(connection: sa.Connection, name: str) -> str | None:
    """Return the migration that the database is at, None for an empty one."""
    here = MigrationContext.configure(connection).get_current_revision()
    known = forms()
    if here is not None and here not in known:
        newest = known[-1]
        problem = (
            f"is of a newer program (form {here}, this one knows {newest}); start the newer program, "
            "or put back the copy made before it"
        )
        raise BadInput(name, problem)
    if here is None and set(sa.inspect(connection).get_table_names()) - {"alembic_version"}:
        problem = (
            "holds tables but does not say of which form: its first start was cut off, or it is of another program"
        )
        raise BadInput(name, f"{problem}; put back a copy, or give an empty database")
    return here


def _one(
    connection: sa.Connection,
    config: alembic.config.Config,
    scripts: ScriptDirectory,
    chain: tuple[str, ...],
    step: str,
) -> None:
    """Take one step in one transaction, unless another process has taken it meanwhile."""
    sqlite = connection.dialect.name == "sqlite"
    with connection.begin():
        # The driver begins a transaction only before it changes rows, not tables: said here, and at once for writing.
        connection.exec_driver_sql("BEGIN IMMEDIATE" if sqlite else f"SELECT pg_advisory_xact_lock({ADVISORY + 1})")
        here = MigrationContext.configure(connection).get_current_revision()
        if here not in (None, *chain[: chain.index(step)]):
            return
        config.attributes["connection"] = connection
        # As Alembic's own command does it, whose directory of scripts would be read anew, all of them, for each step.
        with EnvironmentContext(
            config, scripts, fn=lambda revision, _: scripts._upgrade_revs(step, revision), destination_rev=step
        ):
            scripts.run_env()
        if sqlite:
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                tables = ", ".join(sorted({str(row[0]) for row in broken}))
                raise BadInput(
                    str(sqlite_file(connection.engine.url)),
                    f"cannot be brought to form {step}: rows of {tables} name rows that are not there; "
                    "nothing was changed",
                )


@contextmanager
def _quiet(connection: sa.Connection) -> Iterator[None]:
    """Have SQLite keep no foreign keys meanwhile, and its driver begin no transactions by itself."""
    if connection.dialect.name != "sqlite":
        yield
        return
    driver: Any = connection.connection.driver_connection
    before, driver.isolation_level = driver.isolation_level, None
    driver.execute("PRAGMA foreign_keys = OFF")  # a table is changed by making it anew: others name it meanwhile
    try:
        yield
    finally:
        driver.execute("PRAGMA foreign_keys = ON")
        driver.isolation_level = before


def copy_beside(engine: sa.Engine, form: str) -> Path | None:
    """Copy a SQLite database beside itself, sweep copies older than the newest three, and return the copy.

    None on PostgreSQL and in memory. A copy has its name only once it is whole.
    """
    file = sqlite_file(engine.url)
    if file is None:
        return None
    now = datetime.datetime.now(datetime.UTC)
    copy = file.with_name(f"{file.stem}.form-{form}.{now:%Y%m%dT%H%M%S%f}.copy")
    unfinished = copy.with_suffix(".unfinished")
    for left in file.parent.glob(f"{file.stem}.form-*.unfinished"):
        left.unlink(missing_ok=True)
    try:
        make_private(unfinished)
        copy_sqlite(file, unfinished)
        os.replace(unfinished, copy)
    except (OSError, sqlite3.Error) as fault:
        unfinished.unlink(missing_ok=True)
        raise BadInput(str(file), f"cannot be copied before it is changed: {fault}") from fault
    stamped = sorted(file.parent.glob(f"{file.stem}.form-*.copy"), key=lambda path: path.name.split(".")[-2])
    for old in stamped[:-COPIES]:
        old.unlink(missing_ok=True)
    return copy
