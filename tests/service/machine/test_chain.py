"""The chain of hashes: what is only ever added to is sealed, whoever writes, and what was tampered with is named."""

from __future__ import annotations

import contextlib
import datetime
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.backup.archive import make_backup
from api.backup.restoring import restore
from api.business.load import load_business
from api.business.seed import read_business
from api.chain import links
from api.chain.keeper import ChainKeeper
from api.condition.doctor import examine
from api.database import open_database, transaction, upgrade
from api.ledger.history import note
from api.settings import Settings, sqlite_address
from tests.conftest import DEMO
from tests.service.cast import application, running, settings_for

NOW = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)


@pytest.fixture
def database(either_settings: Settings) -> Iterator[sa.Engine]:
    engine = open_database(either_settings.database)
    yield engine
    engine.dispose()


def write(database: sa.Engine, *names: str) -> None:
    with transaction(database) as session:
        for name in names:
            note(session, NOW, "office", "made", "customer", name, {"name": ["ä", 1.5, None], "b": 2, "a": 1})


def seal(database: sa.Engine) -> int:
    with transaction(database) as session:
        return links.seal(session, NOW)


def faults(database: sa.Engine, newest: int | None = None) -> list[str]:
    with transaction(database) as session:
        return [one.words for one in links.broken(session, newest=newest)]


def tamper(database: sa.Engine, *statements: str) -> None:
    """Do what somebody with the database's own password can do: past the service and what the database refuses."""
    with database.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SET session_replication_role = replica"))
        else:
            connection.execute(sa.text("PRAGMA foreign_keys = OFF"))
            rows = connection.execute(sa.text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
            for (name,) in rows.all():
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
        for statement in statements:
            connection.execute(sa.text(statement))
        connection.commit()
    database.dispose()


def test_who_seals_while_another_does_neither_breaks_the_chain_nor_fails(database: sa.Engine) -> None:
    write(database, "A", "B")
    told: list[int] = []
    other = threading.Thread(target=lambda: told.append(seal(database)))
    with transaction(database) as session:
        assert links.seal(session, NOW) == 2
        other.start()
        other.join(0.2)  # on SQLite it waits, on PostgreSQL it has given up by now
    other.join(20)
    assert told == [0]
    assert faults(database) == []


def test_every_row_is_sealed_once_and_an_untouched_chain_is_whole(database: sa.Engine) -> None:
    write(database, "A", "B")
    assert seal(database) == 2
    assert seal(database) == 0
    write(database, "C")
    assert seal(database) == 1
    assert faults(database) == faults(database, 1) == []
    with transaction(database) as session:
        assert links.unsealed(session) == 0
        assert session.execute(sa.select(sa.func.count()).select_from(tables.ChainLink)).scalar_one() == 3
    database.dispose()


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE history SET by = 'maud' WHERE id = 2",
            "line 2 of the history was changed; it was sealed on 2027-04-12",
        ),
        ("UPDATE history SET detail = '{}' WHERE id = 2", "line 2 of the history was changed"),
        ("DELETE FROM history WHERE id = 2", "line 2 of the history was removed"),
        ("DELETE FROM history WHERE id = 4", "line 4 of the history was removed"),
        ("DELETE FROM chain_link WHERE id = 2", "link 3 does not follow the one before"),
        ("UPDATE chain_link SET content = 'x' WHERE id = 2", "link 2 itself was changed"),
        ("DELETE FROM chain_link WHERE id = 1", "link 2 does not follow the one before"),
    ],
)
def test_what_was_changed_or_removed_is_named(database: sa.Engine, statement: str, words: str) -> None:
    write(database, "A", "B", "C", "D")
    seal(database)
    with database.connect() as connection:
        first = connection.execute(sa.text("SELECT min(id) FROM history")).scalar_one() - 1
        link = connection.execute(sa.text("SELECT min(id) FROM chain_link")).scalar_one() - 1
    of = link if "chain_link" in statement else first
    number = int(statement.split("id = ")[1])
    said = int(words.split(" ")[1])
    tamper(database, statement.replace(f"id = {number}", f"id = {number + of}"))
    found = faults(database)
    assert any(words.replace(f" {said} ", f" {said + of} ", 1) in one for one in found), found
    database.dispose()


@pytest.mark.race
def test_rows_of_many_writers_at_once_end_in_one_chain(database: sa.Engine) -> None:
    """Rows come into sight in another order than their numbers, and two seal at once: still one chain of all."""
    done, failed = threading.Event(), list[BaseException]()

    def sealing() -> None:
        while not done.wait(0.02):
            with contextlib.suppress(sa.exc.IntegrityError, sa.exc.OperationalError):  # the other one was quicker
                seal(database)

    def writing(who: int) -> None:
        try:
            for k in range(12):
                write(database, f"{who}-{k}")
        except BaseException as fault:
            failed.append(fault)

    sealers = [threading.Thread(target=sealing) for _ in range(2)]
    writers = [threading.Thread(target=writing, args=(who,)) for who in range(4)]
    for thread in (*sealers, *writers):
        thread.start()
    for thread in writers:
        thread.join()
    done.set()
    for thread in sealers:
        thread.join()
    seal(database)
    assert failed == faults(database) == []
    with transaction(database) as session:
        assert links.unsealed(session) == 0
        assert session.execute(sa.select(sa.func.count()).select_from(tables.ChainLink)).scalar_one() == 48
    database.dispose()


def test_a_row_that_comes_into_sight_late_is_sealed_too(postgresql_database: str) -> None:
    database = open_database(postgresql_database)
    with transaction(database) as early:
        note(early, NOW, "office", "made", "customer", "early", {})
        early.flush()
        write(database, "later")
        assert seal(database) == 1
    assert seal(database) == 1
    assert faults(database) == []
    database.dispose()


