"""Posting a week: what stands against it, who may do it all the same, and what follows."""

from __future__ import annotations

import datetime
import functools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from msgspec.structs import replace
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.app import create_app
from api.database import transaction
from api.http.problems import Problem
from api.ledger.plans.posted import Posted, posted_on, posted_plan, posted_route, posted_week
from api.week import post
from api.week.run.planning import store_plan
from scheduler import Off, by_hand
from scheduler.documents import encode
from scheduler.plan import Plan, read_plan
from scheduler.week import Booking, Week, checked, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import add_cast, settings_for, signed_in, started
from tests.two_crews import job, planned, week_of

NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)
WEEK = week_of(job("a"), job("b"), job("c", booked=Booking("south", 1, 600, "firm", 0, 0, 0)))
MONDAY = datetime.date(2027, 4, 12)


@functools.cache
def plan_of_it() -> Plan:
    return planned(WEEK)


def changed(name: str, **values: Any) -> Week:
    """Return the small week with one job of it changed."""
    return checked(replace(WEEK, jobs=tuple(replace(j, **values) if j.id == name else j for j in WEEK.jobs)))


# What stands against posting a plan.


def test_nothing_stands_against_a_plan_of_todays_rows() -> None:
    assert post.broken_rules(WEEK, plan_of_it()) == []
    assert post.against_today(WEEK, plan_of_it(), WEEK) == []


def test_what_only_changes_the_cost_or_has_come_in_since_does_not_matter() -> None:
    dearer = changed("a", skip_cents=900_000, due_day=-3, late_cents=100)
    newer = checked(replace(week_of(*WEEK.jobs, job("d")), id=WEEK.id))
    for today in (dearer, newer):
        assert post.against_today(WEEK, plan_of_it(), today) == []


@pytest.mark.parametrize(
    ("today", "words"),
    [
        (changed("a", ready_day=None), "has a, whose kit is not complete this week"),
        (changed("a", skills=("masonry",)), "lacks masonry for a"),
        (changed("a", windows=()), "a day without a work window for it"),
        (changed("a", minutes=90), "for a, which takes 90"),
        (changed("b", booked=Booking("north", 0, 900, "firm", 0, 0, 0)), "b has been promised another time since"),
        (checked(replace(WEEK, crews=tuple(replace(c, shifts=()) for c in WEEK.crews))), "does not work"),
        (week_of(*WEEK.jobs[1:]), "a is on the sheet and is not to be done in it any more"),
    ],
)
def test_what_matters_is_said_once_and_by_name(today: Week, words: str) -> None:
    found = post.against_today(WEEK, plan_of_it(), today)
    assert any(words in sentence for sentence in found), found
    assert len(found) == len(set(found))


def test_a_promise_that_is_broken_openly_or_taken_back_since_does_not_matter() -> None:
    off = by_hand(WEEK, plan_of_it(), Off("c")).plan
    assert off.broken == ("c",)
    assert post.against_today(WEEK, off, WEEK) == []
    assert post.against_today(WEEK, off, changed("c", booked=None)) == []


# The row of a posting, and what follows.


def keep(session: Session, week: Week, plan: Plan) -> tables.StoredPlan:
    return store_plan(session, week, plan, because={}, inputs="", how="planned", now=NOW, by="maud")


def posted_now(session: Session, stored: tables.StoredPlan, by: str = "maud") -> tables.PostedWeek:
    return post.post(session, stored, read_week(stored.week), now=NOW, by=by)


