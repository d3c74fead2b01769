"""The demo with its week posted."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.database import transaction
from tests.conftest import BuiltDemo
from tests.service.cast import running, settings_for

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


@pytest.fixture
def posted(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, its week posted."""
    with running(settings_for(shutil.copytree(built.out, tmp_path_factory.mktemp("set-up") / "data"))) as app:
        app.state.clock = lambda: NOW
        with transaction(app.state.database) as session:
            plan = session.exec(select(tables.StoredPlan)).one()
            session.add(tables.PostedWeek(start_date=plan.start_date, plan_id=plan.id, posted_at=NOW, posted_by="test"))
        yield app
