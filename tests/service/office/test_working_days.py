"""Days in a row count working days: from Friday to Monday where nobody works at the weekend, and over closed days."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.days.day_rows import days_of
from api.ledger.days.work_days import work_days
from api.ledger.history import note
from api.ledger.plans.documents import as_data, notes_from_data
from api.week.horizon.document import horizon_of
from api.week.run.planning import planned
from scheduler import Put, by_hand
from scheduler.audit import audit
from scheduler.week import Week, read_week, week_document
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import DAY, MORNING, on_the_morning, post_day
from tests.service.office.test_days_in_a_row import make_days
from tests.service.office.test_follow_ons import done, in_week
from tests.service.office.test_set_up import text_of

FRIDAY, MONDAY = DAY + datetime.timedelta(days=4), DAY + datetime.timedelta(days=7)
JOB = "J-1048"


@pytest.fixture
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """An install of two days, and crews that work from Monday to Friday alone."""
    folder = tmp_path_factory.mktemp("working") / "posted"
    post_day(built.out, folder)
    with on_the_morning(folder) as app:
        with transaction(app.state.database) as session:
            weekend = sa.delete(tables.CrewHours).where(col(tables.CrewHours.weekday) >= 5)
            session.execute(weekend)
            session.execute(sa.delete(tables.VisitHours).where(col(tables.VisitHours.visit_id) == JOB))
            session.execute(sa.delete(tables.Booking).where(col(tables.Booking.visit_id) == JOB))
            note(session, MORNING, "test", "changed", "crew", "all", {})
        office = signed_in(app, Role.office)
        office.headers.update(PAGE)
        status, said = make_days(office, JOB, days="2", minutes="300")
        assert status == 303, text_of(said)
        yield app


def second(app: FastAPI) -> str:
    with transaction(app.state.database) as session:
        return days_of(session, session.get_one(tables.Visit, JOB))[1].id


def close(app: FastAPI, day: datetime.date) -> None:
    """Nobody works on `day`."""
    with transaction(app.state.database) as session:
        for person in session.exec(select(tables.Person.id)).all():
            session.add(tables.DayOff(person_id=person, first=day, last=day, part="day", why="closed"))
        note(session, MORNING, "test", "changed", "person", "all", {})


def promise(app: FastAPI, visit: str, day: datetime.date) -> None:
    with transaction(app.state.database) as session:
        session.add(tables.Booking(visit_id=visit, crew_id="north-1", day=day, start=480, hold="day"))
        note(session, MORNING, "test", "promised", "visit", visit, {})


def test_the_day_after_friday_is_monday_and_after_a_holiday_tuesday(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        known = work_days(session)
        assert known.next_after(FRIDAY - datetime.timedelta(days=1)) == FRIDAY
        assert known.next_after(FRIDAY) == MONDAY
        assert known.last_before(MONDAY) == FRIDAY
    close(app, MONDAY)
    with transaction(app.state.database) as session:
        assert work_days(session).next_after(FRIDAY) == MONDAY + datetime.timedelta(days=1)


@pytest.mark.parametrize("closed", [False, True])
def test_what_began_on_friday_goes_on_on_the_next_day_of_work(app: FastAPI, closed: bool) -> None:
    then = second(app)
    if closed:
        close(app, MONDAY)
    with transaction(app.state.database) as session:
        done(session, JOB, FRIDAY)
    job, because = in_week(app, then, MONDAY)
    assert because == ()
    assert (job.ready_day, {window.day for window in job.windows}) == ((1, {1}) if closed else (0, {0}))
    late, why = in_week(app, then, DAY)
    assert late.ready_day is None
    on = "Tue Apr 20" if closed else "Mon Apr 19"
    words = f"{JOB} was done on Fri Apr 16, and this goes on with it on {on}, the next working day."
    assert [one.detail for one in why] == [words]


def test_the_weeks_ahead_have_it_go_on_after_the_weekend(app: FastAPI) -> None:
    """A first day promised for Friday: the second goes on Monday alone, by the rule that the auditor keeps."""
    then, friday = second(app), MONDAY + datetime.timedelta(days=4)
    promise(app, JOB, friday)
    with transaction(app.state.database) as session:
        week = horizon_of(session, MORNING).week
    (follow,) = (one for one in week.follows if (one.first, one.then) == (JOB, then))
    assert (follow.min_days, follow.max_days) == (3, 3)
    allowed = {day for day in range(4, 12) if _planned(week, then, 4, day)}
    assert allowed == {7}


def test_without_a_promise_it_goes_on_on_the_next_day_of_work_whichever_it_begins_on(app: FastAPI) -> None:
    then = second(app)
    with transaction(app.state.database) as session:
        known = horizon_of(session, MORNING)
    week, monday = known.document, 7 - known.start_date.weekday()
    friday = monday + 4
    assert _planned(week, then, friday, friday + 3)
    assert _planned(week, then, monday, monday + 1)
    assert not _planned(week, then, monday, monday + 3)  # as far apart as Friday and Monday, with days of work between
    kept = read_week(week_document(week))  # whoever has the document alone allows no less
    (follow,) = (one for one in kept.follows if (one.first, one.then) == (JOB, then))
    assert (follow.min_days, follow.max_days) == (1, 3)
    assert notes_from_data(as_data(week, None)).put(kept).follows == week.follows


def test_the_page_says_so_and_calls_monday_after_friday_in_order(app: FastAPI) -> None:
    then = second(app)
    promise(app, JOB, FRIDAY)
    promise(app, then, MONDAY)
    office: TestClient = signed_in(app, Role.office)
    office.headers.update(PAGE)
    page = text_of(office.get(f"/jobs/{JOB}").text)
    assert f"{then} repair, the next working day, the same crew" in page
    assert "▲ not in this order" not in page
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.Booking).where(tables.Booking.visit_id == then)).one()
        row.day = MONDAY + datetime.timedelta(days=1)
        session.add(row)
        note(session, MORNING, "test", "promised", "visit", then, {})
    assert "▲ not in this order" in text_of(office.get(f"/jobs/{JOB}").text)


def _planned(week: Week, then: str, first_day: int, day: int) -> bool:
    """Say whether the planner and the auditor let the second day lie on `day`, with the first on `first_day`."""
    for crew in ("north-1", "north-2"):
        begun = by_hand(week, planned(week, ()), Put(JOB, crew, first_day))
        if not begun.allowed:
            continue
        tried = by_hand(week, begun.plan, Put(then, crew, day))
        if tried.allowed:
            assert audit(week, tried.plan).broken_rules == ()
            return True
    return False
