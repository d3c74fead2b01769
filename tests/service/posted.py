"""The demo business served with its week posted."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fastapi import FastAPI
from sqlmodel import Session, select

from api import tables
from api.database import transaction
from tests.service.cast import running, settings_for


def post_the_plan(session: Session, at: datetime.datetime | None = None) -> tables.StoredPlan:
    """Have the one plan of a built demo posted at a moment, and return it; None: when it was made.

    The row alone: nothing is set aside and nobody is written to, as `api.week.post` would.
    """
    plan = session.exec(select(tables.StoredPlan)).one()
    session.add(
        tables.PostedWeek(start_date=plan.start_date, plan_id=plan.id, posted_at=at or plan.made_at, posted_by="test")
    )
    return plan


@contextmanager
def posted_demo(built: Path, folder: Path, now: datetime.datetime | None = None) -> Iterator[FastAPI]:
    """Serve a copy of a built demo in `folder`, its one plan posted `now`, where the clock then stands.

    None: posted when it was made, and the clock goes on.
    """
    with running(settings_for(shutil.copytree(built, folder))) as app:
        if now is not None:
            app.state.clock = lambda: now
        with transaction(app.state.database) as session:
            post_the_plan(session, now)
        yield app
