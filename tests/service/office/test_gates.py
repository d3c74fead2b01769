"""Gates: what must be true before a visit holds it back in words, and frees it when it is closed."""

from __future__ import annotations

import datetime
import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.falls.falls import findings
from api.falls.today import today_in
from api.ledger.facts.gates import due_day, holding
from api.week.run.planning import prepare_week
from tests.service.cast import for_pages
from tests.service.office.test_entry import NEW, form_of
from tests.service.office.test_set_up import NOW, make, text_of

MONDAY = datetime.date(2027, 4, 12)


@pytest.fixture
def office(posted: FastAPI) -> TestClient:
    return for_pages(posted, Role.office)


def planned_because(app: FastAPI, job: str) -> list[str]:
    """Return why a job cannot be planned in the week, empty where it can."""
    built = prepare_week(app.state.database, MONDAY, NOW).built
    return [why.detail for why in built.because.get(job, ()) if why.code == "gate"]


def free_job(app: FastAPI) -> str:
    """Return an open visit that the week could take and nobody was promised."""
    with transaction(app.state.database) as session:
        told = set(session.exec(select(tables.Booking.visit_id)))
    jobs = prepare_week(app.state.database, MONDAY, NOW).built.week.jobs
    return next(job.id for job in jobs if job.ready_day is not None and job.windows and job.id not in told)


def test_an_open_gate_holds_a_visit_back_in_words_and_frees_it_when_it_is_closed(
    posted: FastAPI, office: TestClient
) -> None:
    job = free_job(posted)
    assert planned_because(posted, job) == []
    make(office, "gates", visit_id=job, what="building permit", owner="Olive", due_on="2027-04-13")
    assert planned_because(posted, job) == ["Still open: building permit, due Tue Apr 13, Olive sees to it."]
    page = text_of(office.get("/gates").text)
    assert "1 gate is open" in page
    assert job in page
    action = re.search(r'action="(/gates/[0-9]+/closed)"', office.get("/gates").text)
    assert action
    assert office.post(action[1], data={"paper": "BP-77"}, follow_redirects=False).status_code == 303
    assert planned_because(posted, job) == []
    assert "BP-77" in text_of(office.get("/set-up/gates").text)
    assert "✓ Nothing is open." in text_of(office.get("/gates").text)


def test_a_gate_that_comes_too_late_for_a_posted_visit_is_named_before_it_is_kept_and_is_a_finding(
    posted: FastAPI, office: TestClient
) -> None:
    with transaction(posted.state.database) as session:
        today = today_in(session, MONDAY, NOW)
        assert today is not None
        fallen = {one.visit_id for one in findings(today)}
        job, spot = next((name, spot) for name, spot in today.posted.spots.items() if name not in fallen)
    day = MONDAY + datetime.timedelta(days=spot.day)
    cells = {"visit_id": job, "what": "outlet", "owner": "", "state": "open", "paper": ""}
    late = cells | {"due_on": (day + datetime.timedelta(days=1)).isoformat()}
    shown = office.post("/set-up/gates/new", data=late)
    assert shown.status_code == 409
    assert "Still open: outlet" in text_of(shown.text)
    office.post("/set-up/gates/new", data=late | {"anyway": "yes"})
    with transaction(posted.state.database) as session:
        today = today_in(session, MONDAY, NOW)
        assert today is not None
        assert job in {one.visit_id for one in findings(today)}
    in_time = {**cells, "what": "deposit", "due_on": day.isoformat()}
    assert office.post("/set-up/gates/new", data=in_time, follow_redirects=False).status_code == 303


def test_a_new_job_begins_with_the_gates_of_its_kind_and_town(posted: FastAPI, office: TestClient) -> None:
    make(office, "usual-gates", kind="install", what="deposit paid", owner="Olive", days_before="10")
    make(office, "usual-gates", kind="install", town="Tallow Bend", what="building permit")
    make(office, "usual-gates", kind="install", town="Elsewhere", what="utility locate")
    make(office, "usual-gates", kind="repair", what="part came")
    form = form_of(office.get("/jobs/new").text) | NEW | {"visits.due_on": "2027-05-20"}
    where = office.post("/jobs/new", data=form, follow_redirects=False).headers["location"]
    told = text_of(office.get(where).text)  # before any plan has looked at the job
    assert "Still open: deposit paid, due Mon May 10, Olive sees to it." in told
    assert "Still open: building permit, due Thu May 13." in told
    assert "utility locate" not in told
    with transaction(posted.state.database) as session:
        gates = session.exec(select(tables.Gate).where(tables.Gate.visit_id == where.rsplit("/", 1)[1])).all()
        assert {(gate.what, gate.due_on) for gate in gates} == {
            ("deposit paid", datetime.date(2027, 5, 10)), ("building permit", datetime.date(2027, 5, 13))
        }  # fmt: skip


