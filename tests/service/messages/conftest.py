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
from api.database import transaction
from api.fields.mail import Server
from api.week.post import post
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import running, settings_for, signed_in
from tests.service.messages.cast import NOW
from tests.service.postbox import SENDER, Postbox


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path, postbox: tuple[Postbox, Server]) -> Iterator[FastAPI]:
    """The application over the demo, its week posted, with the mail server."""
    settings = settings_for(shutil.copytree(built.out, tmp_path / "data"))
    with running(replace(settings, smtp=postbox[1], mail_from=SENDER)) as app:
        app.state.clock = lambda: NOW
        with transaction(app.state.database) as session:
            (stored,) = session.exec(select(tables.StoredPlan)).all()
            post(session, stored, read_week(stored.week), now=NOW, by="maud")
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers["accept"] = "application/json"
    return client
