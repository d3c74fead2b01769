"""Hours of a week past which a crew's minutes cost more: a setting, and from then on the near week counts them."""

from __future__ import annotations

import datetime
import shutil
import time
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.week.run.planning import plan_week, prepare_week
from scheduler import plan_week as solve
from scheduler.plan import read_plan
from scheduler.week import Week, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.service.machine.test_settings import form_of

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, whose crews have eighteen hours a week at plain pay; its week is planned so."""
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("weekly") / "out")
    with running(settings_for(out)) as app:
        manager = signed_in(app, Role.manager)
        form = form_of(manager.get("/settings/week", headers=PAGE).text)
        assert (form["weekly_hours"], form["weekly_percent"]) == ("0", "50")
        assert prepare_week(app.state.database, MONDAY, NOW).built.week.format == "week/1"
        bad = manager.post("/settings/week", data=form | {"weekly_hours": "200"}, headers=PAGE)
        assert bad.status_code == 422
        assert "168" in bad.text
        assert manager.post("/settings/week", data=form | {"weekly_hours": "18"}, headers=PAGE).status_code == 303
        made = prepare_week(app.state.database, MONDAY, NOW)

        def planner(week: Week, *, seconds: float, report: object = None) -> object:
            return solve(week, seconds=seconds, clock=time.monotonic, workers=1, with_because=False)

        plan_week(app.state.database, made, planner, seconds=2.0, now=NOW, by="test")  # type: ignore[arg-type]
        yield app


@pytest.fixture(scope="module")
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


def newest(client: TestClient) -> int:
    return int(client.get(f"/weeks/{MONDAY}/plans", headers=JSON).json()["items"][0]["id"])


def test_the_week_is_planned_in_the_second_format_and_says_what_its_hours_cost(manager: TestClient) -> None:
    number = newest(manager)
    week = read_week(manager.get(f"/plans/{number}/week").content)
    plan = read_plan(manager.get(f"/plans/{number}").content)
    assert (week.format, plan.format) == ("week/2", "plan/2")
    for crew in week.crews:
        assert crew.weekly is not None
        assert (crew.weekly.minutes, crew.weekly.cents) == (18 * 60, (crew.minute_cents * 50 + 50) // 100)
    assert plan.cost.weekly > 0  # the demo's crews have more to do than that
    page = manager.get(f"/weeks/{MONDAY}", headers=PAGE).text
    assert "past the week" in page


def test_its_visits_are_moved_locked_and_compared_as_in_any_week(manager: TestClient) -> None:
    number = newest(manager)
    plan = read_plan(manager.get(f"/plans/{number}").content)
    route = max(plan.routes, key=lambda r: len(r.stops))
    followed = {follow.first for follow in read_week(manager.get(f"/plans/{number}/week").content).follows}
    visit = next(stop.job for stop in route.stops if stop.job and stop.job not in followed)  # goes without another one
    date = str(MONDAY + datetime.timedelta(days=route.day))
    tried = manager.post(f"/plans/{number}/tries", json={"visit": visit, "pile": True})
    assert tried.status_code == 200, tried.text
    assert tried.json()["cost_change_cents"]
    lock = manager.put(f"/locks/{visit}", json={"crew": route.crew, "day": date})
    assert lock.status_code == 200, lock.text
    assert manager.delete(f"/locks/{visit}").status_code == 204
    moved = manager.post(f"/plans/{number}/moves", json={"visit": visit, "pile": True, "despite": True})
    assert moved.status_code == 201, moved.text
    other = moved.json()["plan_id"]
    laid = manager.get(f"/plans/{other}/against/{number}", headers=JSON)
    assert laid.status_code == 200, laid.text
    back = manager.post(f"/plans/{other}/moves", json={"visit": visit, "crew": route.crew, "day": route.day})
    assert back.status_code == 201, back.text


@pytest.mark.slow
def test_it_is_posted_and_every_page_of_it_answers(manager: TestClient) -> None:
    number = newest(manager)
    posted = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": number, "despite": ""})
    assert posted.status_code == 201, posted.text
    assert posted.json()["despite"] == []  # the same hours stand in today's rows
    plan = read_plan(manager.get(f"/plans/{number}").content)
    crew, date = plan.routes[0].crew, str(MONDAY + datetime.timedelta(days=plan.routes[0].day))
    for path in (f"/weeks/{MONDAY}", f"/looking-back/{MONDAY}", "/", "/messages", "/rebooking", "/jobs", "/capacity"):
        answer = manager.get(path, headers=PAGE, follow_redirects=True)
        assert answer.status_code == 200, (path, answer.text[:300])
    assert "past the week" in manager.get(f"/looking-back/{MONDAY}", headers=PAGE).text.lower()
    day = manager.get(f"/crews/{crew}/days/{date}", headers=PAGE)
    assert day.status_code == 200, day.text[:300]
