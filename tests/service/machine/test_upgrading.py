"""Upgrades: from every form with data, cut off anywhere, and of databases that are not ours to change."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import sqlite3
import stat
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory

from api.backup.copying import copy_rows
from api.database import MIGRATIONS, open_database, upgrade, upgrading
from api.settings import sqlite_address
from scheduler.errors import BadInput
from tests.conftest import BuiltDemo
from tests.old_rows import ROWS, fill, still_there
from tests.postgresql import fresh
from tests.service.machine.released import RELEASED

pytestmark = pytest.mark.usefixtures("migrated_for_real")


def test_a_released_migration_is_never_edited() -> None:
    found = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((MIGRATIONS / "versions").glob("0*.py"))
    }
    assert {name: found.get(name) for name in RELEASED} == RELEASED


@pytest.mark.slow
@pytest.mark.parametrize("form", sorted(ROWS))
def test_a_database_of_any_form_keeps_its_rows_through_an_upgrade_and_in_its_copy(
    address: str, form: str, tmp_path: Path
) -> None:
    database = open_database(address)
    fill(database, form)
    before = _rows(database)
    upgrade(database, copies=tmp_path)
    still_there(database, form)
    [copy] = tmp_path.glob(f"eaveboard.form-{form}.*.copy")
    kept = open_database(f"sqlite:///{copy}")
    assert _rows(kept) == before
    kept.dispose()
    if database.dialect.name == "sqlite":
        with database.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall() == []
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    upgrade(database)
    database.dispose()


def _rows(database: sa.Engine) -> dict[str, list[str]]:
    """Return all rows of all tables, alike for either kind of database."""
    known = sa.MetaData()
    known.reflect(database)
    with database.connect() as connection:
        return {
            name: sorted(str([*row]) for row in connection.execute(sa.select(table)))
            for name, table in known.tables.items()
        }


@pytest.mark.slow
def test_the_copy_of_a_database_on_a_server_holds_all_that_the_demo_does(
    built: BuiltDemo, unmigrated_on_server: str, tmp_path: Path
) -> None:
    demo = shutil.copytree(built.out, tmp_path / "demo")
    source, server = open_database(sqlite_address(demo)), open_database(unmigrated_on_server)
    upgrade(server)
    with source.connect() as reading, server.begin() as writing:
        copy_rows(reading, writing)
    upgrading._copy_server(server, upgrading.forms()[-1], tmp_path / "eaveboard.copy")
    copy = open_database(f"sqlite:///{tmp_path / 'eaveboard.copy'}")
    held = _rows(copy)
    assert held == _rows(source)
    assert sum(map(len, held.values())) > 500
    for one in (source, server, copy):
        one.dispose()


def cut_off(address: str, at: int) -> bool:
    """Upgrade in a process of its own that is killed before statement `at`; say whether it came so far."""
    child = os.fork()
    if child == 0:
        try:
            engine, seen = open_database(address), 0

            @sa.event.listens_for(engine, "before_cursor_execute")
            def count(*_: object) -> None:
                nonlocal seen
                seen += 1
                if seen == at:
                    os.kill(os.getpid(), signal.SIGKILL)

            upgrade(engine)
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def forms(tmp_path: Path, data: str | None) -> dict[str | None, set[tuple[str, str]]]:
    """Return what a SQLite database holds by its form, from the first (None: empty) to the newest."""
    engine = open_database(f"sqlite:///{tmp_path / 'whole.sqlite'}")
    found = {data: _tables(engine)}
    if data is not None:
        fill(engine, data)
        found = {data: _tables(engine)}
    chain = [script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()][::-1]
    for form in chain:  # their numbers need not be in the order in which they follow each other
        if data is None or chain.index(form) > chain.index(data):
            upgrade(engine, form)
            found[form] = _tables(engine)
    engine.dispose()
    return found


def _tables(engine: sa.Engine) -> set[tuple[str, str]]:
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT name, coalesce(sql, '') FROM sqlite_master")
        # The constraints of a table made anew come in no fixed order.
        return {(name, "\n".join(sorted(line.strip(" ,") for line in sql.splitlines()))) for name, sql in rows}


def _cut_off_everywhere(tmp_path: Path, data: str | None, step: int) -> None:
    expected, at, came_so_far = forms(tmp_path, data), 1, True
    before = tmp_path / "before.sqlite"
    engine = open_database(f"sqlite:///{before}")
    if data is not None:
        fill(engine, data)
    engine.dispose()
    while came_so_far:
        path = shutil.copy(before, tmp_path / f"cut-{at}.sqlite")
        came_so_far = cut_off(f"sqlite:///{path}", at)
        with closing(sqlite3.connect(path)) as raw, raw:
            known = raw.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'").fetchone()
            row = raw.execute("SELECT version_num FROM alembic_version").fetchone() if known else None
        engine = open_database(f"sqlite:///{path}")
        assert _tables(engine) == expected[row[0] if row else None], f"cut off before statement {at}"
        if at % 4 == 1:
            upgrade(engine)
            if data is not None:
                still_there(engine, data)
        engine.dispose()
        at += step


@pytest.mark.slow
@pytest.mark.parametrize("data", [None, pytest.param("0001", marks=pytest.mark.long)])
def test_a_start_cut_off_leaves_the_form_before_or_the_one_after(tmp_path: Path, data: str | None) -> None:
    _cut_off_everywhere(tmp_path, data, step=397)


@pytest.mark.long
@pytest.mark.parametrize("data", [None, "0001", "0002", "0003"])
def test_a_start_cut_off_at_any_statement_leaves_the_form_before_or_the_one_after(
    tmp_path: Path, data: str | None
) -> None:
    _cut_off_everywhere(tmp_path, data, step=1)


@pytest.mark.slow
def test_a_start_cut_off_on_a_server_starts_again(request: pytest.FixtureRequest) -> None:
    server = sa.make_url(request.getfixturevalue("postgresql_address"))
    for at in (5, 40, 80):
        address = fresh(server, "cut")
        database = open_database(address)
        fill(database, "0001")
        database.dispose()
        assert cut_off(address, at)
        upgrade(database)
        still_there(database, "0001")
        database.dispose()


def test_a_copy_is_kept_before_an_upgrade_and_old_ones_are_swept(tmp_path: Path) -> None:
    path = tmp_path / "eaveboard.sqlite"
    for day in range(1, 5):
        (tmp_path / f"eaveboard.form-0001.2026010{day}T120000000000.copy").touch()
    (tmp_path / "eaveboard.form-0001.20260105T120000000000.unfinished").touch()
    database = open_database(f"sqlite:///{path}")
    fill(database, "0001")
    before = _tables(database)
    upgrade(database)
    database.dispose()
    copies = sorted(tmp_path.glob("*.copy"))
    assert len(copies) == 3
    assert not list(tmp_path.glob("*.unfinished"))
    assert stat.S_IMODE(copies[-1].stat().st_mode) == 0o600
    kept = open_database(f"sqlite:///{copies[-1]}")
    assert _tables(kept) == before
    still_there(kept, "0001")
    kept.dispose()


def _unreadable(path: Path) -> None:
    path.write_bytes(b"This is no database at all, whatever its name says. " * 40)


def _newer(path: Path) -> None:
    database = open_database(f"sqlite:///{path}")
    upgrade(database)
    database.dispose()
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = '9001'")


def _half(path: Path) -> None:
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("PRAGMA journal_mode = WAL")
        raw.execute("CREATE TABLE business (id INTEGER)")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_unreadable, "file is not a database"),
        (_newer, "is of a newer program (form 9001"),
        (_half, "its first start was cut off"),
        (Path.mkdir, "cannot be used"),
    ],
)
def test_a_database_that_cannot_be_upgraded_is_refused_in_a_sentence_and_left_alone(
    tmp_path: Path, make: Callable[[Path], None], words: str
) -> None:
    path = tmp_path / "eaveboard.sqlite"
    make(path)
    before = _held(path)
    with pytest.raises(BadInput) as refused:
        open_and_upgrade(path)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)
    assert _held(path) == before


def open_and_upgrade(path: Path) -> None:
    engine = open_database(f"sqlite:///{path}")
    try:
        upgrade(engine)
    finally:
        engine.dispose()


def _held(path: Path) -> object:
    """Return all that a SQLite database holds; what is none as it is."""
    if not path.is_file():
        return None
    try:
        with closing(sqlite3.connect(path)) as raw:
            return list(raw.iterdump())
    except sqlite3.DatabaseError:
        return path.read_bytes()


def test_rows_that_name_rows_not_there_stop_the_upgrade_and_nothing_is_changed(tmp_path: Path) -> None:
    path = tmp_path / "eaveboard.sqlite"
    database = open_database(f"sqlite:///{path}")
    fill(database, "0002")
    before = _tables(database)
    with closing(sqlite3.connect(path)) as raw, raw:  # keeps no foreign keys unless asked
        raw.execute("UPDATE posted_week SET plan_id = 77")
    with pytest.raises(BadInput, match="rows of posted_week name rows that are not there"):
        upgrade(database)
    assert _tables(database) == before
    database.dispose()


@pytest.mark.long
@pytest.mark.parametrize("data", ["0001", "0003"])
def test_a_start_cut_off_on_postgresql_is_taken_up_by_the_next_one(postgresql_address: str, data: str) -> None:
    """What was cut off has left a form of the chain, from which the next start comes to the newest, rows and all."""
    server = sa.make_url(postgresql_address)
    whole = sa.create_engine(server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    engine = open_database(fresh(server, "before"))
    fill(engine, data)
    engine.dispose()
    chain = [script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()]
    forms_seen, at, came_so_far = set[str](), 1, True
    while came_so_far:
        with whole.connect() as connection:
            connection.execute(sa.text("DROP DATABASE IF EXISTS cut WITH (FORCE)"))
            connection.execute(sa.text("CREATE DATABASE cut TEMPLATE before"))
        address = server.set(database="cut").render_as_string(hide_password=False)
        came_so_far = cut_off(address, at)
        engine = open_database(address)
        with engine.connect() as connection:
            forms_seen.add(str(connection.scalar(sa.text("SELECT version_num FROM alembic_version"))))
        upgrade(engine)
        still_there(engine, data)
        engine.dispose()
        at += 29
    whole.dispose()
    assert forms_seen <= set(chain)
    assert len(forms_seen) > 10
