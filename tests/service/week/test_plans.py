"""Plans by their addresses: listed, read, laid against each other, tried, moved, locked, and made anew."""

from __future__ import annotations

import datetime
import html
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.http.problems import Problem
from api.week import locks, post
from api.week.run.planning import store_plan
from scheduler import Lock
from scheduler import fixed_as_data as as_data
from scheduler import fixed_from_data as from_data
from scheduler import plan_week as solve
from scheduler.audit import audit
from scheduler.plan import Plan, read_plan
from scheduler.week import Booking, Week, read_week
from tests.service.cast import PASSWORD, anonymous, running, settings_for, sign_in, signed_in
from tests.two_crews import job, planned, week_of

NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)
WEEK = week_of(job("a"), job("b"), job("c", booked=Booking("south", 1, 600, "firm", 0, 0, 0)))
MONDAY = WEEK.start_date


@pytest.fixture(scope="module")
def started(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """One application for this file, on SQLite."""
    folder = tmp_path_factory.mktemp("small")
    shutil.copy(migrated_file, folder / "eaveboard.sqlite")
    with running(settings_for(folder)) as app:
        yield app


@pytest.fixture
def app(started: FastAPI) -> FastAPI:
    """The application with a new plan of a small week; its number is in `state.plan`."""
    started.state.plan = keep(started, WEEK, planned(WEEK))
    return started


def keep(app: FastAPI, week: Week, plan: Plan, **values: Any) -> int:
    with transaction(app.state.database) as session:
        row = store_plan(session, week, plan, because={}, inputs="", how="planned", now=NOW, by="maud", **values)
    assert row.id is not None
    return row.id


def newest(client: TestClient) -> dict[str, Any]:
    item: dict[str, Any] = client.get(f"/weeks/{MONDAY}/plans").json()["items"][0]
    return item


def plan_at(client: TestClient, plan_id: int) -> Plan:
    return read_plan(client.get(f"/plans/{plan_id}").content)


def spots(plan: Plan) -> dict[str, tuple[str, int, int]]:
    return {stop.job: (route.crew, route.day, stop.start) for route in plan.routes for stop in route.stops}


def test_a_plan_is_listed_and_read_with_its_week(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    item = newest(reader)
    assert item == {
        "id": app.state.plan, "how": "planned", "made_from": None, "made_by": "maud", "made_at": "2027-04-01T12:00:00Z",
        "cost_cents": planned(WEEK).cost.total, "bound_cents": planned(WEEK).cost.total, "seconds": 0.0, "note": "",
        "posted": False, "was_posted": False,
    }  # fmt: skip
    assert read_week(reader.get(f"/plans/{app.state.plan}/week").content) == WEEK
    assert plan_at(reader, app.state.plan) == planned(WEEK)
    for path in (
        "/plans/999",
        "/plans/0",
        "/plans/999/week",
        f"/plans/{app.state.plan}/against/999",
        f"/plans/{2**40}",
    ):
        assert reader.get(path).status_code == 404, path
    assert reader.get("/plans/first").status_code == 422


def test_a_try_tells_what_a_move_comes_to_and_stores_nothing(app: FastAPI) -> None:
    office, at = signed_in(app, Role.office), spots(planned(WEEK))
    answer = office.post(f"/plans/{app.state.plan}/tries", json={"visit": "a", "crew": "south", "day": 1, "start": 720})
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["allowed"]
    assert told["broken"] == []
    route = next(r for r in told["routes"] if (r["crew"], r["day"]) == ("south", 1))
    assert route["date"] == "2027-04-06"
    assert {"job": "a", "start": 720, "end": 780} in route["stops"]
    assert told["cost_change_cents"] == sum(told["by_kind"].values()) > 0
    same = office.post(
        f"/plans/{app.state.plan}/tries", json={"visit": "a", "crew": "south", "day": "2027-04-06", "start": 720}
    )
    assert same.json() == told
    outside = office.post(f"/plans/{app.state.plan}/tries", json={"visit": "a", "crew": "north", "day": 0, "start": 60})
    assert not outside.json()["allowed"]
    assert {"rule", "sentence", "visit", "promise"} == set(outside.json()["broken"][0])
    off = office.post(f"/plans/{app.state.plan}/tries", json={"visit": "c", "pile": True}).json()
    assert off["allowed"]
    assert [(b["rule"], b["visit"], b["promise"]) for b in off["broken"]] == [("booking", "c", True)]
    emptied = [r for r in off["routes"] if not r["stops"]]
    assert all((r["crew"], r["day"]) == at["c"][:2] and r["depart"] is None for r in emptied)
    assert newest(office)["id"] == app.state.plan


NO_MOVES: list[tuple[dict[str, Any], str]] = [
    ({}, "body.visit"),
    ({"visit": "a"}, "crew"),
    ({"visit": "a", "crew": "north"}, "day"),
    ({"visit": "a", "crew": "east", "day": 0}, "crew"),
    ({"visit": "z", "crew": "north", "day": 0}, "visit"),
    ({"visit": "a", "crew": "north", "day": 9}, "day"),
    ({"visit": "a", "crew": "north", "day": "2027-04-04"}, "day"),
    ({"visit": "a", "crew": "north", "day": 0, "position": 9}, "position"),
    ({"visit": "a", "crew": "north", "day": 0, "start": 1440}, "body.start"),
    ({"visit": "a", "pile": True, "day": 0}, "pile"),
    ({"visit": "a", "pile": True, "colour": "red"}, "body.colour"),
]


def test_a_move_that_is_none_is_refused_by_name(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    for body, where in NO_MOVES:
        for verb in ("tries", "moves"):
            answer = manager.post(f"/plans/{app.state.plan}/{verb}", json=body)
            assert (answer.status_code, answer.json()["where"]) == (422, where), body


def test_a_move_is_a_new_plan_and_undoing_is_going_back(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    first = app.state.plan
    body = {"visit": "a", "crew": "south", "day": 1, "start": 720}
    once = {"Idempotency-Key": "drop-1"}
    made = manager.post(f"/plans/{first}/moves", json=body, headers=once)
    assert made.status_code == 201, made.text
    second = made.json()["plan_id"]
    assert manager.post(f"/plans/{first}/moves", json=body, headers=once).json()["plan_id"] == second
    new, old = plan_at(manager, second), plan_at(manager, first)
    assert spots(new)["a"] == ("south", 1, 720)
    assert audit(WEEK, new).ok
    assert new.cost.total - old.cost.total == made.json()["cost_change_cents"]
    assert new.bound == old.bound  # of the same week document
    assert new.engine.endswith(", by hand")
    items = {item["id"]: item for item in manager.get(f"/weeks/{MONDAY}/plans").json()["items"]}
    assert (items[second]["how"], items[second]["made_from"]) == ("moved", first)
    laid = manager.get(f"/plans/{second}/against/{first}").json()
    assert laid["same_week"]
    moved = next(m for m in laid["moves"] if m["visit"] == "a")
    assert moved["after"] == {"crew": "south", "day": 1, "date": "2027-04-06", "start": 720}
    assert moved["sentence"].endswith("→ 12:00")
    assert laid["saves_cents"]["total"] == -made.json()["cost_change_cents"]
    assert plan_at(manager, items[second]["made_from"]) == old
    line = manager.get("/history", params={"noun": "visit", "noun_id": "a"}).json()["items"][0]
    assert (line["by"], line["did"], line["detail"]["to"]) == ("maud", "moved", ["south", 1, 720])


def test_a_move_that_breaks_a_rule_is_refused_whatever_is_said(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    body = {"visit": "a", "crew": "north", "day": 0, "start": 60, "despite": True}
    answer = manager.post(f"/plans/{app.state.plan}/moves", json=body)
    assert answer.status_code == 409
    problem = answer.json()
    assert problem["type"] == "/problems/breaks-rule"
    assert "window" in {b["rule"] for b in problem["broken"]}
    assert all(b["sentence"] in problem["detail"] for b in problem["broken"])
    assert newest(manager)["id"] == app.state.plan


def test_a_refused_move_and_its_verdict_are_read_in_spanish(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    manager.cookies.set("eave-language", "es")
    body: dict[str, Any] = {"visit": "a", "crew": "north", "day": 0, "start": 60}
    tried = manager.post(f"/plans/{app.state.plan}/tries", json=body).json()
    refused = manager.post(f"/plans/{app.state.plan}/moves", json=body).json()
    said = [one["sentence"] for one in (*tried["broken"], *refused["broken"])]
    assert any("hace a de 1:00 a 2:00, fuera de sus horas de trabajo" in one for one in said), said
    assert all(one.startswith("La cuadrilla ") for one in said), said
    assert all(one["sentence"] in refused["detail"] for one in refused["broken"])


def test_a_promise_is_broken_only_where_the_manager_says_so_and_then_openly(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    body: dict[str, Any] = {"visit": "c", "crew": "north", "day": 0}
    refused = manager.post(f"/plans/{app.state.plan}/moves", json=body)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/breaks-promise")
    assert "The firm booking of c (south on Tue Apr 6, 10:00) is not kept any more" in refused.json()["detail"]
    made = manager.post(f"/plans/{app.state.plan}/moves", json={**body, "despite": True}).json()
    new = plan_at(manager, made["plan_id"])
    assert new.broken == ("c",)
    assert audit(WEEK, new).ok
    assert made["by_kind"]["changes"] == WEEK.broken_cents
    laid = manager.get(f"/plans/{made['plan_id']}/against/{app.state.plan}").json()
    assert laid["promises"] == {"kept": [], "broken": ["c"], "broken_in_both": []}


def test_why_a_promise_is_not_kept_is_told_on_a_page(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    body: dict[str, Any] = {"visit": "c", "crew": "north", "day": 0, "despite": True}
    made = manager.post(f"/plans/{app.state.plan}/moves", json=body).json()["plan_id"]
    at = f"/plans/{made}/promises"
    told = manager.get(at, headers={"accept": "application/json"}).json()
    assert list(told) == ["c"]
    assert told["c"].startswith("The firm booking of c (south on Tue Apr 6, 10:00) is not kept: ")
    shown = signed_in(app, Role.reader).get(at, headers={"accept": "text/html"}).text
    assert told["c"].replace(".00 saved", " saved") in html.unescape(shown)  # whole dollars on pages
    assert manager.get("/plans/999999/promises").status_code == 404
    kept = manager.get(f"/plans/{app.state.plan}/promises", headers={"accept": "text/html"}).text
    assert "keeps every firm time and every promised day" in kept


def test_a_visit_taken_off_by_hand_waits_for_that_reason_through_later_moves(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    first = manager.post(f"/plans/{app.state.plan}/moves", json={"visit": "a", "pile": True}).json()["plan_id"]
    second = manager.post(f"/plans/{first}/moves", json={"visit": "b", "crew": "north", "day": 1}).json()["plan_id"]
    for plan_id in (first, second):
        (skipped,) = plan_at(manager, plan_id).skipped
        assert (skipped.job, [b.code for b in skipped.because]) == ("a", ["by_hand"])
    back = manager.post(f"/plans/{second}/moves", json={"visit": "a", "crew": "south", "day": 0}).json()["plan_id"]
    assert plan_at(manager, back).skipped == ()


def test_a_plan_that_was_held_to_locks_hands_no_bound_on(app: FastAPI) -> None:
    """Its bound is one on plans that keep those locks; one moved by hand need not."""
    held = keep(app, WEEK, planned(WEEK), fixed={"held": {"a": ["north", 0]}})
    manager = signed_in(app, Role.manager)
    made = manager.post(f"/plans/{held}/moves", json={"visit": "b", "crew": "north", "day": 1}).json()["plan_id"]
    assert plan_at(manager, made).bound is None


def test_plans_of_two_weeks_are_not_compared(app: FastAPI) -> None:
    import msgspec

    later = msgspec.structs.replace(WEEK, start_date=MONDAY + datetime.timedelta(days=7))
    other = keep(app, later, planned(later))
    answer = signed_in(app, Role.reader).get(f"/plans/{app.state.plan}/against/{other}")
    assert answer.status_code == 409
    assert "2027-04-12" in answer.json()["detail"]


def test_who_may_not(app: FastAPI) -> None:
    body = {"visit": "a", "crew": "south", "day": 1}
    for role in (Role.lead, Role.reader, Role.office):
        client = signed_in(app, role)
        assert client.post(f"/plans/{app.state.plan}/moves", json=body).status_code == 403
        assert client.put("/locks/a", json={"crew": "north-1", "day": "2027-04-05"}).status_code == 403
        assert client.post(f"/weeks/{MONDAY}/post", json={"plan_id": app.state.plan}).status_code == 403
        assert client.post(f"/weeks/{MONDAY}/runs", json={"seconds": 1}).status_code == 403
        tried = client.post(f"/plans/{app.state.plan}/tries", json=body).status_code
        assert tried == (200 if role is Role.office else 403)


@pytest.mark.slow
def test_plans_are_listed_tried_moved_and_compared_on_postgresql_too(app_on_either: FastAPI) -> None:
    first = keep(app_on_either, WEEK, planned(WEEK))
    manager = signed_in(app_on_either, Role.manager)
    body = {"visit": "a", "crew": "south", "day": 1, "start": 720}
    told = manager.post(f"/plans/{first}/tries", json=body).json()
    made = manager.post(f"/plans/{first}/moves", json=body)
    assert made.status_code == 201, made.text
    assert made.json()["cost_change_cents"] == told["cost_change_cents"]
    second = made.json()["plan_id"]
    assert [item["id"] for item in manager.get(f"/weeks/{MONDAY}/plans").json()["items"]] == [second, first]
    assert manager.get(f"/plans/{second}/against/{first}").json()["saves_cents"]["total"] < 0


def test_a_plan_can_be_made_again_of_what_is_kept_with_it(app: FastAPI) -> None:
    """Week document, locks and seed are all that a plan is made of."""
    fixed = {"held": {"a": ["north", 1]}, "visits": {"b": ["south", 0, 600]}}
    first = solve(WEEK, seconds=None, clock=time.monotonic, fixed=from_data(fixed))
    plan_id = keep(app, WEEK, first, fixed=fixed)
    week = read_week(signed_in(app, Role.reader).get(f"/plans/{plan_id}/week").content)
    with transaction(app.state.database) as session:
        row = session.get_one(tables.StoredPlan, plan_id)
    again = solve(week, seconds=None, clock=time.monotonic, fixed=from_data(row.fixed))
    assert again.cost.total == row.cost_cents == again.bound
    assert spots(again)["b"] == ("south", 0, 600)


def test_of_a_week_under_way_what_has_begun_stays_and_nothing_is_planned_before_now(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(post, "WHEN_POSTED", ())  # there is no business round this week
    at = spots(planned(WEEK))
    _, day, start = min(at.values(), key=lambda spot: spot[1:])
    moment = datetime.datetime.combine(MONDAY, datetime.time(), datetime.UTC) + datetime.timedelta(
        days=day, minutes=start + 5
    )
    with transaction(app.state.database) as session:
        stored = session.get_one(tables.StoredPlan, app.state.plan)
        before = locks.fixed_of(session, WEEK, {"a": Lock("north", 1, None)}, moment)
        assert before.visits == {}  # nothing is posted yet
        assert before.held == {"a": ("north", 1)}
        post.post(session, stored, read_week(stored.week), now=NOW, by="maud")
    with transaction(app.state.database) as session:
        fixed = locks.fixed_of(session, WEEK, {}, moment)
        assert locks.fixed_of(session, WEEK, {}, NOW).now is None
        with pytest.raises(Problem, match="is over"):
            locks.fixed_of(session, WEEK, {}, moment + datetime.timedelta(days=7))
    begun = {name for name, spot in at.items() if spot[1:] <= (day, start + 5)}
    assert begun <= set(fixed.visits) == fixed.begun
    made = spots(solve(WEEK, seconds=None, clock=time.monotonic, fixed=fixed))
    for name, spot in made.items():
        assert spot == at[name] if name in begun else spot[1:] >= (day, start + 5)
    assert from_data(as_data(fixed)) == fixed


def test_a_move_on_a_sheet_that_is_no_longer_the_newest_is_refused_and_nothing_is_lost(app: FastAPI) -> None:
    maud = signed_in(app, Role.manager)
    with transaction(app.state.database) as session:  # a second planner beside her
        password = app.state.passwords.hash(PASSWORD)
        session.add(tables.Account(name="nell", role=Role.manager, password=password))
    nell = sign_in(anonymous(app), "nell")
    off = {"visit": "c", "pile": True, "despite": True}
    first = nell.post(f"/plans/{app.state.plan}/moves", json=off).json()
    second = maud.post(f"/plans/{app.state.plan}/moves", json={"visit": "a", "pile": True, "despite": True})
    assert (second.status_code, second.json()["type"]) == (409, "/problems/changed-meanwhile")
    assert second.json()["newest"] == first["plan_id"]
    changed = second.json()["changed"]
    assert any(words.startswith("c: dropped, ") for words in changed)
    assert f"nell has changed this week meanwhile ({changed[0]}" in second.json()["detail"]
    rebased = maud.post(f"/plans/{first['plan_id']}/moves", json={"visit": "a", "pile": True, "despite": True})
    assert rebased.status_code == 201
    with transaction(app.state.database) as session:
        plan = read_plan(session.get_one(tables.StoredPlan, rebased.json()["plan_id"]).plan)
    assert {"a", "c"} <= {skipped.job for skipped in plan.skipped}
