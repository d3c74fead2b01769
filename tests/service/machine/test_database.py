"""The database's form: migrations give just the tables of the models, and the history only grows."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import alembic.autogenerate
import alembic.command
import alembic.config
import pytest
import sqlalchemy as sa
from alembic.runtime.migration import MigrationContext
from sqlmodel import SQLModel, select

from api import tables
from api.business.load import load_business
from api.business.seed import read_business
from api.database import MIGRATIONS, open_database, transaction, upgrade
from api.ledger.history import note
from api.settings import Settings
from api.week.run.planning import prepare_week
from scheduler.week import week_document
from tests.conftest import DEMO, BuiltDemo

pytestmark = pytest.mark.usefixtures("migrated_for_real")


@pytest.fixture(params=["sqlite", "postgresql"])
def unmigrated(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[sa.Engine]:
    """A database without any tables, of either kind."""
    sqlite = request.param == "sqlite"
    address = f"sqlite:///{tmp_path / 'bare.sqlite'}" if sqlite else request.getfixturevalue("unmigrated_on_server")
    engine = open_database(address)
    yield engine
    engine.dispose()


@pytest.fixture
def database(either_settings: Settings) -> Iterator[sa.Engine]:
    """An empty database in the newest form, of either kind."""
    engine = open_database(either_settings.database)
    yield engine
    engine.dispose()


NOON = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)


def test_migrations_give_the_tables_of_the_models(database: sa.Engine) -> None:
    with database.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert alembic.autogenerate.compare_metadata(context, SQLModel.metadata) == []


@pytest.mark.slow
def test_migrating_twice_changes_nothing_and_back_leaves_nothing(unmigrated: sa.Engine) -> None:
    upgrade(unmigrated)
    upgrade(unmigrated)
    config = alembic.config.Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with unmigrated.begin() as connection:
        config.attributes["connection"] = connection
        alembic.command.downgrade(config, "base")
    assert sa.inspect(unmigrated).get_table_names() == ["alembic_version"]


@pytest.mark.parametrize("change", ["UPDATE history SET by = 'somebody else'", "DELETE FROM history"])
def test_history_is_only_ever_added_to(database: sa.Engine, change: str) -> None:
    with transaction(database) as session:
        note(session, NOON, "office", "counted", "visit", "J-1", {"item": "bracket"})
    with pytest.raises(sa.exc.DatabaseError, match="only ever added to"), database.begin() as connection:
        connection.execute(sa.text(change))
    with transaction(database) as session:
        (row,) = session.exec(select(tables.History)).all()
        assert (row.by, row.at, row.detail) == ("office", NOON, {"item": "bracket"})


def test_the_demo_business_gives_the_same_week_on_postgresql(postgresql_database: str, built: BuiltDemo) -> None:
    database = open_database(postgresql_database)
    business = read_business(DEMO)
    now = business.first_week.forecast_issued
    load_business(database, business, "files", now)
    made = prepare_week(database, business.first_week.start_date, now)
    database.dispose()
    assert week_document(made.built.week) == (built.out / "week.json").read_bytes()


def test_a_row_of_an_unknown_site_is_refused(database: sa.Engine) -> None:
    with pytest.raises(sa.exc.IntegrityError), transaction(database) as session:
        session.add(tables.Visit(id="J-1", kind="repair", site_id="nowhere"))  # type: ignore[call-arg]


def test_an_unknown_kind_is_refused(database: sa.Engine) -> None:
    with transaction(database) as session:
        session.add(tables.Customer(id="C", name="n", phone="", email=""))
        session.flush()
        session.add(tables.Site(id="S", customer_id="C", town="t", address="a", lat=0, lon=0))
    with pytest.raises(sa.exc.IntegrityError), transaction(database) as session:
        session.add(tables.Visit(id="J-1", kind="dance", site_id="S"))  # type: ignore[call-arg]


def test_a_moment_without_its_zone_is_refused() -> None:
    engine = open_database("sqlite://")
    SQLModel.metadata.create_all(engine)
    naive = datetime.datetime(2027, 4, 12, 12)
    with pytest.raises(sa.exc.StatementError, match="needs its time zone"), transaction(engine) as session:
        note(session, naive, "office", "counted", "visit", "J-1", {})
    engine.dispose()
