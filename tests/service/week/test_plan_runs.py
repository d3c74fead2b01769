"""Runs and locks by their addresses, on the demo business, whose week is built of its rows."""

from __future__ import annotations

import datetime
import json
import re
import shutil
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.app import create_app
from api.database import transaction
from api.http.problems import Problem
from api.week.run.start import start_run
from scheduler.audit import audit
from scheduler.plan import Plan
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, add_cast, running, settings_for, signed_in, started
from tests.service.machine.test_settings import form_of
from tests.service.week.test_plans import NOW, plan_at, spots
from tests.waiting import until

DEMO_WEEK = datetime.date(2027, 4, 12)


@pytest.fixture(scope="module")
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo business's application at its own moment; tests leave no lock behind."""
    folder: Path = shutil.copytree(built.out, tmp_path_factory.mktemp("plans") / "demo")
    settings = settings_for(folder)
    app = create_app(type(settings)(**{**vars(settings), "clock": "forecast"}))
    with started(app):
        add_cast(app)
        yield app


def latest(client: TestClient) -> tuple[int, Plan]:
    newest = client.get(f"/weeks/{DEMO_WEEK}/plans").json()["items"][0]["id"]
    return newest, plan_at(client, newest)


def events(text: str) -> list[tuple[str, dict[str, Any]]]:
    """Return the events of a stream: name and data."""
    found = []
    for block in text.strip().split("\n\n"):
        lines = dict(line.split(": ", 1) for line in block.splitlines() if not line.startswith(":"))
        if lines:
            found.append((lines["event"], json.loads(lines["data"])))
    return found


def _stop_once_cheaper(app: FastAPI, run_id: int, cost_cents: int) -> None:
    """Stop a run as soon as it has a plan that costs less: how long that takes is the machine's business."""

    def cheaper() -> bool:
        shown = app.state.runs.shown(run_id)
        return shown is not None and shown.cost_cents is not None and shown.cost_cents < cost_cents

    until(cheaper)
    assert signed_in(app, Role.manager).post(f"/runs/{run_id}/stop").status_code == 200


@pytest.mark.slow
def test_a_run_by_its_address_is_told_as_it_goes_and_leaves_locked_visits_alone(demo: FastAPI) -> None:
    manager = signed_in(demo, Role.manager)
    _, before = latest(manager)
    at = spots(before)
    by_day, by_start = [name for name in at if name not in before.broken][:2]
    crew, day, start = at[by_start]
    for name, asked in ((by_day, None), (by_start, start)):
        where = {"crew": at[name][0], "day": str(DEMO_WEEK + datetime.timedelta(days=at[name][1])), "start": asked}
        answer = manager.put(f"/locks/{name}", json=where)
        assert answer.status_code == 200, answer.text
    listed = manager.get(f"/weeks/{DEMO_WEEK}/locks").json()["items"]
    assert {(row["visit_id"], row["start"]) for row in listed} == {(by_day, None), (by_start, start)}

    begun = manager.post(f"/weeks/{DEMO_WEEK}/runs", json={"seconds": 120})
    assert begun.status_code == 201, begun.text
    run = begun.json()
    assert (run["state"], run["locked"]) == ("waiting", sorted([by_day, by_start]))
    second = manager.post(f"/weeks/{DEMO_WEEK}/runs", json={"seconds": 3})
    assert (second.status_code, second.json()["type"]) == (409, "/problems/run-under-way")
    assert second.json()["run_id"] == run["id"]
    with ThreadPoolExecutor(1) as beside:
        stopping = beside.submit(_stop_once_cheaper, demo, run["id"], before.cost.total)
        stream = manager.get(f"/runs/{run['id']}/events")
        stopping.result()
    assert stream.headers["content-type"].startswith("text/event-stream")
    told = events(stream.text)
    assert [name for name, _ in told] == ["progress"] * (len(told) - 1) + ["ended"]
    assert set(told[0][1]) == {"state", "seconds", "cost_cents", "bound_cents", "gap_percent", "phase"}
    costs = [data["cost_cents"] for name, data in told if name == "progress" and data["cost_cents"] is not None]
    assert costs == sorted(costs, reverse=True)
    end = told[-1][1]
    assert (end["state"], end["fault"]) == ("stopped", "")
    record = manager.get(f"/runs/{run['id']}").json()
    assert (record["state"], record["plan_id"], record["cost_cents"]) == ("stopped", end["plan_id"], costs[-1])
    assert manager.get(f"/weeks/{DEMO_WEEK}/runs").json()["items"][0] == record
    assert [name for name, _ in events(manager.get(f"/runs/{run['id']}/events").text)] == ["progress", "ended"]
    stopped = manager.post(f"/runs/{run['id']}/stop")
    assert (stopped.status_code, stopped.json()["state"]) == (200, "stopped")

    new = plan_at(manager, end["plan_id"])
    assert spots(new)[by_start] == (crew, day, start)
    assert spots(new)[by_day][:2] == at[by_day][:2]
    assert new.cost.total < before.cost.total
    because = {s.job: s.because[0].code for s in new.skipped}
    assert {"J-1049": "drawing", "J-1060": "uncounted"}.items() <= because.items()

    off = manager.post(f"/plans/{end['plan_id']}/moves", json={"visit": by_day, "pile": True, "despite": True})
    assert (off.status_code, off.json()["type"]) == (409, "/problems/lock-broken")
    for name in (by_day, by_start):
        assert manager.delete(f"/locks/{name}").status_code == 204
        assert manager.delete(f"/locks/{name}").status_code == 404
    lines = manager.get("/history", params={"noun": "visit", "noun_id": by_day}).json()["items"]
    assert [line["did"] for line in lines] == ["unlocked", "locked"]


