"""Fixtures of the tests in a real browser: `board` to read from, `own_board` to write on."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, expect, sync_playwright

from api import tables
from api.database import open_database, transaction
from api.ledger.plans.stored import newest_plan
from api.settings import sqlite_address
from tests.browser.board import Board, Size, add_people, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.browser.many_crews import more_crews
from tests.browser.phone import Phone, Service
from tests.conftest import BuiltDemo, made_once
from tests.service.cast import add_cast
from tests.service.day.day_cast import post_day

MONDAY = datetime.date(2027, 4, 12)
# A busy machine takes its time over a page that is right all the same: only one that never comes is a fault.
expect.set_options(timeout=30_000)
POSTED_AT = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def posted_demo(planned_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of the demo business with its planned week posted: copy it before serving."""

    def make(folder: Path) -> Path:
        shutil.copytree(planned_demo, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        with transaction(engine) as session:
            row = newest_plan(session, MONDAY)
            assert row is not None
            assert row.id is not None
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


@pytest.fixture
def phone(built: BuiltDemo, browser: Browser, tmp_path: Path) -> Iterator[Phone]:
    """A crew's phone, with a service of the test's own that has the demo's day posted."""
    jobs = post_day(built.out, tmp_path / "posted")
    service = Service(tmp_path / "posted")
    service.start()
    add_people(service.app)
    board = Board(service.app, f"http://127.0.0.1:{service.port}", browser)
    yield Phone(service, jobs, board)
    board.close_pages()
    service.stop()
    service.give_up_the_port()


@pytest.fixture(scope="session")
def twelve_crews(planned_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, str]]:
    """A running service of the demo business with twelve crews and 110 visits, for tests that change nothing."""
    folder = shutil.copytree(planned_demo, tmp_path_factory.mktemp("twelve") / "data")
    engine = open_database(sqlite_address(folder))
    more_crews(engine, MONDAY, 12)
    engine.dispose()
    with serving(folder) as (app, address):
        add_people(app)
        yield app, address


@pytest.fixture
def large_board(twelve_crews: tuple[FastAPI, str], browser: Browser) -> Iterator[Board]:
    """The service with twelve crews that all tests share: to read from, never to write on."""
    board = Board(*twelve_crews, browser)
    yield board
    board.close_pages()
