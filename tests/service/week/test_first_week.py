"""From an empty database to a planned week on pages alone: every form as a browser sends it, no file and no JSON."""

from __future__ import annotations

import datetime
import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.week.run.planning import plan_week, prepare_week
from scheduler.plan import read_plan
from tests.one_a_day import one_a_day
from tests.service.cast import PAGE, running, settings_for, signed_in
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import make, text_of

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


@pytest.fixture
def app(sqlite_folder: Path) -> Iterator[FastAPI]:
    """The application on an empty database, without any business."""
    with running(settings_for(sqlite_folder)) as app:
        app.state.clock = lambda: NOW
        yield app


def filled_in(client: TestClient, address: str, **cells: str) -> str:
    """Fill in the form of a page and send it to where it goes; return where that leads."""
    page = client.get(address).text
    action = re.search(r'<form class="part"[^>]*action="([^"]*)"', page)
    assert action, text_of(page)
    answer = client.post(html.unescape(action[1]), data=form_of(page) | cells, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)
    return str(answer.headers["location"])


def enter_the_yard(manager: TestClient) -> None:
    """Enter a business with one crew, step by step as "Set up" leads through it."""
    filled_in(manager, "/settings/business", name="Marl Awnings", town="Marl", timezone="America/Chicago")
    for kind, cells in (
        ("yards", {"id": "mill", "name": "Mill yard", "pin": "41.02, -91.03"}),
        ("people", {"name": "Lea Quill", "role": "lead", "skills": "masonry, stucco"}),
        ("people", {"name": "Bo Tarn", "role": "helper"}),
        ("people", {"name": "Cy Reed", "role": "extra", "day_cents": "180"}),
        ("vans", {"id": "van-1", "payload_kg": "2000", "rack_mm": "20", "boxes": "2", "onboard": "stepladder-8: 1"}),
        ("crews", {
            "id": "mill-1", "name": "Mill one", "lead_id": "lea-quill", "helper_id": "bo-tarn", "day_cents": "90",
            "minute_cents": "0.60", "overtime_minute_cents": "0.90", "km_cents": "0.55",
        }),
        ("tools", {"id": "L-1", "kind": "ladder-24", "name": "24 ft, yellow", "checked_on": "2027-03-01"}),
        ("shelf", {"item": "lag-3/8x4", "name": "Lag screw", "on_hand": "80", "counted_on": "2027-04-01"}),
        ("days-off", {"person_id": "bo-tarn", "first": "2027-04-14", "last": "2027-04-14", "part": "morning",
                      "why": "dentist"}),
    ):  # fmt: skip
        steps = text_of(manager.get("/set-up").text)
        if kind in ("yards", "vans", "crews"):
            assert "Next:" in steps
        make(manager, kind, **cells)
    assert "a week can be planned" in text_of(manager.get("/set-up").text)


def test_an_empty_base_comes_to_a_planned_week_on_pages_alone(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    manager.headers.update(PAGE)
    enter_the_yard(manager)
    for kind, work in (("survey", ""), ("repair", "a new crank")):
        where = filled_in(manager, "/jobs/new", **{
            "customers.name": f"Orla {kind}", "customers.phone": "555-0144", "sites.town": "Marl",
            "sites.address": "9 Mill Lane", "sites.pin": "41.05, -91.01", "visits.kind": kind,
            "visits.fault": work,
        })  # fmt: skip
        assert "Orla" in text_of(manager.get(where).text)
    made = prepare_week(app.state.database, MONDAY, NOW)
    row, _ = plan_week(app.state.database, made, one_a_day, seconds=1, now=NOW, by="test")
    assert sum(len(route.stops) for route in read_plan(row.plan).routes) == 2
    (crew,) = made.built.week.crews
    assert [(shift.day, shift.start) for shift in crew.shifts] == [(0, 450), (1, 450), (2, 720), (3, 450), (4, 450)]