def test_the_newest_posting_counts_and_none_is_ever_changed(
    app_on_either: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(post, "WHEN_POSTED", ())  # there is no business round this week
    database = app_on_either.state.database
    other = by_hand(WEEK, plan_of_it(), Off("a")).plan
    with transaction(database) as session:
        first = posted_now(session, keep(session, WEEK, plan_of_it()))
        second = posted_now(session, keep(session, WEEK, other), by="olive")
    with transaction(database) as session:
        assert posted_week(session, WEEK.start_date) == second
        stored = posted_plan(session, WEEK.start_date)
        assert stored is not None
        assert stored.id == second.plan_id
        assert other.routes
        for route in other.routes:
            day = WEEK.start_date + datetime.timedelta(days=route.day)
            assert posted_route(session, route.crew, day) == route
        assert posted_on(session, WEEK.start_date + datetime.timedelta(days=6)) == second
        assert posted_on(session, WEEK.start_date + datetime.timedelta(days=7)) is None
        assert posted_on(session, WEEK.start_date - datetime.timedelta(days=1)) is None
    for change in (
        "UPDATE posted_week SET plan_id = plan_id",
        "UPDATE posted_week SET despite_why = 'x'",
        "UPDATE stored_plan SET fixed = '{}'",
        "DELETE FROM posted_week",
    ):
        with pytest.raises(sa.exc.DatabaseError, match="stays as it was made"), database.begin() as connection:
            connection.execute(sa.text(change))
    with transaction(database) as session:
        session.execute(
            sa.update(tables.PostedWeek).where(col(tables.PostedWeek.id) == second.id).values(withdrawn_at=NOW)
        )
    with transaction(database) as session:
        assert posted_week(session, WEEK.start_date) == first


def test_what_follows_a_posting_is_in_its_transaction(app_on_either: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[Any, ...]] = []

    def counted(session: Session, posted: Posted) -> None:
        seen.append((posted.by, posted.before and posted.before.id, posted.week, posted.plan))

    def broken(session: Session, posted: Posted) -> None:
        raise ZeroDivisionError("the shelf")

    database = app_on_either.state.database
    monkeypatch.setattr(post, "WHEN_POSTED", (counted,))
    with transaction(database) as session:
        first = posted_now(session, keep(session, WEEK, plan_of_it()))
    monkeypatch.setattr(post, "WHEN_POSTED", (counted, broken))
    with pytest.raises(ZeroDivisionError), transaction(database) as session:
        posted_now(session, keep(session, WEEK, plan_of_it()))
    assert seen == [("maud", None, WEEK, plan_of_it()), ("maud", first.id, WEEK, plan_of_it())]
    with transaction(database) as session:
        assert session.exec(select(tables.PostedWeek)).all() == [first]
        assert [line.did for line in session.exec(select(tables.History)).all()].count("posted") == 1


# By its address, on the demo business.


@pytest.fixture
def demo(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    """The demo business's application at its own moment."""
    folder: Path = shutil.copytree(built.out, tmp_path / "demo")
    settings = settings_for(folder)
    app = create_app(type(settings)(**{**vars(settings), "clock": "forecast"}))
    with started(app):
        add_cast(app)
        yield app


def test_a_week_is_posted_seen_and_posted_anew(demo: FastAPI) -> None:
    manager, reader = signed_in(demo, Role.manager), signed_in(demo, Role.reader)
    (item,) = reader.get(f"/weeks/{MONDAY}/plans").json()["items"]
    assert reader.get(f"/weeks/{MONDAY}/posted").status_code == 404
    key = {"Idempotency-Key": "post-1"}
    made = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": item["id"]}, headers=key)
    assert made.status_code == 201, made.text
    assert manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": item["id"]}, headers=key).json() == made.json()
    record = reader.get(f"/weeks/{MONDAY}/posted").json()
    assert record == made.json()
    assert (record["plan_id"], record["posted_by"], record["despite"]) == (item["id"], "maud", [])
    assert reader.get(f"/weeks/{MONDAY}/plans").json()["items"][0]["posted"]

    plan = read_plan(reader.get(f"/plans/{item['id']}").content)
    off = next(s.job for r in plan.routes for s in r.stops)
    moved = manager.post(f"/plans/{item['id']}/moves", json={"visit": off, "pile": True, "despite": True}).json()
    again = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": moved["plan_id"]})
    assert again.status_code == 201, again.text
    listed = {p["id"]: (p["posted"], p["was_posted"]) for p in reader.get(f"/weeks/{MONDAY}/plans").json()["items"]}
    assert listed == {item["id"]: (False, True), moved["plan_id"]: (True, True)}
    lines = manager.get("/history", params={"noun": "week"}).json()["items"]
    assert [line["detail"]["before"] for line in lines if line["did"] == "posted"] == [item["id"], None]

    for week, plan_id, status in (("2027-04-19", item["id"], 409), (MONDAY, 999, 404), (MONDAY, 0, 422)):
        assert manager.post(f"/weeks/{week}/post", json={"plan_id": plan_id}).status_code == status


def test_a_plan_that_no_longer_fits_is_posted_only_with_a_reason_by_name(demo: FastAPI) -> None:
    manager = signed_in(demo, Role.manager)
    (item,) = manager.get(f"/weeks/{MONDAY}/plans").json()["items"]
    plan = read_plan(manager.get(f"/plans/{item['id']}").content)
    with transaction(demo.state.database) as session:
        kits = set(session.exec(select(tables.BenchCount.visit_id)).all())
        counted = next(s.job for r in plan.routes for s in r.stops if s.job in kits)
        short = session.exec(select(tables.BenchCount).where(tables.BenchCount.visit_id == counted)).first()
        assert short is not None
        session.add(
            tables.BenchCount(
                visit_id=counted, item=short.item, counted=0, counted_on=MONDAY, counted_by="olive"
            )
        )  # fmt: skip
    refused = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": item["id"]})
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/not-current")
    (sentence,) = refused.json()["against"]
    assert f"has {counted}, whose kit is not complete this week" in sentence
    body = {"plan_id": item["id"], "despite": "The part is in my own van."}
    record = manager.post(f"/weeks/{MONDAY}/post", json=body).json()
    assert (record["despite"], record["despite_why"]) == ([sentence], body["despite"])
    lines = manager.get("/history", params={"noun": "week"}).json()["items"]
    line = next(line for line in lines if line["did"] == "posted")
    assert (line["by"], line["detail"]["because"]) == ("maud", body["despite"])


def test_no_caller_can_post_a_plan_that_breaks_a_rule(app_on_either: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stored plan whose route leaves before its shift: whoever posts it, the checks are inside."""
    monkeypatch.setattr(post, "WHEN_POSTED", ())
    route = plan_of_it().routes[0]
    early = replace(route, depart=0)
    broken = replace(plan_of_it(), routes=(early, *plan_of_it().routes[1:]))
    with transaction(app_on_either.state.database) as session:
        stored = keep(session, WEEK, plan_of_it())
        values = stored.model_dump(exclude={"id", "plan"})
        row = tables.StoredPlan(**values, plan=encode(broken).decode())
        session.add(row)
        session.flush()
        with pytest.raises(Problem, match="before its shift") as fault:
            post.post(session, row, WEEK, now=NOW, by="maud", despite_why="whatever")
        assert fault.value.kind == "breaks-rule"
        with pytest.raises(Problem, match="before its shift"):
            post.post_plan(session, WEEK.start_date, row.id or 0, WEEK, now=NOW, by="maud", despite_why="whatever")
        assert session.exec(select(tables.PostedWeek)).all() == []
