"""Slow hours of the day: a setting, and what they do to a posted day on the week sheet, the day sheet and paper."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from scheduler.plan import read_plan
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.day.day_cast import CREW, DAY, HOME, Jobs, on_the_morning, phone, post_day
from tests.service.machine.test_settings import form_of


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    folder: Path = tmp_path_factory.mktemp("slow") / "out"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        yield app, jobs


def set_hours(manager: TestClient, text: str) -> int:
    form = form_of(manager.get("/settings/week", headers=PAGE).text)
    return manager.post("/settings/week", data=form | {"slow_hours": text}, headers=PAGE).status_code


def drive_to_the_repair(app: FastAPI, jobs: Jobs) -> int:
    """The minutes from the install to the repair by the posted week's own table."""
    manager = signed_in(app, Role.manager)
    number = manager.get(f"/weeks/{DAY}/plans", headers=JSON).json()["items"][0]["id"]
    week, plan = (
        read_week(manager.get(f"/plans/{number}/week").content),
        read_plan(manager.get(f"/plans/{number}").content),
    )
    assert any(route.crew == CREW for route in plan.routes)
    place = {one.id: n for n, one in enumerate(week.places)}
    at = {job.id: place[job.place] for job in week.jobs}
    return week.travel.minutes[at[jobs.install]][at[jobs.repair]]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("4 pm 20", "hours and percent"),
        ("9-7 20", "hours and percent"),
        ("7-9 500", "at most 400"),
        ("7-9 5, 8-10 5", "8:00 twice"),
    ],
)
def test_slow_hours_that_cannot_be_are_refused_with_the_text_kept(
    day: tuple[FastAPI, Jobs], text: str, problem: str
) -> None:
    manager = signed_in(day[0], Role.manager)
    form = form_of(manager.get("/settings/week", headers=PAGE).text)
    answer = manager.post("/settings/week", data=form | {"slow_hours": text}, headers=PAGE)
    assert answer.status_code == 422
    assert problem in html.unescape(answer.text)
    assert form_of(answer.text)["slow_hours"] == text


def test_a_slow_hour_makes_a_posted_day_late_on_every_page(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    manager, crew = signed_in(app, Role.manager), phone(app)
    usual = drive_to_the_repair(app, jobs)
    sheet, before = f"/weeks/{DAY}", crew.get(HOME, headers=PAGE).text
    assert f"Drive · {usual} min" in before
    assert "longer than planned" not in manager.get(sheet, headers=PAGE).text + before
    state = crew.get(HOME, headers=JSON).json()["expected"]["visits"]

    # The install ends at 13:00, the repair begins at 14:00. Four times as long within that hour, then as usual.
    assert set_hours(manager, "13-14 300") == 303
    takes = 4 * usual if 4 * usual <= 60 else 60 + math.ceil(usual - 15)
    late = max(0, takes - 60)
    assert late >= 5, "the demo's two places are too near for this test"
    said = f"takes {takes - usual} min longer than planned: {late} min late at stop 2."
    assert said in html.unescape(manager.get(sheet, headers=PAGE).text)
    after = crew.get(HOME, headers=PAGE).text
    assert said in html.unescape(after)
    assert f"Drive · {takes} min" in after
    later = crew.get(HOME, headers=JSON).json()["expected"]["visits"]
    assert later[jobs.repair]["start"] > state[jobs.repair]["start"] - 1
    assert form_of(manager.get("/settings/week", headers=PAGE).text)["slow_hours"] == "13-14 300"

    assert set_hours(manager, "") == 303
    assert "longer than planned" not in manager.get(sheet, headers=PAGE).text
    assert re.search(rf"Drive · {usual} min", crew.get(HOME, headers=PAGE).text)
