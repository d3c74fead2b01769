"""A rain date in the next week, posted or not: found, kept free there, told of, gone to and let go."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.fields.shown import clock
from api.ledger.history import note
from api.ledger.plans.posted import posted_week
from api.ledger.told import told_now
from api.week.build import BuiltWeek
from api.week.horizon.document import horizon_of
from api.week.horizon.keeping import store
from api.week.post import post
from api.week.run.planning import planned, prepare_week, store_plan
from api.week.second import second_plan
from scheduler import Put, by_hand
from scheduler.audit import audit
from scheduler.plan import Plan, read_plan
from scheduler.week import read_week
from tests.service.cast import PAGE
from tests.service.rebooking.cast import MONDAY, THURSDAY, of_kind, opened, posted, searched, spots, take, van_away
from tests.service.rebooking.test_rain_dates import NOW, storm

pytestmark = pytest.mark.slow

NEXT = MONDAY + datetime.timedelta(days=7)


@pytest.fixture
def visit(app: FastAPI) -> str:
    """A repair or install that is posted for the end of the week, may be moved, and has nothing that goes after it."""
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        firm = {told.visit_id for told in session.exec(select(tables.Booking)) if told.hold == "firm"}
        tied = {name for row in session.exec(select(tables.VisitFollows)) for name in (row.first_id, row.then_id)}
        kinds = {visit.id: visit.kind for visit in session.exec(select(tables.Visit))}
    found = [name for name in at if kinds[name] != "survey" and name not in firm | tied]
    return max(found, key=lambda name: (at[name].day, name))


def later_days(office: TestClient, visit: str) -> list[dict[str, Any]]:
    answer = office.get(f"/jobs/{visit}/rain-date")
    assert answer.status_code == 200, answer.text
    days: list[dict[str, Any]] = answer.json()["days"]
    assert sorted(days, key=lambda day: day["next_week"]) == days  # its own week first
    return [day for day in days if day["next_week"]]


def keep(office: TestClient, visit: str) -> dict[str, Any]:
    day = later_days(office, visit)[0]
    answer = office.post(f"/jobs/{visit}/rain-date", data={"day": day["key"]})
    assert answer.status_code == 200, answer.text
    return day


def shift_there(app: FastAPI, day: dict[str, Any]) -> Any:
    """Return the shift that a plan of the next week made now would have for the crew on the rain date."""
    week = prepare_week(app.state.database, NEXT, NOW).built.week
    offset = (datetime.date.fromisoformat(day["date"]) - NEXT).days
    crew = next(crew for crew in week.crews if crew.id == day["crew"])
    return next((one for one in crew.shifts if one.day == offset), None)


def posted_next(app: FastAPI) -> tables.StoredPlan:
    with transaction(app.state.database) as session:
        row = posted_week(session, NEXT)
        assert row is not None
        return session.get_one(tables.StoredPlan, row.plan_id)


def post_next(app: FastAPI) -> str:
    """Post the next week with one visit in it, as early as any can go; return that."""
    built = prepare_week(app.state.database, NEXT, NOW).built
    empty = planned(built.week, ())
    tries = (
        (job.id, by_hand(built.week, empty, Put(job.id, crew.id, shift.day, position=0)))
        for job in built.week.jobs for crew in built.week.crews for shift in crew.shifts
        if any(window.day == shift.day for window in job.windows)
    )  # fmt: skip
    name, tried = next((name, tried) for name, tried in tries if tried.allowed)
    store_and_post(app, built, tried.plan, NOW)
    return name


def store_and_post(app: FastAPI, built: BuiltWeek, plan: Plan, now: datetime.datetime) -> None:
    with transaction(app.state.database) as session:
        stored = store_plan(
            session, built.week, plan, because={}, inputs="next", how="planned", now=now, by="test", timed=built.timed
        )
        post(session, stored, built.week, now=now, by="test")


def test_the_end_of_the_week_keeps_a_day_of_the_next_which_nobody_else_gets(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    days = later_days(office, visit)
    assert [day["date"] for day in days] == sorted({day["date"] for day in days})  # each day once, the first ones
    assert all(datetime.date.fromisoformat(day["date"]) >= NEXT for day in days)
    whole = shift_there(app, days[0])
    day = keep(office, visit)
    left = shift_there(app, day)
    assert left is None or left.end <= day["free_from"] or left.start >= day["free_until"]
    with transaction(app.state.database) as session:
        ahead = horizon_of(session, NOW + datetime.timedelta(days=7))
    at = (datetime.date.fromisoformat(day["date"]) - ahead.start_date).days
    sold = [one for crew in ahead.week.crews if crew.id == day["crew"] for one in crew.shifts if one.day == at]
    assert sold == ([] if left is None else [left])  # no customer is promised these hours
    assert office.get("/rebooking").json()["look_at"] == []
    (line,) = office.get("/rebooking").json()["rain_dates"]
    assert (line["visit"], line["date"], line["next_week"], line["cannot"]) == (visit, day["date"], True, "")
    assert "the next week, where that is posted" in office.get(f"/jobs/{visit}/rain-date", headers=PAGE).text
    assert office.post(f"/jobs/{visit}/rain-date/let-go").status_code == 200
    assert shift_there(app, day) == whole


def test_the_sheet_of_a_later_week_by_half_days_shows_it(app: FastAPI, office: TestClient, visit: str) -> None:
    day = keep(office, visit)
    with transaction(app.state.database) as session:
        horizon = horizon_of(session, NOW)
        plan = second_plan(planned(horizon.document, ()))
        store(session, horizon.document, plan, weeks=horizon.weeks, because={}, how="planned", made_from=None, now=NOW,
              by="test")  # fmt: skip
    page = office.get(f"/weeks/{NEXT}", headers=PAGE).text
    assert "by half days" in page
    assert f'kept for <a href="/jobs/{visit}/rain-date">{visit}</a>' in page
    assert f"{clock(day['free_from'])}–{clock(day['free_until'])}" in page


def test_the_weather_takes_it_and_it_is_promised_in_a_week_that_is_not_posted(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    day = keep(office, visit)
    storm(app, visit)
    (line,) = [one for one in office.get("/rebooking").json()["look_at"] if one["visit"] == visit]
    assert "Its rain date is" in line["words"]
    answer = office.post(f"/jobs/{visit}/rain-date/go")
    assert answer.status_code == 200, answer.text
    assert visit not in spots(posted(app))
    with transaction(app.state.database) as session:
        told = told_now(session, visit)
        assert told is not None
        assert (told.crew_id, told.day.isoformat(), told.hold) == (day["crew"], day["date"], "day")
        assert abs(told.start - day["start"]) <= 30
        assert session.exec(select(tables.RainDate)).one().state == "taken"
        drafts = session.exec(select(tables.Message).where(tables.Message.visit_id == visit)).all()
    assert [one.kind for one in drafts if one.state == "draft"] == ["time"]
    there = next(job for job in prepare_week(app.state.database, NEXT, NOW).built.week.jobs if job.id == visit)
    assert there.booked is not None
    assert (there.booked.crew, there.booked.start) == (told.crew_id, told.start)


def test_a_next_week_that_is_posted_is_posted_again_with_it(app: FastAPI, office: TestClient, visit: str) -> None:
    other = post_next(app)
    before = spots(posted_next(app))[other]
    day = keep(office, visit)
    assert f"/jobs/{visit}/rain-date" in office.get(f"/weeks/{NEXT}", headers=PAGE).text
    case = opened(office, cause="weather", visit=visit)
    row = searched(app, office, case["id"], visit)
    (kept,) = of_kind(row, "rain date")
    assert (kept["crew"], kept["date"], kept["moves"]) == (day["crew"], day["date"], [])
    page = office.get(f"/rebooking/{case['id']}", params={"visit": visit}, headers=PAGE).text
    assert "Rain date:" in page
    assert take(office, case["id"], row, kept, hold="day").status_code == 200
    assert visit not in spots(posted(app))
    stored = posted_next(app)
    at = spots(stored)
    assert (at[visit].crew, (NEXT + datetime.timedelta(days=at[visit].day)).isoformat()) == (day["crew"], day["date"])
    assert (at[other].crew, at[other].start) == (before.crew, before.start)
    assert audit(read_week(stored.week), read_plan(stored.plan)).ok
    assert office.get("/rebooking").json()["look_at"] == []
    assert office.get("/rebooking").json()["rain_dates"] == []


def test_a_crew_that_is_away_in_the_next_week_is_told(app: FastAPI, office: TestClient, visit: str) -> None:
    day = keep(office, visit)
    van_away(app, day["crew"], datetime.date.fromisoformat(day["date"]), NOW)
    (line,) = office.get("/rebooking").json()["rain_dates"]
    assert "does not have" in line["cannot"]
    assert office.post(f"/jobs/{visit}/rain-date/go").status_code == 409


def test_what_was_not_done_goes_to_its_rain_date_once_its_own_week_is_over(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    days = later_days(office, visit)
    day = next(day for day in days if day["date"] > NEXT.isoformat())
    assert office.post(f"/jobs/{visit}/rain-date", data={"day": day["key"]}).status_code == 200
    not_done(app, visit, datetime.datetime(NEXT.year, NEXT.month, NEXT.day, 13, tzinfo=datetime.UTC))
    assert [one["visit"] for one in office.get("/rebooking").json()["rain_dates"]] == [visit]
    answer = office.post(f"/jobs/{visit}/rain-date/go")
    assert answer.status_code == 200, answer.text
    with transaction(app.state.database) as session:
        told = told_now(session, visit)
    assert told is not None
    assert (told.crew_id, told.day.isoformat()) == (day["crew"], day["date"])


def not_done(app: FastAPI, visit: str, now: datetime.datetime) -> None:
    """Have the crew say on its posted day that the weather took it, and go on to `now`."""
    at = spots(posted(app))[visit]
    with transaction(app.state.database) as session:
        session.add(tables.DayResult(
            crew_id=at.crew, day=MONDAY + datetime.timedelta(days=at.day), visit_id=visit, outcome="not_done",
            why="storm", noted_at=now, noted_by="lead",
        ))  # fmt: skip
        note(session, now, "lead", "noted", "visit", visit, {})
    app.state.clock = lambda: now


def test_one_that_was_not_done_is_planned_for_its_rain_date_by_itself(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    whole, day = shift_there(app, later_days(office, visit)[0]), keep(office, visit)
    sunday = datetime.datetime(NEXT.year, NEXT.month, NEXT.day, 20, tzinfo=datetime.UTC) - datetime.timedelta(days=1)
    not_done(app, visit, sunday)
    week = prepare_week(app.state.database, NEXT, sunday).built.week
    (booked,) = [job.booked for job in week.jobs if job.id == visit]
    at = (datetime.date.fromisoformat(day["date"]) - NEXT).days
    assert booked is not None
    assert (booked.crew, booked.day, booked.start, booked.hold) == (day["crew"], at, day["start"], "soft")
    assert whole in next(crew for crew in week.crews if crew.id == day["crew"]).shifts  # the hours kept are its own


def test_a_rain_date_that_went_by_keeps_nothing_and_its_visit_waits_for_the_next_plan(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    day = keep(office, visit)
    late = NOW + datetime.timedelta(days=14)
    not_done(app, visit, late)
    body = office.get("/rebooking").json()
    assert body["rain_dates"] == []
    assert [(one["visit"], one["date"]) for one in body["gone_by"]] == [(visit, day["date"])]
    page = office.get("/rebooking", headers=PAGE).text
    assert "has gone by" in page
    assert "Rain date" not in office.get(f"/jobs/{visit}", headers=PAGE).text
    after = NEXT + datetime.timedelta(days=7)
    built = prepare_week(app.state.database, after, late).built
    job = next(job for job in built.week.jobs if job.id == visit)
    assert job.booked is None
    tried = next(
        tried
        for crew in built.week.crews
        for window in job.windows
        if (
            tried := by_hand(built.week, planned(built.week, ()), Put(visit, crew.id, window.day, window.start))
        ).allowed
    )
    store_and_post(app, built, tried.plan, late)
    assert office.get("/rebooking").json()["gone_by"] == []


def test_one_that_was_not_done_and_is_planned_anew_keeps_nothing(app: FastAPI, office: TestClient, visit: str) -> None:
    """The week is over, and the next one is posted with the visit in it: its rain date stands for nothing any more."""
    keep(office, visit)
    after = THURSDAY + datetime.timedelta(days=10)
    built = prepare_week(app.state.database, NEXT, after).built
    empty = planned(built.week, ())
    tried = next(
        tried
        for crew in built.week.crews
        for window in next(job for job in built.week.jobs if job.id == visit).windows
        if (tried := by_hand(built.week, empty, Put(visit, crew.id, window.day, window.start))).allowed
    )
    store_and_post(app, built, tried.plan, after)
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.RainDate)).one().state in ("let go", "taken")
