"""/rebooking: whatever is taken, on a database of either kind, the week keeps its rules and nobody is lost."""

from __future__ import annotations

import datetime
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlmodel import SQLModel, col, select

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.ledger.told import told_now
from api.rebooking import search
from api.settings import sqlite_address
from scheduler.plan import read_plan
from tests.service.cast import running, settings_for, signed_in
from tests.service.rebooking.cast import (
    MONDAY,
    THURSDAY,
    holds_together,
    of_kind,
    opened,
    posted,
    spots,
    take,
)


# The walk on SQLite is in every suite; of a server's own there a posting is:
# tests/service/yard/test_shelf.py::test_a_posting_sets_aside_and_the_next_one_frees_it
@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.long)])
def app_anywhere(
    request: pytest.FixtureRequest, posted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[FastAPI]:
    """The application over the posted demo on a database of either kind."""
    monkeypatch.setattr(search.Searches, "begin", lambda *_, **__: None)
    data, address = shutil.copytree(posted_demo, tmp_path / "data"), ""
    if request.param == "postgresql":
        address = request.getfixturevalue("postgresql_database")
        move_to(address, sqlite_address(data))
    with running(settings_for(data, address)) as app:
        app.state.clock = lambda: THURSDAY + datetime.timedelta(hours=1)
        app.state.searches.seconds = search.SearchSeconds(prove=0.1, half=0.2)
        yield app


def move_to(server: str, file: str) -> None:
    """Copy every row of a SQLite database to an empty one on a server."""
    old, new = open_database(file), open_database(server)
    with old.connect() as read, new.begin() as write:
        for table in SQLModel.metadata.sorted_tables:
            rows = [dict(row) for row in read.execute(sa.select(table)).mappings()]
            if rows and table.name != "work_kind":  # a new database begins with these
                write.execute(sa.insert(table), rows)
            if "id" in table.columns and isinstance(table.columns["id"].type, sa.Integer):
                last = sa.select(sa.func.coalesce(sa.func.max(table.columns["id"]), 0) + 1).scalar_subquery()
                write.execute(
                    sa.select(sa.func.setval(sa.func.pg_get_serial_sequence(table.name, "id"), last, sa.false()))
                )
    old.dispose()
    new.dispose()


@pytest.mark.slow
def test_whatever_is_taken_the_week_keeps_its_rules_and_nobody_is_lost(app_anywhere: FastAPI) -> None:
    """A walk: visit after visit is rebooked by a choice of chance; nothing may break, cost otherwise or vanish."""
    office = signed_in(app_anywhere, Role.office)
    office.headers["accept"] = "application/json"
    chance = random.Random(4)
    was = set(spots(posted(app_anywhere)))
    for _ in range(3):
        with transaction(app_anywhere.state.database) as session:
            tied = {f.first_id for f in session.exec(select(tables.VisitFollows)).all()}
        visit = chance.choice(sorted(spots(posted(app_anywhere)).keys() - tied))
        case = opened(office, cause="customer", visit=visit)
        app_anywhere.state.searches._run(case["id"], visit, chance.random() < 0.5)
        row = next(v for v in office.get(f"/rebooking/{case['id']}").json()["visits"] if v["visit"] == visit)
        kind = chance.choice(sorted({offer["kind"] for offer in row["offers"]}))
        offer = chance.choice(of_kind(row, kind))
        answer = take(office, case["id"], row, offer, hold=chance.choice(["firm", "day", "soft"]))
        assert answer.status_code == 200, answer.text
        holds_together(app_anywhere, offer["cost_cents"])
        at = spots(posted(app_anywhere))
        with transaction(app_anywhere.state.database) as session:
            told = {name: told_now(session, name) for name in was | set(at) | {visit}}
            drafts = session.exec(
                select(tables.Message).where(tables.Message.visit_id == visit).order_by(col(tables.Message.id))
            ).all()
        booked = told[visit]
        if kind == "wait":
            assert booked is None
            assert visit not in at
        else:
            assert booked is not None
            assert (booked.crew_id, str(booked.day), booked.start) == (offer["crew"], offer["date"], offer["start"])
            assert (visit in at) == (kind != "later")
            assert drafts[-1].state == "draft"
        plan = read_plan(posted(app_anywhere).plan)
        assert was <= set(at) | {skipped.job for skipped in plan.skipped} | {
            name for name, booking in told.items() if booking is not None
            and booking.day >= MONDAY + datetime.timedelta(days=7)
        }  # fmt: skip
