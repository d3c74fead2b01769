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
from tests.service.posted import post_the_plan

START = datetime.date(2027, 4, 12)


@pytest.fixture
def demo(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    """The demo with its week posted; the lead is that of north-1."""
    folder = Path(shutil.copytree(built.out, tmp_path / "data"))
    with running(replace(settings_for(folder), clock="forecast")) as app:
        with transaction(app.state.database) as session:
            post_the_plan(session)
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


def test_a_lead_surveys_own_walls_and_those_that_no_crew_has_yet(demo: FastAPI, lead: TestClient) -> None:
    """What is drilled by another crew is drawn from its survey: no lead changes that of others, nor reads it."""
    with transaction(demo.state.database) as session:
        given = {stop.job for own in (True, False) for route in routes(demo, own) for stop in route.stops}
        awnings = {v.id: v.awning_id for v in session.exec(select(tables.Visit).where(tables.Visit.kind == "install"))}
        surveys = {s.awning_id: s.id for s in session.exec(select(tables.SiteSurvey)) if s.awning_id}
    walls = {job: surveys[awning] for job, awning in awnings.items() if awning in surveys}

    def first(jobs: set[str]) -> tuple[str, str]:
        return next((job, walls[job]) for job in sorted(jobs & walls.keys()))

    own = {stop.job for route in routes(demo, own=True) for stop in route.stops}
    sent = {"file": ("x.jpg", b"x", "image/jpeg")}
    for (job, survey), refused in (
        (first(own), False),
        (first(walls.keys() - given), False),
        (first(given - own), True),
    ):
        kept = signed_in(demo, Role.office).get(f"/surveys/{survey}", headers=JSON)
        body = {name: value for name, value in kept.json().items() if name not in ("id", "version", "visit_id")}
        answers = [
            lead.get(f"/surveys/{survey}", headers=JSON),
            lead.put(f"/surveys/{survey}", json=body, headers={"If-Match": kept.headers["etag"]}),
            lead.get(f"/jobs/{job}/survey", headers=PAGE),
            lead.post(f"/jobs/{job}/survey", data={"do": "draw"}, headers=PAGE),
            lead.post(f"/jobs/{job}/survey/photos", files=sent, headers=JSON),
        ]
        codes = [answer.status_code for answer in answers]
        assert codes == ([404] * 5 if refused else [200, 200, 200, 200, 415]), answers[1].text
        listed = lead.get("/surveys", params={"awning": awnings[job]}, headers=JSON).json()["items"]
        assert [row["id"] for row in listed] == ([] if refused else [survey])
        if refused:
            assert lead.post("/surveys", json=body, headers=JSON).status_code == 404
            assert lead.delete(f"/surveys/{survey}", headers={"If-Match": "*"}).status_code == 404


def test_a_lead_without_a_crew_is_told_so(demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        row = session.exec(select(tables.Account).where(tables.Account.name == NAMES[Role.lead])).one()
        row.crew_id = None
        session.add(row)
    answer = signed_in(demo, Role.lead).get("/", headers=PAGE)
    assert answer.status_code == 200
    assert "You have no crew yet" in answer.text
