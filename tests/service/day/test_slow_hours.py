"""Slow hours of the day: a setting, and what they do to a posted day on the week sheet, the day sheet and paper."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import CREW, DAY, HOME, Jobs, on_the_morning, phone, post, post_day
from tests.service.machine.test_settings import form_of


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs, int]]:
    """The posted day, its repair begun as soon as the crew can be there; and the minutes of that drive by the table."""
    folder: Path = tmp_path_factory.mktemp("slow") / "out"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        with transaction(app.state.database) as session:
            stored = session.exec(select(tables.StoredPlan)).first()
            assert stored is not None
            week = read_week(stored.week)
            place = {one.id: n for n, one in enumerate(week.places)}
            at = {job.id: place[job.place] for job in week.jobs}
            usual = week.travel.minutes[at[jobs.install]][at[jobs.repair]]
            post(session, {CREW: [(jobs.install, 540, 780), (jobs.repair, 780 + usual, 870 + usual)]})
        yield app, jobs, usual


def set_hours(manager: TestClient, text: str) -> int:
    form = form_of(manager.get("/settings/week", headers=PAGE).text)
    return manager.post("/settings/week", data=form | {"slow_hours": text, "anyway": "yes"}, headers=PAGE).status_code


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
    day: tuple[FastAPI, Jobs, int], text: str, problem: str
) -> None:
    manager = signed_in(day[0], Role.manager)
    form = form_of(manager.get("/settings/week", headers=PAGE).text)
    answer = manager.post("/settings/week", data=form | {"slow_hours": text}, headers=PAGE)
    assert answer.status_code == 422
    assert problem in html.unescape(answer.text)
    assert form_of(answer.text)["slow_hours"] == text


def test_a_slow_hour_makes_a_posted_day_late_on_every_page(day: tuple[FastAPI, Jobs, int]) -> None:
    app, jobs, usual = day
    manager, crew = signed_in(app, Role.manager), phone(app)
    sheet, before = f"/weeks/{DAY}", crew.get(HOME, headers=PAGE).text
    assert f"Drive · {usual}\u00a0min" in before
    assert "longer than planned" not in manager.get(sheet, headers=PAGE).text + before
    state = crew.get(f"{HOME}/state").json()["expected"]["visits"]

    # The install ends at 13:00, the repair begins when the drive is over by the table: now it takes four times as long.
    assert set_hours(manager, "13-14 300") == 303
    takes, late = 4 * usual, 3 * usual
    assert 5 <= late <= 45
    said = f"takes {takes - usual}\u00a0min longer than planned: {late}\u00a0min late at stop 2."
    assert said in html.unescape(manager.get(sheet, headers=PAGE).text)
    after = crew.get(HOME, headers=PAGE).text
    assert said in html.unescape(after)
    assert f"Drive · {takes}\u00a0min" in after
    later = crew.get(f"{HOME}/state").json()["expected"]["visits"]
    assert later[jobs.install] == state[jobs.install]
    assert later[jobs.repair]["start"] >= state[jobs.repair]["start"]
    assert form_of(manager.get("/settings/week", headers=PAGE).text)["slow_hours"] == "13-14 300"

    assert set_hours(manager, "") == 303
    assert "longer than planned" not in manager.get(sheet, headers=PAGE).text
    assert re.search(rf"Drive · {usual}\u00a0min", crew.get(HOME, headers=PAGE).text)
