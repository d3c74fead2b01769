"""A crew lead sees the own crew's days and jobs alone: no other crew's, no prices, no owner's page."""

from __future__ import annotations

import datetime
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
from scheduler.plan import Route, read_plan
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, NAMES, PAGE, running, settings_for, signed_in

START = datetime.date(2027, 4, 12)


@pytest.fixture
def demo(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    """The demo with its week posted; the lead is that of north-1."""
    folder = Path(shutil.copytree(built.out, tmp_path / "data"))
    with running(replace(settings_for(folder), clock="forecast")) as app:
        with transaction(app.state.database) as session:
            plan = session.exec(select(tables.StoredPlan)).one()
            at = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
            session.add(tables.PostedWeek(start_date=START, plan_id=plan.id, posted_at=at, posted_by="test"))
            lead = session.exec(select(tables.Account).where(tables.Account.name == NAMES[Role.lead])).one()
            lead.crew_id = "north-1"
            session.add(lead)
        yield app


@pytest.fixture
def lead(demo: FastAPI) -> TestClient:
    return signed_in(demo, Role.lead)


def routes(demo: FastAPI, own: bool) -> list[Route]:
    with transaction(demo.state.database) as session:
        plan = read_plan(session.exec(select(tables.StoredPlan)).one().plan)
    return [route for route in plan.routes if (route.crew == "north-1") == own]


def addresses(route: Route) -> list[str]:
    day, job = START + datetime.timedelta(days=route.day), route.stops[0].job
    return [
        f"/crews/{route.crew}/days/{day}", f"/crews/{route.crew}/days/{day}/state",
        f"/crews/{route.crew}/days/{day}/route.gpx", f"/crews/{route.crew}/visits?start_date={START}",
        f"/crews/{route.crew}/calendar", f"/jobs/{job}", f"/jobs/{job}/packet.pdf", f"/jobs/{job}/photos",
    ]  # fmt: skip


def test_the_own_crews_days_and_jobs_open_and_no_others(demo: FastAPI, lead: TestClient) -> None:
    for address in addresses(routes(demo, own=True)[0]):
        assert lead.get(address, headers=JSON).status_code == 200, address
    others = routes(demo, own=False)[:3]
    assert others
    for route in others:
        for address in addresses(route):
            assert lead.get(address, headers=JSON).status_code in (403, 404), address


def test_prices_and_the_owners_page_are_not_for_leads(lead: TestClient) -> None:
    for address in (f"/weeks/{START}", f"/weeks/{START}/plans", "/plans/1", "/plans/1/week", "/looking-back",
                    f"/looking-back/{START}", "/jobs", "/visits", "/sites", f"/days/{START}"):  # fmt: skip
        assert lead.get(address, headers=JSON).status_code == 403, address
    led = lead.get("/", headers=PAGE)
    assert led.headers["location"] == "/crews/north-1/days/2027-04-08"
    page = lead.get(led.headers["location"], headers=PAGE)
    assert page.status_code == 200
    for address in ("/jobs", "/looking-back"):
        assert f'href="{address}"' not in page.text


def test_a_photo_is_added_to_own_jobs_alone(demo: FastAPI, lead: TestClient) -> None:
    job = routes(demo, own=False)[0].stops[0].job
    sent = {"file": ("x.jpg", b"x", "image/jpeg")}
    assert lead.post(f"/jobs/{job}/photos", files=sent, data={"shows": "work"}, headers=JSON).status_code == 404
    mine = routes(demo, own=True)[0].stops[0].job
    assert lead.post(f"/jobs/{mine}/photos", files=sent, data={"shows": "work"}, headers=JSON).status_code == 415


def test_a_lead_without_a_crew_is_told_so(demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        row = session.exec(select(tables.Account).where(tables.Account.name == NAMES[Role.lead])).one()
        row.crew_id = None
        session.add(row)
    answer = signed_in(demo, Role.lead).get("/", headers=PAGE)
    assert answer.status_code == 200
    assert "You have no crew yet" in answer.text
