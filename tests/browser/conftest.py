"""Fixtures of the tests in a real browser: `board` to read from, `own_board` to write on."""

from __future__ import annotations

import datetime
import functools
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, sync_playwright

from api import tables
from api.database import open_database, transaction
from api.settings import sqlite_address
from api.week.planning import plan_week, prepare_week
from scheduler import plan_week as solve
from tests.browser.board import Board, Size, add_people, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.conftest import BuiltDemo, made_once
from tests.service.cast import add_cast

# Enough for days of several stops, and no test may lean on which; of the processor's time, so that it is enough on a
# machine that is busy with other things too.
PLAN_S = 4.0
POSTED_AT = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def posted_demo(compiled: None, built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of the demo business with its week planned by the engine and posted: copy it before serving."""

    def make(folder: Path) -> Path:
        shutil.copytree(built.out, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        made = prepare_week(engine, built.made.start_date, POSTED_AT)
        planner = functools.partial(solve, clock=time.process_time)
        row, _ = plan_week(engine, made, planner, seconds=PLAN_S, now=POSTED_AT, by="test")
        assert row.id is not None
        with transaction(engine) as session:
            session.add(
                tables.PostedWeek(start_date=row.start_date, plan_id=row.id, posted_at=POSTED_AT, posted_by="test")
            )
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "posted-for-browsers", make)


@pytest.fixture(scope="session")
def service(posted_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, str]]:
    """A running service for tests that change nothing, and its address."""
    with serving(shutil.copytree(posted_demo, tmp_path_factory.mktemp("service") / "data")) as (app, address):
        add_people(app)
        yield app, address


# Not for the session: while it is open, its event loop is in the way of tests that run one of their own.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture
def board(service: tuple[FastAPI, str], browser: Browser) -> Iterator[Board]:
    """The service that all tests share: to read from, never to write on."""
    board = Board(*service, browser)
    yield board
    board.close_pages()


@pytest.fixture
def own_board(posted_demo: Path, browser: Browser, tmp_path: Path) -> Iterator[Board]:
    """A service of the test's own, over a fresh copy of the demo."""
    with serving(shutil.copytree(posted_demo, tmp_path / "own")) as (app, address):
        add_people(app)
        board = Board(app, address, browser)
        yield board
        board.close_pages()


@pytest.fixture
def empty_board(browser: Browser, tmp_path: Path) -> Iterator[Board]:
    """A service of the test's own without any business, as at its first start."""
    with serving(tmp_path / "empty") as (app, address):
        add_cast(app)
        board = Board(app, address, browser)
        yield board
        board.close_pages()


@pytest.fixture
def signed_in_page(board: Board) -> Callable[[str, Size], Page]:
    """`signed_in_page(role, size)` of the shared service: a page in that role's session."""
    return board.signed_in_page
