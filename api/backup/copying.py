"""The database as one SQLite file, at one moment, whichever kind it is of; and the rows of such a file put back."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import sqlalchemy as sa
from alembic.runtime.migration import MigrationContext
from sqlmodel import SQLModel

import api.tables  # noqa: F401  (fills the metadata)
from api.database import forms, open_database, upgrade
from api.database.opening import copy_sqlite, make_private, sqlite_file
from scheduler.errors import BadInput

AT_ONCE = 500  # rows in memory


def snapshot(database: sa.Engine, file: Path) -> str:
    """Write the database as it is at one moment into the new SQLite `file`, and return its form (a migration's name).

    Others may read and write meanwhile. SQLite's own means copies a SQLite database; of PostgreSQL each table is read
    in one transaction. Raises `BadInput` where a PostgreSQL database is not in this program's form.
    """
    make_private(file)
    source_file = sqlite_file(database.url)
    if source_file is not None:
        copy_sqlite(source_file, file)
        return form_of(file) or ""
    alone = open_database(f"sqlite:///{file}")
    try:
        upgrade(alone)
        with (
            database.connect().execution_options(isolation_level="REPEATABLE READ", stream_results=True) as reading,
            alone.begin() as writing,
        ):
            here, head = MigrationContext.configure(reading).get_current_revision(), forms()[-1]
            if here != head:
                problem = f"is in form {here}, this program knows {head}: start the service of this program on it first"
                raise BadInput("EAVEBOARD_DATABASE", problem)
            copy_rows(reading, writing)
        with alone.connect() as connection:
            connection.exec_driver_sql("PRAGMA journal_mode = DELETE")
    finally:
        alone.dispose()
    return head


def copy_rows(source: sa.Connection, target: sa.Connection) -> None:
    """Put all rows of `source` into the same tables of `target`, in which what a new one begins with is replaced."""
    tables = SQLModel.metadata.sorted_tables
    for table in reversed(tables):
        if target.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
            target.execute(sa.delete(table))
    for table in tables:
        rows = source.execute(sa.select(table).order_by(*table.primary_key.columns))
        for some in rows.mappings().partitions(AT_ONCE):
            target.execute(sa.insert(table), [dict(row) for row in some])
    if target.dialect.name == "postgresql":
        for table in tables:
            for column in table.primary_key.columns:
                own = sa.func.pg_get_serial_sequence(f'"{table.name}"', column.name)
                if target.scalar(sa.select(own)) is not None:
                    top = sa.select(sa.func.coalesce(sa.func.max(column), 0) + 1).scalar_subquery()
                    target.execute(sa.select(sa.func.setval(own, top, False)))


def form_of(file: Path) -> str | None:
    """Return the migration that a SQLite file is at, None where it says none."""
    with sqlite3.connect(file) as connection:
        try:
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        except sqlite3.Error:
            row = None
    connection.close()
    return str(row[0]) if row else None


def faults_of(file: Path) -> list[str]:
    """Return what is wrong with a SQLite file as a database, in words; empty where it is whole."""
    connection = sqlite3.connect(file)
    try:
        said = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(5)")]
        broken = {str(row[0]) for row in connection.execute("PRAGMA foreign_key_check")}
    except sqlite3.Error as fault:
        return [str(fault)]
    finally:
        connection.close()
    return [words for words in said if words != "ok"] + [
        f"rows of {name} name rows that are not there" for name in sorted(broken)
    ]
