"""One service holds a database; no other program changes its form under it."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.runtime.migration import MigrationContext

from api.cli import main
from api.database import hold, open_database, upgrade, upgrading
from api.settings import sqlite_address
from scheduler.errors import BadInput
from tests.conftest import DEMO

pytestmark = pytest.mark.usefixtures("migrated_for_real")


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
    with pytest.raises(BadInput, match="the older program is still serving it; end that one first"):
        upgrade(database, others=lambda: True)
    assert sa.inspect(database).get_table_names() == []
    upgrade(database)
    upgrade(database, others=lambda: True)  # nothing is to change
    database.dispose()


# Each command that works beside a service, on a database that it may find in an older form.
BESIDE = {
    "reset-password": ["reset-password", "maud", "--manager"],
    "export": ["export", "--out", "all.zip"],
    "import": ["import", str(DEMO / "customers.csv"), "--dry-run"],
    "packet": ["packet", "J-1", "--out", "packet.pdf"],
    "daysheet": ["daysheet", "north-1", "2027-04-12", "--out", "day.pdf"],
    "roads get": ["roads", "get", "gridton", "--from", "region.osm.pbf", "--box", "40,-75,41,-74"],
    "demo": ["demo", "--out", "."],
}


@pytest.mark.parametrize("name", BESIDE)
def test_no_command_changes_the_form_of_a_database_that_an_older_program_serves(
    name: str, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EAVEBOARD_DATA", str(tmp_path))
    monkeypatch.setenv("EAVEBOARD_DATABASE", address)
    (tmp_path / "region.osm.pbf").write_bytes(b"\0\0\0\rOSMHeader")
    address = sqlite_address(tmp_path) if name == "demo" else address  # which is a folder with SQLite in it
    database, older = open_database(address), upgrading.forms()[-2]
    upgrade(database, older)
    serving = hold(tmp_path, address, place="127.0.0.1:8410, process 1")
    serving.join()
    with pytest.raises(SystemExit) as ended:
        main(BESIDE[name])
    said = capsys.readouterr()
    assert (ended.value.code, said.out, said.err.count("\n")) == (2, "", 1), said
    assert said.err.endswith("the older program is still serving it; end that one first.\n")
    with database.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == older
    assert not list(tmp_path.glob("*.copy"))
    serving.release()
    database.dispose()


def test_a_command_brings_a_database_that_nobody_serves_to_the_newest_form_and_works_beside_a_service(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("EAVEBOARD_DATA", str(tmp_path))
    monkeypatch.setenv("EAVEBOARD_DATABASE", address)
    monkeypatch.setenv("EAVEBOARD_PASSWORD_COST", "quick")
    database = open_database(address)
    upgrade(database, upgrading.forms()[-2])
    for served in (False, True):  # the second time in the newest form, and by whoever serves it
        serving = hold(tmp_path, address, place="127.0.0.1:8410, process 1") if served else None
        with pytest.raises(SystemExit) as ended:
            main(["reset-password", "maud", "--manager"])
        assert (ended.value.code, "one-time password" in capsys.readouterr().out) == (0, True)
        if serving is not None:
            serving.release()
    with database.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == upgrading.forms()[-1]
    database.dispose()