def test_the_service_seals_what_was_written_and_says_at_its_start_what_is_wrong(
    either_settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    with running(either_settings) as app:
        write(app.state.database, "A")
    database = open_database(either_settings.database)
    with transaction(database) as session:
        assert links.unsealed(session) == 0
        newest = session.execute(sa.select(sa.func.max(tables.History.id))).scalar_one()
    tamper(database, f"UPDATE history SET by = 'nobody' WHERE id = {newest}")
    with application(either_settings) as app, TestClient(app):
        assert [one.words.split(";")[0] for one in app.state.chain.found] == [
            f"line {newest} of the history was changed"
        ]
    assert f"line {newest} of the history was changed" in caplog.text
    found = {one.about: one for one in examine(replace(either_settings, port=1), database, NOW)}["chain"]
    assert (found.state, f"line {newest} of the history was changed" in found.words) == ("broken", True)
    database.dispose()


def test_a_business_loaded_anew_leaves_the_chain_whole(tmp_path: Path) -> None:
    database = open_database(sqlite_address(tmp_path))
    upgrade(database)
    load_business(database, read_business(DEMO), "first", NOW)
    while seal(database):
        pass
    with transaction(database) as session:
        mine = session.execute(sa.select(tables.ChainLink.of_table).distinct()).scalars().all()
    assert set(mine) >= {"history", "stock_move"}
    load_business(database, read_business(DEMO), "second", NOW)
    while seal(database):
        pass
    assert faults(database) == []
    with transaction(database) as session:
        assert links.unsealed(session) == 0
        move = session.execute(sa.select(sa.func.max(tables.StockMove.id))).scalar_one()
    tamper(database, f"UPDATE stock_move SET pieces = pieces + 1 WHERE id = {move}")
    assert [words.split(";")[0] for words in faults(database)] == [f"move {move} of the shelf was changed"]
    database.dispose()


def test_a_chain_made_anew_as_a_whole_is_seen_beside_the_newest_backup(tmp_path: Path) -> None:
    folder, backups = tmp_path / "data", tmp_path / "backups"
    settings = replace(settings_for(folder), port=1, backups=backups)
    with running(settings) as app:
        write(app.state.database, "A", "B")
    database = open_database(settings.database)
    manifest = make_backup(database, folder, backups / "eaveboard-20270412T120000Z.backup", NOW)
    with transaction(database) as session:
        assert links.head(session) == links.Head(*manifest.chain)
    assert {one.about: one for one in examine(settings, database, NOW)}["chain"].state == "fine"
    tamper(database, "UPDATE history SET by = 'maud' WHERE id = 2", "DELETE FROM chain_link")
    while seal(database):
        pass
    assert faults(database) == []
    found = {one.about: one for one in examine(settings, database, NOW)}["chain"]
    assert (found.state, "not as in the newest backup" in found.words) == ("broken", True)
    database.dispose()
    other = tmp_path / "other"
    restore(backups / "eaveboard-20270412T120000Z.backup", other, sqlite_address(other), replace=False, now=NOW)
    database = open_database(sqlite_address(other))
    assert faults(database) == []
    database.dispose()


def test_the_chain_is_only_ever_added_to(database: sa.Engine) -> None:
    write(database, "A")
    seal(database)
    for change in ("UPDATE chain_link SET content = 'x'", "DELETE FROM chain_link"):
        with pytest.raises(sa.exc.DatabaseError, match="only ever added to"), database.begin() as connection:
            connection.execute(sa.text(change))
    database.dispose()


def test_what_stays_is_removed_by_a_load_alone_which_is_written_down(either_settings: Settings) -> None:
    database = open_database(either_settings.database)
    load_business(database, read_business(DEMO), "first", NOW)
    with transaction(database) as session:
        assert session.exec(sa.select(tables.LedgerOpening)).all() == []  # type: ignore[call-overload]
        visit = session.execute(sa.select(tables.Visit.id)).scalars().first()
        count = tables.CrateCount(visit_id=visit, begun_at=NOW, begun_by="olive")
        session.add(count)
        session.flush()
        session.add(tables.CountLine(count_id=count.id, item="bracket", pieces=1, at=NOW, by="olive"))
        session.add(
            tables.StoredPlan(start_date=NOW.date(), fingerprint="f", week="{}", plan="{}", cost_cents=1,
                              bound_cents=1, seconds=1.0, made_at=NOW, made_by="maud")
        )  # fmt: skip
    for change in ("DELETE FROM stock_move", "DELETE FROM count_line", "DELETE FROM stored_plan"):
        with pytest.raises(sa.exc.DatabaseError, match="stays as it was made"), database.begin() as connection:
            connection.execute(sa.text(change))
    load_business(database, read_business(DEMO), "second", NOW)
    with transaction(database) as session:
        (opening,) = session.execute(sa.select(tables.LedgerOpening)).scalars().all()
        assert (opening.by, opening.why, opening.closed_at) == ("files", "the business was loaded anew", NOW)
    for change in (
        "DELETE FROM stock_move",
        "DELETE FROM ledger_opening",
        "UPDATE ledger_opening SET closed_at = NULL",
    ):
        with pytest.raises(sa.exc.DatabaseError, match="stays as it was made"), database.begin() as connection:
            connection.execute(sa.text(change))
    while seal(database):
        pass
    assert faults(database) == []
    database.dispose()


def test_a_database_that_is_away_for_a_while_does_not_end_the_sealing(app: FastAPI) -> None:
    keeper = ChainKeeper(app.state.database, lambda: NOW)
    keeper.check()
    keeper.lookout.start()
    keeper.lookout.stop()
    assert keeper.found == []