def test_promised_visits_come_first_by_their_day(posted: FastAPI, office: TestClient) -> None:
    with transaction(posted.state.database) as session:
        told = session.exec(
            select(tables.Booking, tables.Visit)
            .where(tables.Booking.visit_id == tables.Visit.id, tables.Visit.state == "open")
            .order_by(tables.Booking.day.desc(), tables.Booking.visit_id)  # type: ignore[attr-defined]
        ).all()
        days = {booking.visit_id: booking.day for booking, _ in told if booking.withdrawn_at is None}
        free = next(name for name in session.exec(select(tables.Visit.id)) if name not in days)
        for name in [free, *days]:
            session.add(tables.Gate(visit_id=name, what="locate"))
    found = re.findall(r'Holds up"><a href="/jobs/([^"]*)"', office.get("/gates").text)
    assert [days[name] for name in found[:-1]] == sorted(days.values())
    assert found[-1] == free


@pytest.mark.parametrize(
    ("due", "day", "held"),
    [
        (None, None, True), ("2027-04-13", None, True), (None, "2027-04-13", True), ("2027-04-14", "2027-04-13", True),
        ("2027-04-13", "2027-04-13", False), ("2027-04-12", "2027-04-13", False),
    ],
)  # fmt: skip
def test_which_open_gates_hold(due: str | None, day: str | None, held: bool) -> None:
    dates = [datetime.date.fromisoformat(text) if text else None for text in (due, day)]
    gate = tables.Gate(visit_id="J-1", what="permit", due_on=dates[0])
    assert bool(holding([gate], dates[1])) == held
    assert holding([tables.Gate(visit_id="J-1", what="permit", due_on=dates[0], state="closed")], dates[1]) == []


def test_a_usual_gate_of_a_job_without_a_due_day_is_due_by_the_day_that_the_job_gets(
    posted: FastAPI, office: TestClient
) -> None:
    make(office, "usual-gates", kind="install", what="deposit paid", owner="Olive", days_before="10")
    form = form_of(office.get("/jobs/new").text) | NEW | {"visits.due_on": ""}
    where = office.post("/jobs/new", data=form, follow_redirects=False).headers["location"]
    job = where.rsplit("/", 1)[1]
    waits = "Still open: deposit paid, due 10 days before the visit, which has no day yet, Olive sees to it."
    assert waits in text_of(office.get(where).text)
    assert planned_because(posted, job) == [waits]
    assert "10 days before its visit" in text_of(office.get("/gates").text)
    with transaction(posted.state.database) as session:
        (gate,) = session.exec(select(tables.Gate).where(tables.Gate.visit_id == job)).all()
        assert (gate.due_on, gate.days_before) == (None, 10)
        day = datetime.date(2027, 4, 29)
        session.add(tables.Booking(visit_id=job, crew_id="north-1", day=day, start=540, hold="day", told_at=NOW))
    page = text_of(office.get("/gates").text)
    assert "Mon Apr 19" in page
    assert "too late for it" not in page
    assert "due Mon Apr 19, Olive sees to it." in text_of(office.get(where).text)
    assert planned_because(posted, job) == []  # what is promised goes: it is due before


@pytest.mark.parametrize(
    ("day", "due", "held"),
    [(None, None, True), ("2027-04-13", "2027-04-06", False)],
)
def test_days_before_count_from_the_day_of_the_visit(day: str | None, due: str | None, held: bool) -> None:
    on, expected = (datetime.date.fromisoformat(text) if text else None for text in (day, due))
    gate = tables.Gate(visit_id="J-1", what="permit", days_before=7)
    assert due_day(gate, on) == expected
    assert bool(holding([gate], on)) == held
    own = tables.Gate(visit_id="J-1", what="permit", days_before=7, due_on=datetime.date(2027, 4, 14))
    assert due_day(own, on) == datetime.date(2027, 4, 14)
