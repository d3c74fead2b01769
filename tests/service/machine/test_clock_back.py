"""A clock that is set back: calendars and day sheets agree, sessions end, tries are forgotten, backups go on."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.day_links import crew_of_link, make_link, new_phone, open_on
from api.access.tries import TRIES_BY_NAME, count_try, tries_of
from api.backup.keeper import BackupKeeper, name_of, newest_of
from api.chain import links
from api.database import open_database, transaction
from api.feeds.calendar import crew_calendar, visit_calendar
from api.ledger.history import note
from api.ledger.plans.days import moment
from api.ledger.plans.documents import week_in
from api.ledger.plans.posted import posted_route
from api.messages.telling import book
from api.messages.words import Spot
from api.week import post as module
from tests.conftest import BuiltDemo
from tests.service.cast import NAMES, anonymous, frozen, sign_in
from tests.service.exchange.test_calendar import MONDAY, changed_plan, events

NOON = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
BACK = NOON - datetime.timedelta(days=3)  # to where the clock is set
CREW = "north-1"


@pytest.fixture
def demo(built: BuiltDemo, tmp_path: Path) -> Iterator[sa.Engine]:
    engine = open_database(f"sqlite:///{shutil.copy(built.out / 'eaveboard.sqlite', tmp_path)}")
    yield engine
    engine.dispose()


def begins(feed: bytes, visit_id: str) -> datetime.datetime:
    """Return when a visit begins by a calendar."""
    (event,) = [event for uid, event in events(feed).items() if uid.partition("@")[0].partition(".")[0] == visit_id]
    found = event.dtstart.value
    assert isinstance(found, datetime.datetime)
    return found.astimezone(datetime.UTC)


def test_calendars_and_day_sheets_agree_after_the_clock_was_set_back(
    demo: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "broken_rules", lambda *_: [])  # a visit is moved by hand of the test
    with transaction(demo) as session:
        first = session.exec(select(tables.StoredPlan)).one()
        today, zone = week_in(first), session.get_one(tables.Business, 1).timezone
        module.post(session, first, today, now=NOON, by="maud", despite_why="tried")
        route = posted_route(session, CREW, MONDAY)
        assert route is not None
        visit = route.stops[-1].job
        session.refresh(first)
        kept = first.model_dump(exclude={"id", "plan"})
        moved = tables.StoredPlan(**kept, plan=changed_plan(session, visit, 15))
        session.add(moved)
        session.flush()
        module.post(session, moved, today, now=BACK, by="maud", despite_why="tried")
        route = posted_route(session, CREW, MONDAY)
        assert route is not None
        minute = route.stops[-1].start
        assert begins(crew_calendar(session, CREW), visit) == moment(MONDAY, minute, zone)
        spot: Spot = {"crew": CREW, "date": str(MONDAY), "start": minute - 60, "end": minute, "hold": "firm"}
        book(session, visit, spot, BACK)
        assert begins(visit_calendar(session, visit), visit) == moment(MONDAY, minute - 60, zone)
        book(session, visit, spot | {"start": minute}, BACK - datetime.timedelta(hours=1))
        assert begins(visit_calendar(session, visit), visit) == moment(MONDAY, minute, zone)


def test_a_session_and_a_link_open_on_and_idleness_still_ends_a_session(app: FastAPI) -> None:
    with frozen(NOON):
        client = sign_in(anonymous(app), NAMES[Role.office])
        assert client.get("/session").status_code == 200
        with transaction(app.state.database) as session:
            day = (NOON + datetime.timedelta(days=1)).date()
            made = make_link(session, app.state.secret, "north-1", day, by="maud", now=NOON)
            token, phone = made.token, new_phone()
            assert open_on(session, made.link, phone, "", by="crew", now=NOON)
    with frozen(BACK):
        assert client.get("/session").status_code == 200
        with transaction(app.state.database) as session:
            assert crew_of_link(session, app.state.secret, token, phone, BACK) is not None
    idle = datetime.timedelta(minutes=app.state.settings.idle_minutes + 1)
    with frozen(BACK + idle):
        assert client.get("/session").status_code == 401


def test_tries_of_a_time_to_come_keep_nobody_waiting(app: FastAPI) -> None:
    counted_for = tries_of("name olive", "192.0.2.7", "")
    for _ in range(TRIES_BY_NAME):
        count_try(app.state.database, counted_for, NOON)
    count_try(app.state.database, counted_for, BACK)


def test_the_chain_goes_on_in_its_own_order(app: FastAPI) -> None:
    database = app.state.database
    for at in (NOON, BACK):
        with transaction(database) as session:
            note(session, at, "olive", "made", "customer", f"C-{at.day}", {})
        with transaction(database) as session:
            links.seal(session, at, whole=True)
    with transaction(database) as session:
        assert list(links.broken(session)) == []
        assert links.unsealed(session) == 0


def test_backups_go_on_and_those_made_before_are_the_old_ones(app: FastAPI, tmp_path: Path) -> None:
    clock, folder = [NOON], tmp_path / "backups"
    keeper = BackupKeeper(app.state.database, tmp_path, folder, 24, 2, 90, lambda: clock[0])
    assert keeper.look() is not None
    clock[0] = BACK
    made = keeper.look()
    assert made is not None
    assert made.is_file()
    assert newest_of(folder, BACK) == (made, BACK)
    clock[0] = BACK + datetime.timedelta(days=1)
    assert keeper.look() is not None
    assert not (folder / name_of(NOON)).exists()
