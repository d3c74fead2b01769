"""A rest in the middle of a long visit: a setting, a week planned by it, and the day sheet's step with its hour."""

from __future__ import annotations

import datetime
import io
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from pypdf import PdfReader

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.shown import clock
from api.ledger.history import note
from api.week.run.planning import plan_week, prepare_week
from scheduler import plan_week as solve
from scheduler.plan import Plan, Route, Stop, read_plan
from scheduler.week import Week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.service.machine.test_settings import form_of

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
LONG = 430  # minutes: no rest begins between 11:00 and 14:00 before or after so long a visit


def planner(week: Week, *, seconds: float, report: object = None) -> Plan:
    return solve(week, seconds=seconds, clock=time.process_time, workers=1, with_because=False)


@pytest.fixture(scope="module")
def app(built: BuiltDemo, planned_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo with a survey that takes seven hours, planned and posted with rests in the middle of visits."""
    out = shutil.copytree(planned_demo, tmp_path_factory.mktemp("rest") / "out")
    with running(settings_for(out)) as app:
        app.state.clock = lambda: NOW
        manager = signed_in(app, Role.manager)
        week = prepare_week(app.state.database, MONDAY, NOW).built.week
        surveys = [job for job in week.jobs if job.booked is None and not job.boxes and job.ready_day == 0]
        long = max(surveys, key=lambda job: (max((w.end - w.start for w in job.windows), default=0), job.id))
        with transaction(app.state.database) as session:
            row = session.get_one(tables.Visit, long.id)
            row.minutes, row.skip_cents = LONG, 5_000_000
            note(session, NOW, "test", "changed", "visit", row.id, {"minutes": LONG})
        app.state.visit = long.id
        form = form_of(manager.get("/settings/week", headers=PAGE).text)
        assert form["rest_within"] == "no"
        assert prepare_week(app.state.database, MONDAY, NOW).built.week.format == "week/1"
        assert manager.post("/settings/week", data=form | {"rest_within": "yes"}, headers=PAGE).status_code == 303
        made = prepare_week(app.state.database, MONDAY, NOW)
        assert made.built.week.rest is not None
        assert made.built.week.rest.within
        stored, _ = plan_week(app.state.database, made, planner, seconds=2.0, now=NOW, by="test")
        posted = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": stored.id, "despite": ""})
        assert posted.status_code == 201, posted.text
        assert posted.json()["despite"] == []
        app.state.plan_id = stored.id
        yield app


@pytest.fixture(scope="module")
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


def rested(app: FastAPI, manager: TestClient) -> tuple[Route, Stop, int]:
    plan = read_plan(manager.get(f"/plans/{app.state.plan_id}").content)
    route, stop = next((r, s) for r in plan.routes for s in r.jobs if s.job == app.state.visit)
    assert route.rest is not None
    return route, stop, route.rest


def test_the_rest_lies_in_the_visit_and_makes_it_longer(app: FastAPI, manager: TestClient) -> None:
    _, stop, rest = rested(app, manager)
    assert stop.start < rest < stop.end
    assert stop.end - stop.start > LONG


def test_phone_and_paper_say_when(app: FastAPI, manager: TestClient) -> None:
    route, _, rest = rested(app, manager)
    date = MONDAY + datetime.timedelta(days=route.day)
    page = manager.get(f"/crews/{route.crew}/days/{date}", headers=PAGE).text
    panel = page.split(f'id="stop-{app.state.visit}"')[1].split("</section>")[0]
    assert f"{clock(rest)}–" in panel
    assert "in the middle of the work" in panel
    paper = manager.get(f"/crews/{route.crew}/days/{date}/day-sheet.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(paper.content)).pages)
    assert "rest, in the middle of the work" in text
    sheet = manager.get(f"/weeks/{MONDAY}", headers=PAGE).text
    assert "in the middle of the work" in sheet


def test_nothing_falls_by_it_and_the_day_is_expected_as_planned(app: FastAPI, manager: TestClient) -> None:
    route, stop, rest = rested(app, manager)
    assert manager.get("/rebooking", headers=JSON).json()["look_at"] == []
    day = MONDAY + datetime.timedelta(days=route.day)
    early = datetime.datetime.combine(day, datetime.time(10), tzinfo=datetime.UTC)  # five in the morning in Chicago
    app.state.clock = lambda: early
    told = manager.get(f"/crews/{route.crew}/days/{day}/state", headers=JSON).json()["expected"]
    app.state.clock = lambda: NOW
    assert told["rest"] == rest
    assert told["visits"][app.state.visit]["end"] == stop.end