@pytest.mark.parametrize(
    ("visit", "body", "words"),
    [
        ("J-1042", {"crew": "north-1", "day": "2027-04-12", "start": 300}, "can be there only at"),
        ("J-1049", {"crew": "north-1", "day": "2027-04-12"}, "whose kit is not complete this week"),
        ("J-1042", {"crew": "river-1", "day": "2027-04-12"}, "lies at north"),
        ("J-1042", {"crew": "north-1", "day": "2027-04-18"}, "no day of the planned week"),
    ],
)
def test_a_lock_that_cannot_be_kept_is_refused_in_words(
    demo: FastAPI, visit: str, body: dict[str, Any], words: str
) -> None:
    answer = signed_in(demo, Role.manager).put(f"/locks/{visit}", json=body)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/lock-broken")
    assert words in answer.json()["detail"]


def test_locks_name_what_there_is(demo: FastAPI) -> None:
    manager = signed_in(demo, Role.manager)
    assert manager.put("/locks/nobody", json={"crew": "north-1", "day": "2027-04-12"}).status_code == 404
    assert manager.put("/locks/J-1042", json={"crew": "nobody", "day": "2027-04-12"}).status_code == 404
    assert manager.put("/locks/J-1042", json={"crew": "north-1", "day": "soon"}).json()["where"] == "body.day"


def test_a_run_needs_a_monday_that_is_not_over_and_time(demo: FastAPI) -> None:
    manager = signed_in(demo, Role.manager)
    tuesday = manager.post("/weeks/2027-04-13/runs", json={"seconds": 1})
    assert (tuesday.status_code, tuesday.json()["where"]) == (422, "start_date")
    assert "2027-04-13 is a Tuesday" in tuesday.json()["detail"]
    over = manager.post("/weeks/2027-03-29/runs", json={"seconds": 1})
    assert (over.status_code, over.json()["type"]) == (409, "/problems/week-over")
    for seconds in (0, -1, 4000, "long"):
        assert manager.post(f"/weeks/{DEMO_WEEK}/runs", json={"seconds": seconds}).status_code == 422
    assert manager.post(f"/weeks/{DEMO_WEEK}/runs", json={"seconds": 1, "from_plan": 999}).status_code == 404
    for path in ("/runs/999", "/runs/999/events", f"/runs/{2**40}"):
        assert manager.get(path).status_code == 404
    assert manager.post("/runs/999/stop").status_code == 404
    with transaction(demo.state.database) as session:
        assert session.exec(select(tables.PlanRun).where(tables.PlanRun.start_date != DEMO_WEEK)).all() == []


