"""The demo business served with its week posted."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.database import transaction
from tests.service.cast import running, settings_for


@contextmanager
def posted_demo(built: Path, folder: Path) -> Iterator[FastAPI]:
    """Serve a copy of a built demo in `folder`, its one plan posted when it was made."""
    with running(settings_for(shutil.copytree(built, folder))) as app:
        with transaction(app.state.database) as session:
            stored = session.exec(select(tables.StoredPlan)).one()
            session.add(
                tables.PostedWeek(
                    start_date=stored.start_date, plan_id=stored.id, posted_at=stored.made_at, posted_by="t"
                )
            )
        yield app
