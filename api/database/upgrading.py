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

from api.database.opening import copy_sqlite, make_private, open_database, sqlite_file, unusable
from api.database.server_locks import ADVISORY
from scheduler.errors import BadInput

MIGRATIONS = Path(__file__).parents[1] / "migrations"
COPIES = 3  # copies kept of a database before it was changed, the newest ones
AT_ONCE = 100  # rows in memory


def upgrade(
    engine: sa.Engine,
    to: str = "head",
    others: Callable[[], bool] = lambda: False,
    *,
    copies: Path | None = None,
) -> None:
    """Bring the database to the migration `to`; does nothing where it is there already.

    others: whether a service is at it, which is of an older program then: it is refused where something is to change.
        Asked before the first change alone.
    copies: the folder in which a copy of a database on a server is kept; None: of such a one there is none.

    Each migration is one transaction, so that a start cut off anywhere leaves the form before it or after it. A
    database that holds something is copied first, a SQLite one beside itself. Raises `BadInput` in one sentence where
    the database cannot be reached, read or copied, or is of a newer program.
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
            problem = "must be brought to a newer form, and the older program is still serving it; end that one first"
            raise BadInput(str(name), problem)
        if here is not None:
            _copy(engine, here, copies)
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


def _copy(engine: sa.Engine, form: str, folder: Path | None) -> None:
    """Copy a database that is about to be changed, and sweep copies older than the newest three.

    The copy is a SQLite file in `folder`, that of a SQLite database beside itself. It has its name only once it is
    whole. Nothing is done for a database in memory.
    """
    file = sqlite_file(engine.url)
    beside = file or (folder / "eaveboard.sqlite" if folder and engine.dialect.name != "sqlite" else None)
    if beside is None:
        return
    now = datetime.datetime.now(datetime.UTC)
    copy = beside.with_name(f"{beside.stem}.form-{form}.{now:%Y%m%dT%H%M%S%f}.copy")
    unfinished = copy.with_suffix(".unfinished")
    for left in beside.parent.glob(f"{beside.stem}.form-*.unfinished*"):
        left.unlink(missing_ok=True)
    try:
        make_private(unfinished)
        if file is not None:
            copy_sqlite(file, unfinished)
        else:
            _copy_server(engine, form, unfinished)
        os.replace(unfinished, copy)
    except (OSError, sqlite3.Error, DBAPIError) as fault:
        unfinished.unlink(missing_ok=True)
        said = str(getattr(fault, "orig", None) or fault).strip().partition("\n")[0]
        problem = f"cannot be copied to {copy} before it is changed: {said}"
        raise BadInput(str(file or "EAVEBOARD_DATABASE"), problem) from fault
    stamped = sorted(beside.parent.glob(f"{beside.stem}.form-*.copy"), key=lambda path: path.name.split(".")[-2])
    for old in stamped[:-COPIES]:
        old.unlink(missing_ok=True)


def _copy_server(engine: sa.Engine, form: str, file: Path) -> None:
    """Write a server's database, as it is at one moment in the migration `form`, into the empty SQLite `file`.

    Its tables are those of that migration: what this program knows of tables is of a newer one.
    """
    alone = open_database(f"sqlite:///{file}")
    try:
        upgrade(alone, form)
        known = sa.MetaData()
        known.reflect(alone)
        with (
            engine.connect().execution_options(isolation_level="REPEATABLE READ", stream_results=True) as reading,
            alone.connect() as writing,
            _quiet(writing),
            writing.begin(),
        ):
            writing.exec_driver_sql("BEGIN IMMEDIATE")
            for table in known.tables.values():
                _copy_table(reading, writing, table)
        with alone.connect() as connection:
            connection.exec_driver_sql("PRAGMA journal_mode = DELETE")
    finally:
        alone.dispose()


def _copy_table(reading: sa.Connection, writing: sa.Connection, table: sa.Table) -> None:
    """Put all rows of a server's table into the same table of a SQLite file, whose own few are replaced."""
    if writing.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
        writing.execute(sa.delete(table))
    columns = list[sa.ColumnElement[Any]]()
    for column in table.columns:
        json = isinstance(column.type, sa.JSON)
        if json:  # letter by letter: read and written anew, a null in it could not be told from none
            column.type = sa.Text()
        there: sa.ColumnElement[Any] = sa.column(column.name)
        columns.append(sa.cast(there, sa.Text).label(column.name) if json else there)
    rows = reading.execute(sa.select(*columns).select_from(sa.table(table.name)))
    for some in rows.mappings().partitions(AT_ONCE):
        writing.execute(sa.insert(table), [dict(row) for row in some])