@pytest.mark.slow
@pytest.mark.race
def test_of_eight_who_ask_for_the_same_week_at_once_one_gets_a_run(built: BuiltDemo, tmp_path: Path) -> None:
    """Threads, as requests come; the others are told which run is under way."""
    with running(settings_for(shutil.copytree(built.out, tmp_path / "data"))) as app:
        _ask_at_once(app.state)


def _ask_at_once(state: Any) -> None:
    found: list[str] = []

    def ask(n: int) -> None:
        try:
            start_run(state.database, state.runs, DEMO_WEEK, seconds=1.0, from_plan=None, now=NOW, by=f"hand {n}")
            found.append("run")
        except Problem as problem:
            found.append(problem.kind)

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == ["run"] + ["run-under-way"] * 7
    with transaction(state.database) as session:
        (run,) = session.exec(select(tables.PlanRun).where(tables.PlanRun.start_date == DEMO_WEEK)).all()
    state.runs.stop(run.id)


@pytest.mark.slow
def test_late_arrivals_are_weighed_where_that_is_set_and_the_sheet_says_at_what_price(demo: FastAPI) -> None:
    """The time is what a machine with much else to do may take; the run ends as soon as the plan is chosen."""
    manager = signed_in(demo, Role.manager)
    assert form_of(manager.get("/settings/week", headers=PAGE).text)["weigh_late"] == "no"
    planned = _with_late_arrivals(demo, "no", seconds=10)
    assert "Late arrivals" not in planned.note + planned.page
    weighed = _with_late_arrivals(demo, "yes", seconds=240)
    assert weighed.note in weighed.page
    told = re.match(r"Late arrivals are weighed: \$([0-9,]+) dearer as planned, \$([0-9,]+) less to be ", weighed.note)
    assert told is not None, weighed.note
    dearer, spared = (int(amount.replace(",", "")) for amount in told.groups())
    assert dearer < spared
    assert weighed.plan.bound is not None
    assert weighed.plan.cost.total > weighed.plan.bound
    spanish = signed_in(demo, Role.manager)
    spanish.cookies.set("eave-language", "es")
    page = spanish.get(f"/weeks/{DEMO_WEEK}?plan={weighed.number}", headers=PAGE).text
    assert "Las llegadas tarde cuentan: " in page
    hurried = _with_late_arrivals(demo, "yes", seconds=1)
    assert hurried.note.startswith("Late arrivals are ")  # weighed or not, it is said
    assert hurried.note in hurried.page
    _weigh_late(manager, "no")


@dataclass
class _Weighed:
    number: int
    note: str
    plan: Plan
    page: str


def _with_late_arrivals(demo: FastAPI, choice: str, seconds: float) -> _Weighed:
    """Plan the demo's week with late arrivals weighed or not; what its sheet says, and its plan, which is audited."""
    manager = signed_in(demo, Role.manager)
    _weigh_late(manager, choice)
    run = manager.post(f"/weeks/{DEMO_WEEK}/runs", json={"seconds": seconds}).json()
    _, end = events(manager.get(f"/runs/{run['id']}/events").text)[-1]
    assert end["state"] == "done"
    number = end["plan_id"]
    plan = plan_at(manager, number)
    assert audit(read_week(manager.get(f"/plans/{number}/week").content), plan).ok
    page = unescape(manager.get(f"/weeks/{DEMO_WEEK}?plan={number}", headers=PAGE).text)
    return _Weighed(number, end["fault"], plan, page)


def _weigh_late(manager: TestClient, choice: str) -> None:
    form = form_of(manager.get("/settings/week", headers=PAGE).text)
    answer = manager.post("/settings/week", data=form | {"weigh_late": choice}, headers=PAGE)
    assert answer.status_code == 303, answer.text
