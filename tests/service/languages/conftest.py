"""A posted day whose crew and customers read Spanish."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from sqlmodel import Session, select

from api import tables
from api.database import transaction
from tests.conftest import BuiltDemo
from tests.service.day.day_cast import CREW, Jobs, on_the_morning, post, post_day


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    """A posted day of an install, a repair and a survey, all of whose people and customers read Spanish."""
    folder = tmp_path_factory.mktemp("spanish") / "posted"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        with transaction(app.state.database) as session:
            survey = session.exec(select(tables.Visit).where(tables.Visit.kind == "survey")).first()
            assert survey is not None
            post(session, {CREW: [(jobs.install, 540, 780), (jobs.repair, 840, 930), (survey.id, 960, 1000)]})
            for row in [*session.exec(select(tables.Person)), *session.exec(select(tables.Customer))]:
                row.language = "es"
                session.add(row)
            _stored(session, jobs)
        yield app, jobs


def _stored(session: Session, jobs: Jobs) -> None:
    """Have the second visit take down the awning of the first, to a rack."""
    visit, awning = session.get_one(tables.Visit, jobs.repair), session.get_one(tables.Visit, jobs.install).awning_id
    yard = session.exec(select(tables.Yard)).first()
    assert yard is not None
    assert awning is not None
    visit.awning_id, visit.work_id = awning, "take-down"
    session.add_all([visit, tables.StoredAwning(awning_id=awning, yard_id=yard.id, rack="B-4")])
