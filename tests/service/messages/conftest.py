"""The demo with its week posted, and the office that tells its customers."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.fields.addresses.mail import Server
from api.settings import sqlite_address
from api.week.post import post
from scheduler.week import read_week
from tests.conftest import BuiltDemo, made_once
from tests.service.cast import running, settings_for, signed_in
from tests.service.messages.cast import NOW
from tests.service.postbox import SENDER, Postbox


@pytest.fixture(scope="session")
def posted(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder with its week posted: copy it before changing anything in it."""

    def make(folder: Path) -> Path:
        shutil.copytree(built.out, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        with transaction(engine) as session:
            (stored,) = session.exec(select(tables.StoredPlan)).all()
            post(session, stored, read_week(stored.week), now=NOW, by="maud")
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "posted-for-messages", make)


@pytest.fixture
def app(posted: Path, tmp_path: Path, postbox: tuple[Postbox, Server]) -> Iterator[FastAPI]:
    """The application over the demo, its week posted, with the mail server."""
    settings = settings_for(shutil.copytree(posted, tmp_path / "data"))
    with running(replace(settings, smtp=postbox[1], mail_from=SENDER)) as app:
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers["accept"] = "application/json"
    return client
