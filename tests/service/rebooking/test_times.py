"""/jobs/…/times: times for jobs that no posted week holds, and taking one keeps it in every plan made from then on."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.told import told_now
from api.week.planning import prepare_week
from scheduler.audit import audit
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    """The demo with its week planned and not posted."""
    with running(settings_for(shutil.copytree(built.out, tmp_path / "data"))) as app:
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)


def newest(app: FastAPI) -> tuple[int, Week, Plan]:
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
        assert row is not None
        assert row.id is not None
        return row.id, read_week(row.week), read_plan(row.plan)


def with_times(office: TestClient, jobs: list[str]) -> tuple[str, dict[str, Any]]:
    """Return the first of `jobs` that can be offered a time, and the answer."""
    for job in jobs:
        told = office.get(f"/jobs/{job}/times", headers=JSON).json()
        if told["times"]:
            return job, told
    raise AssertionError("none of the jobs can be offered a time")


def test_a_waiting_job_takes_a_time_of_a_week_that_is_not_posted(app: FastAPI, office: TestClient) -> None:
    before_id, week, before = newest(app)
    job, told = with_times(office, [skipped.job for skipped in before.skipped])
    assert (told["plan"], told["posted"]) == (before_id, False)
    disturbs = [len(one["moves"]) for one in told["times"]]
    assert disturbs == sorted(disturbs)
    time = told["times"][0]
    page = office.get(f"/jobs/{job}/times", headers=PAGE).text
    assert f'value="{time["key"]}"' in page
    sent = {"plan": before_id, "choice": time["key"], "hold": "firm"}
    made = office.post(f"/jobs/{job}/times", data=sent, headers=JSON)
    assert made.status_code == 201, made.text
    plan_id, week, plan = newest(app)
    assert plan_id == made.json()["plan_id"]
    assert not audit(week, plan).broken_rules
    at = {stop.job: (route.crew, route.day, stop.start) for route in plan.routes for stop in route.stops}
    assert f"{at[job][0]}:{at[job][1]}:{at[job][2]}" == time["key"]
    with transaction(app.state.database) as session:
        booking = told_now(session, job)
        assert booking is not None
        assert (booking.crew_id, booking.start, booking.hold, booking.told_how) == (
            time["crew"], time["start"], "firm", "telephone",
        )  # fmt: skip
        assert booking.day.isoformat() == time["date"]
    today = prepare_week(app.state.database, MONDAY, NOW).built.week
    booked = next(one for one in today.jobs if one.id == job).booked
    assert booked is not None  # every plan made from now on knows the promise
    assert (booked.crew, booked.day, booked.start, booked.hold) == (*at[job], "firm")
    assert office.post(f"/jobs/{job}/times", data=sent, headers=JSON).status_code == 409  # an older plan


def test_a_planned_job_is_offered_another_time_from_its_page_and_from_the_search(
    app: FastAPI, office: TestClient
) -> None:
    _, _, plan = newest(app)
    job, told = with_times(office, [stop.job for route in plan.routes for stop in route.stops])
    address = f'href="/jobs/{job}/times"'
    assert address in office.get(f"/jobs/{job}", headers=PAGE).text
    assert address in office.get("/jobs", params={"words": job}, headers=PAGE).text
    assert address not in signed_in(app, Role.reader).get("/jobs", params={"words": job}, headers=PAGE).text
    now = next((route.crew, route.day, s.start) for route in plan.routes for s in route.stops if s.job == job)
    assert ":".join(map(str, now)) not in {one["key"] for one in told["times"]}


def test_a_posted_visit_goes_by_its_own_way_and_a_done_one_needs_none(app: FastAPI, office: TestClient) -> None:
    plan_id, _, plan = newest(app)
    job = plan.routes[0].stops[0].job
    with transaction(app.state.database) as session:
        session.add(tables.PostedWeek(start_date=MONDAY, plan_id=plan_id, posted_at=NOW, posted_by="test"))
    answer = office.get(f"/jobs/{job}/times", headers=PAGE, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/rebooking/new?visit={job}&cause=customer")
    with transaction(app.state.database) as session:
        session.get_one(tables.Visit, job).state = "done"
    assert office.get(f"/jobs/{job}/times", headers=JSON).status_code == 409
    assert office.get("/jobs/J-nobody/times", headers=JSON).status_code == 404


def test_one_whose_kit_is_short_is_told_why_there_is_no_time(app: FastAPI, office: TestClient) -> None:
    _, _, plan = newest(app)
    short = next(s for s in plan.skipped if any(why.code in ("crate", "short", "uncounted") for why in s.because))
    told = office.get(f"/jobs/{short.job}/times", headers=JSON).json()
    if not told["times"]:
        assert told["why_none"]
        page = office.get(f"/jobs/{short.job}/times", headers=PAGE).text
        assert "Waits because:" in page
