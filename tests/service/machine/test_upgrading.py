"""Upgrades: from every form with data, cut off anywhere, and of databases that are not ours to change."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import sqlite3
import stat
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory

from api.backup.copying import copy_rows
from api.database import MIGRATIONS, hold, open_database, upgrade, upgrading
from api.settings import sqlite_address
from scheduler.errors import BadInput
from tests.conftest import BuiltDemo
from tests.old_rows import ROWS, fill, still_there

pytestmark = pytest.mark.usefixtures("migrated_for_real")

# Migrations that databases in the field have been through: they are never edited again, a new one mends them.
RELEASED = {
    "0001_first_tables.py": "314ec37edb367498a3e02e2dcb517f58c2154f451affe2ab49ef18134752e4dd",
    "0002_accounts.py": "3e38a2575ec2f6172630ad5afaee71eda25cf3bb270091edd44ff396b2cf0793",
    "0003_work.py": "b082d996b1f6dd871ce7218c8c6c04bc593844369ac66cf78e41ce955395ecef",
    "0004_forecasts.py": "20d4a79d57c79fe7e11acdac06a42d5fe18c70796c136d0781b2d777d7adc836",
    "0005_stop_times.py": "9b93a4b327c67ff128b3deee7525ef200b3d011daa97b9630ed19661d21dd8b3",
    "0006_trust.py": "41281dac699698282dd595f3cb1b1a1649faa37f7fc0acdd5fd3275cac5e6dd7",
    "0007_today.py": "7e6d7b7c25998100dc6fbcf9d48903919e74e9976a361e10cbc855399396159e",
    "0008_chain.py": "c7d5e765d6c8541775f14b6ffc940e44811d48cd62ccd0910ef9579e0602b2ee",
    "0009_office.py": "21d98258befa1002ebdb137c2f555b7cf7ae39921fcbb3b8dd71a3803fb43195",
    "0010_tokens.py": "8ab6aa07226cf41e7544477f819c721e16b8b2a71dc1d810ed08ea900006bb52",
    "0011_models.py": "09015874e7153497fd2413dc70498b5b723d2a92dfa69ee3ce45a177e9fc2a17",
    "0012_roads.py": "4ba67edce5cc7982ceb230efd7e505b1533ec64b5ed9c9e43a5a2c67f5a9fdc1",
    "0013_addresses.py": "14e90418f2f6805dfc494aea34c67add17f7e1129a15c08b0afabedbeecb3370",
    "0014_gates.py": "2dae04179e83346608c307176bb2b5271021aaf149634774f9cb44071655a82d",
    "0015_rest.py": "42115b044c4e17407995e76f315c19efea0886668d72cff5c708ac5f3d8fccbf",
    "0016_zero.py": "b4b18ff55e79fdf1f9a10dd70bf3b8e0c348a6d30d4d34dbc27e6138d1a84ea4",
    "0017_places.py": "0f3902f2b53760d8a06456d13821aa39cc0516b9d702dc0a4b761d32e6108ce5",
    "0018_wording.py": "988ed316948944e64aad7c9c776207944449f6f096213cf8d96c484d49d58844",
    "0019_maker.py": "ae950ae3ce83729ee57b975dd39e14e512ffc5e7f9b6ed59ce7f731a80267101",
    "0020_beside.py": "de6b49034f29c171d4b7b6c0ed84a909f0f2901f192cc0e7b9c01bb46762f2a2",
    "0021_horizon.py": "449c11ead3b6c56d38f59b06db5b3ec5a6880a4f9c1b4e42a6a2a2176cd34b85",
    "0022_webhooks.py": "7c6731eda2b76455e2f64abe44d88f13bed443419bbc9a1b2fb55c5e1ddfa6a0",
    "0023_signed.py": "c0139970a0836c1075a3d6aee0566b7222dea25918a974ce99b28ab16a0abcd0",
    "0024_second_factor.py": "25d0f23df3cc75e38422a0c691d80b438133719a73456a4c0557881b6227b9f6",
    "0025_stays.py": "a86382e25a92add780ed9ce508440e66762f97aa5b1ac55f5308b59d6b15ca40",
    "0026_kinds.py": "851ec62b2f6a8d79b2669dbf998bf89c454618497ca906936e74bbec8e1336bf",
    "0027_busy_calendars.py": "79b7ba6ba4a06eca0930a7095e7ae8552507c70ec5f2b7aac94d847061d8c898",
    "0029_day_repair.py": "7f41a2885cf74cc631037bf94bf87605a531702a9913ba499af899dadd15aa4b",
    "0030_roster.py": "b0981c0a347c558fb69bc4c541a7dbecaeaa8bed6f8ee2ff69cbd357816e85d5",
    "0031_erasing.py": "84610533a820eeb9cd1bb7ba9c47c6783b4c1db27e26b3b5eae3cd26fe6bcaf1",
    "0033_languages.py": "3850ad839e76c11a328dcd05687556dd9d3840dda270e390784b58d1d6800e31",
    "0035_workers.py": "d0c704113f1689b6260a58077988c4e8d73dc55c954c344c8d9a7316de3eccb6",
    "0036_provider.py": "41664e92fc5153ae77fa455844146c8f96518b54114ea1f56a47b308591f4225",
    "0037_first_year.py": "fe142b873ab3536c2960c3195cf799a4c53737787a2343954246a1ae69064a26",
    "0038_notices.py": "a24b98046e08e0c5a3a7419f0559b855143addba6d7f4afa2729d884d39034ba",
    "0039_reminders.py": "af44c4059cd7aaa73c46c9910d3d6854627c058613029ef56be1e020cbeee421",
    "0040_walls.py": "7085da41d882066e857d545da792ff5d1326af88aa1859f9d49fc9672f4d1558",
    "0041_answers.py": "54888be5724a316141bdac437bd7781b14ebb8847aa070f6ddbc440ac7d531ed",
    "0042_rain_dates.py": "bf73985b50afd5a2b39f664aa56dd5639356ac87a13467162f1ab5174ce4bfa9",
    "0043_assists.py": "3d8821b35027516cb7d3f9b388a37e07b192a31074754c16e7d748a7f6c9231c",
    "0044_texts.py": "fa802258215aea9bbb9ec359472a86fedf2cd88ff1f5ffc3e11888dc61bcfc53",
    "0045_which_wall.py": "b3c49757baf8a7d2070c6d60e9de0c986004c845529045f9d8d25fc5b89d3c34",
    "0046_lift_times.py": "14f51d87f134dd141d6c7d2c05f0e3502888ff98ceefd69b19da4df46c31ac79",
    "0047_text_answers.py": "e8cc5578afe3ea70dd372cf51e6bdb4725b4f23f44b00cb5ceeee47a60462ac8",
    "0048_van_calendars.py": "a3fb9ee8ab625798af4def74121a322bb8cb29334881e69d8fb1a62675f58482",
    "0049_gate_days.py": "a2f2f7541e0727c7c5ce75c63f885ed367de5ebe09e796b2a303ef16358e5d4d",
    "0050_reasons_after.py": "941ced0a5ee58b222f656512b8a67a5e14608066dc3a1484e2a41f53ca782073",
    "0051_km_cents.py": "92c2795d87d54e61be167c55be4c79010026551eae2e99ec78b33ee94b6feaa1",
    "0052_load_times.py": "9c5ff1863a8d8ef79082c13b592412d2570cfcaf2238fc01a50667e4be25a1fc",
    "0053_link_phones.py": "221e715d5ebaa6aff948f2e54a1d2452064005e51022a759650e7e30ba13d288",
}


def test_a_released_migration_is_never_edited() -> None:
    found = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((MIGRATIONS / "versions").glob("0*.py"))
    }
    assert {name: found.get(name) for name in RELEASED} == RELEASED


def fresh(server: sa.URL, name: str) -> str:
    """Return the address of a new, empty database of a PostgreSQL server."""
    engine = sa.create_engine(server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        connection.execute(sa.text(f"DROP DATABASE IF EXISTS {name}"))
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    return server.set(database=name).render_as_string(hide_password=False)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'eaveboard.sqlite'}"
        return
    server = sa.make_url(request.getfixturevalue("postgresql_address"))
    yield fresh(server, "upgrading")


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
    source, server = open_database(sqlite_address(built.out)), open_database(unmigrated_on_server)
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
        with sqlite3.connect(path) as raw:
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
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9001'")


def _half(path: Path) -> None:
    with sqlite3.connect(path) as raw:
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
    with sqlite3.connect(path) as raw:  # keeps no foreign keys unless asked
        raw.execute("UPDATE posted_week SET plan_id = 77")
    with pytest.raises(BadInput, match="rows of posted_week name rows that are not there"):
        upgrade(database)
    assert _tables(database) == before
    database.dispose()


def test_a_database_is_held_by_one_service_alone(address: str, tmp_path: Path) -> None:
    database = open_database(address)
    upgrade(database)
    held = hold(tmp_path / "data", address)
    with pytest.raises(BadInput, match="is served already"):
        hold(tmp_path / "data", address)
    with pytest.raises(BadInput, match="is served already"):
        hold(tmp_path / "other", address)  # the same database, from another folder
    assert held.keep()
    held.release()
    hold(tmp_path / "other", address).release()
    database.dispose()


def test_a_lock_that_a_server_has_lost_is_taken_up_again(postgresql_address: str, tmp_path: Path) -> None:
    held = hold(tmp_path, postgresql_address)
    with sa.create_engine(postgresql_address, poolclass=sa.NullPool).connect() as other:
        other.execute(sa.text("SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory'"))
    assert held.keep()
    with pytest.raises(BadInput, match="is served already"):
        hold(tmp_path / "other", postgresql_address)
    held.release()


def test_a_newer_form_waits_for_the_end_of_the_workers_of_an_older_program(tmp_path: Path) -> None:
    database = open_database(f"sqlite:///{tmp_path / 'eaveboard.sqlite'}")
    with pytest.raises(BadInput, match="workers of the older program are at it; end those first"):
        upgrade(database, others=lambda: True)
    assert sa.inspect(database).get_table_names() == []
    upgrade(database)
    upgrade(database, others=lambda: True)  # nothing is to change
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
