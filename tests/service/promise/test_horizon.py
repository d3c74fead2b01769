"""The weeks ahead: how work comes in by itself, runs, every night, later weeks by half days, capacity."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.plans.stored import newest_plan
from api.week.horizon import keeper, keeping
from api.week.horizon.document import Horizon, horizon_of
from api.week.horizon.keeping import keep_run, newest, newest_id
from api.week.horizon.standing import standing
from api.week.post import post
from scheduler import Off, by_hand
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.week import read_week, week_document
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.promise.conftest import THURSDAY
from tests.waiting import until

MONDAY = datetime.date(2027, 4, 12)


def ahead(app: FastAPI, change: Callable[..., None] = lambda session: None) -> Horizon:
    with transaction(app.state.database) as session:
        change(session)
        session.flush()
        return horizon_of(session, THURSDAY)


def ready(horizon: Horizon, visit: str) -> datetime.date | None:
    day = next(job.ready_day for job in horizon.week.jobs if job.id == visit)
    return None if day is None else horizon.date(day)


def test_work_comes_in_as_crates_are_due_and_gates_close(app: FastAPI) -> None:
    horizon = ahead(app)
    assert (horizon.start_date, horizon.weeks, horizon.week.days) == (MONDAY, 6, 41)
    assert read_week(week_document(horizon.document)).format == "week/2"
    assert ready(horizon, "J-1054") == datetime.date(2027, 4, 15)  # the crate on Wednesday, counted within a day
    assert "J-1054" not in horizon.because

    def wait_for_a_permit(session: object) -> None:
        session.add(tables.Gate(visit_id="J-1054", what="permit", due_on=datetime.date(2027, 4, 28)))  # type: ignore[attr-defined]
        session.add(tables.Gate(visit_id="J-1088", what="deposit"))  # type: ignore[attr-defined]

    held = ahead(app, wait_for_a_permit)
    assert ready(held, "J-1054") == datetime.date(2027, 4, 28)
    assert ready(held, "J-1088") is None  # nobody can say when
    assert held.because["J-1088"][0].code == "gate"


def test_how_many_weeks_is_a_setting(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    page = manager.get("/settings/week", headers=PAGE).text
    assert "Planned ahead" in page

    def shorter(session: object) -> None:
        business = session.get_one(tables.Business, 1)  # type: ignore[attr-defined]
        business.rules = {**business.rules, "horizon_weeks": 3}

    assert ahead(app, shorter).weeks == 3


def test_a_posted_week_holds_as_it_is(app: FastAPI) -> None:
    def post_it(session: object) -> None:
        stored = newest_plan(session, MONDAY)  # type: ignore[arg-type]
        assert stored is not None
        post(session, stored, read_week(stored.week), now=THURSDAY, by="test")  # type: ignore[arg-type]

    horizon = ahead(app, post_it)
    assert horizon.posted == (MONDAY,)
    assert min(shift.day for crew in horizon.week.crews for shift in crew.shifts) >= 7
    assert "J-1042" not in {job.id for job in horizon.week.jobs}  # firm on the Monday


def test_a_plan_stands_as_far_as_todays_rows_still_have_it(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    routes = {(route.crew, route.day): route for route in plan.plan.routes}
    (crew, day), gone = next((at, route) for at, route in routes.items() if len(route.stops) > 1)

    def away(session: object) -> None:
        lead = session.get_one(tables.Crew, crew).lead_id  # type: ignore[attr-defined]
        off = plan.date(day)
        session.add(tables.DayOff(person_id=lead, first=off, last=off, why="ill"))  # type: ignore[attr-defined]

    horizon = ahead(app, away)
    made = standing(horizon.week, plan.plan, 0)
    assert not audit(horizon.week, made).broken_rules
    kept = {stop.job for route in made.routes for stop in route.stops}
    assert not {stop.job for stop in gone.stops} & kept
    before = {stop.job for route in plan.plan.routes for stop in route.stops}
    assert kept >= before - {stop.job for stop in gone.stops}


def test_no_crew_of_a_plan_that_stands_waits_for_a_visit_that_is_off(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    told = {job.id for job in plan.week.jobs if job.booked is not None}
    route, stop = next(
        (r, r.jobs[-1]) for r in plan.plan.routes if len(r.jobs) > 1 and not told & {stop.job for stop in r.jobs}
    )

    def cancel(session: object) -> None:
        session.get_one(tables.Visit, stop.job).state = "cancelled"  # type: ignore[attr-defined]

    made = standing(ahead(app, cancel).week, plan.plan, 0)
    by_then = by_hand(plan.week, plan.plan, Off(stop.job)).plan
    one, other = (next(r for r in p.routes if (r.crew, r.day) == (route.crew, route.day)) for p in (made, by_then))
    assert (one.depart, one.back) == (other.depart, other.back)
    assert [(s.job, s.start, s.end) for s in one.stops] == [(s.job, s.start, s.end) for s in other.stops]
    assert one.back - one.depart < route.back - route.depart


def test_a_run_that_does_not_know_of_a_promise_is_dropped(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        plan = newest(session)
        assert plan is not None
        values = {"week": week_document(plan.week).decode(), "because": plan.because, "weeks": plan.weeks}
        late, right = (
            tables.PlanRun(
                start_date=plan.start_date, seconds=1.0, asked_at=THURSDAY, asked_by="t", from_horizon=base, **values
            )
            for base in (None, plan.id)
        )
        document = encode(plan.plan).decode()
        assert keep_run(session, late, document, THURSDAY) is None
        made = keep_run(session, right, document, THURSDAY)
        assert made == newest_id(session) != plan.id


def test_old_plans_are_let_go_and_what_was_made_of_them_stays(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "KEPT", 3)
    made = []
    with transaction(app.state.database) as session:
        plan = newest(session)
        assert plan is not None
        values = {"week": week_document(plan.week).decode(), "because": plan.because, "weeks": plan.weeks}
        for _ in range(4):
            run = tables.PlanRun(
                start_date=plan.start_date, seconds=1.0, asked_at=THURSDAY, asked_by="t",
                from_horizon=newest_id(session), **values,
            )  # fmt: skip
            session.add(run)
            run.horizon_id = keep_run(session, run, encode(plan.plan).decode(), THURSDAY)
            made.append(run.horizon_id)
            session.flush()
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.HorizonPlan).order_by(tables.HorizonPlan.id)).all()
        assert [row.id for row in rows] == made[1:]
        assert [row.made_from for row in rows] == [None, made[1], made[2]]
        runs = session.exec(select(tables.PlanRun).order_by(tables.PlanRun.id)).all()
        assert [run.horizon_id for run in runs][-4:] == [None, *made[1:]]
    assert signed_in(app, Role.reader).get("/horizon/plan").status_code == 200


@pytest.mark.slow
def test_a_run_plans_the_weeks_ahead_and_is_kept(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    begun = manager.post("/horizon/runs", json={"seconds": 3}, headers=JSON)
    assert begun.status_code == 201, begun.text
    run = begun.json()["id"]
    second = manager.post("/horizon/runs", json={"seconds": 3}, headers=JSON)
    assert (second.status_code, second.json()["run_id"]) == (409, run)
    assert manager.get(f"/weeks/{MONDAY}/runs", headers=JSON).json()["items"] == []  # no run of that week
    record = dict[str, Any]()

    def ended() -> bool:
        record.update(manager.get(f"/runs/{run}", headers=JSON).json())
        return record["state"] not in ("waiting", "running")

    until(ended)
    assert (record["state"], record["fault"], record["plan_id"]) == ("done", "", None)
    assert record["progress"]
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    assert (plan.id, plan.made_by) == (record["horizon_id"], "maud")
    week, made = manager.get("/horizon/week").json(), manager.get("/horizon/plan").json()
    assert (week["format"], made["format"]) == ("week/2", "plan/2")


def test_every_night_one_run_is_begun(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[datetime.datetime] = []
    monkeypatch.setattr(keeper, "start_horizon", lambda *_, now, **__: asked.append(now))
    at = [THURSDAY]
    looked = keeper.HorizonKeeper(app.state.database, app.state.runs, lambda: at[0])
    looked.look()
    assert asked == []  # planned this afternoon
    at[0] = datetime.datetime(2027, 4, 9, 6, 30, tzinfo=datetime.UTC)  # half past one at the yards
    looked.look()
    assert asked == []
    at[0] += datetime.timedelta(hours=1)
    looked.look()
    looked.look()  # the run is under way
    assert asked == [at[0]]


def test_later_weeks_show_half_days_and_say_that_they_may_move(app: FastAPI, sqlite_folder: Path) -> None:
    reader = signed_in(app, Role.reader)
    later = reader.get("/weeks/2027-04-19", headers=PAGE)
    assert later.status_code == 200
    assert "may move until the week is posted" in later.text
    assert "morning" in later.text
    assert "afternoon" in later.text
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    inside = {s.job for r in plan.plan.routes if 7 <= r.day < 14 for s in r.stops}
    assert inside
    for job in inside:
        assert f"/jobs/{job}" in later.text
    near = reader.get(f"/weeks/{MONDAY}", headers=PAGE).text
    assert "by half days" not in near  # it has a plan of its own
    beyond = reader.get("/weeks/2027-05-31", headers=PAGE).text
    assert "No plan has been made for this week yet" in beyond


def test_capacity_tells_hours_promised_planned_and_free(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    found = reader.get("/capacity", headers=JSON).json()
    assert [week["monday"] for week in found["weeks"]][:2] == ["2027-04-12", "2027-04-19"]
    assert len(found["weeks"]) == 6
    yards = [yard for week in found["weeks"] for yard in week["yards"]]
    for yard in yards:
        assert yard["open"] == yard["away"] + yard["free"]
        assert yard["promised"] <= yard["planned"]
        assert yard["planned"] == sum(kind["planned"] for kind in yard["kinds"])
        assert [one["share"] for one in yard["short"]] == sorted((o["share"] for o in yard["short"]), reverse=True)
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    on_site = sum(stop.end - stop.start for route in plan.plan.routes for stop in route.stops)
    assert sum(yard["planned"] for yard in yards) == on_site
    page = reader.get("/capacity", headers=PAGE).text
    assert "North yard" in page
    assert "/horizon/runs" not in page  # a reader plans nothing


def test_hours_kept_since_the_weeks_ahead_were_planned_are_not_free(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    before = reader.get("/capacity", headers=JSON).json()["weeks"][1]["yards"]
    with transaction(app.state.database) as session:
        plan = newest(session)
        assert plan is not None
        back = {(route.crew, route.day): route.back for route in plan.plan.routes}
        crew, shift = next(
            (crew, shift)
            for crew in plan.week.crews for shift in crew.shifts
            if 7 <= shift.day < 14 and back.get((crew.id, shift.day), 0) <= shift.end - 60
        )  # fmt: skip
        visit = session.exec(select(tables.Visit).where(tables.Visit.state == "open")).first()
        day = plan.date(shift.day)
        assert visit is not None
        session.add(tables.RainDate(
            visit_id=visit.id, first_day=day - datetime.timedelta(days=7), crew_id=crew.id, day=day,
            start=shift.end - 50, end=shift.end - 10, free_from=shift.end - 60, free_until=shift.end, made_at=THURSDAY,
            made_by="olive",
        ))  # fmt: skip
    after = reader.get("/capacity", headers=JSON).json()["weeks"][1]["yards"]
    assert sum(yard["free"] for yard in after) == sum(yard["free"] for yard in before) - 60
    assert all(yard["open"] == yard["away"] + yard["free"] for yard in after)


def test_before_it_was_ever_planned_the_pages_say_so(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        session.delete(session.get_one(tables.HorizonPlan, newest_id(session)))
    reader = signed_in(app, Role.reader)
    assert "have not been planned yet" in reader.get("/capacity", headers=PAGE).text
    assert reader.get("/capacity", headers=JSON).json() is None
    assert reader.get("/horizon/plan").status_code == 404
    office: TestClient = signed_in(app, Role.office)
    assert office.get("/jobs/J-1061/times", headers=JSON).json()["times"]  # nothing needs a plan to be promised
