"""/rebooking: times in the week after the posted one, while nothing is posted there."""

from __future__ import annotations

import datetime

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.fields import shown
from api.ledger.told import told_now
from api.messages import telling
from api.week.run.planning import prepare_week
from scheduler.plan import read_plan
from tests.service.rebooking.cast import (
    MONDAY,
    THURSDAY,
    a_visit,
    holds_together,
    of_kind,
    opened,
    posted,
    searched,
    spots,
    take,
)


def test_a_time_in_the_next_week_is_promised_and_planned_there(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    row = searched(app, office, case["id"], visit)
    later = of_kind(row, "later")
    assert later
    assert [o["extra_cents"] for o in later] == sorted(o["extra_cents"] for o in later)
    assert len({(o["date"], o["start"] >= 720) for o in later}) == len(later)
    offer = later[0]
    date = datetime.date.fromisoformat(offer["date"])
    assert MONDAY + datetime.timedelta(days=7) <= date < MONDAY + datetime.timedelta(days=14)
    assert take(office, case["id"], row, offer, hold="day").status_code == 200
    holds_together(app, offer["cost_cents"])
    with transaction(app.state.database) as session:
        told = told_now(session, visit)
        assert told is not None
        assert (told.crew_id, told.day, told.start, told.hold) == (offer["crew"], date, offer["start"], "day")
        draft = session.exec(
            select(tables.Message).where(tables.Message.visit_id == visit).order_by(col(tables.Message.id))
        ).all()[-1]
        assert telling.still_so(session, draft)
        assert shown.long_date(date) in draft.body
    with transaction(app.state.database) as session:
        posted = session.exec(select(tables.PostedWeek).order_by(col(tables.PostedWeek.id))).all()[-1]
        plan = read_plan(session.get_one(tables.StoredPlan, posted.plan_id).plan)
    (left,) = [skipped for skipped in plan.skipped if skipped.job == visit]
    assert f"It is promised for {date:%a %b} {date.day} now." in left.because[0].detail
    next_week = prepare_week(app.state.database, MONDAY + datetime.timedelta(days=7), THURSDAY).built.week
    booked = next(job for job in next_week.jobs if job.id == visit).booked
    assert booked is not None
    assert (booked.crew, booked.day, booked.start, booked.hold) == (
        offer["crew"], (date - MONDAY).days - 7, offer["start"], "day"
    )  # fmt: skip
    assert visit not in {job.id for job in prepare_week(app.state.database, MONDAY, THURSDAY).built.week.jobs}


def test_what_goes_after_a_visit_still_to_be_done_is_offered_no_later_week(app: FastAPI, office: TestClient) -> None:
    visit, at = a_visit(app), spots(posted(app))
    first = min(at.keys() - {visit})
    with transaction(app.state.database) as session:
        session.add(tables.VisitFollows(first_id=first, then_id=visit, min_days=1))
        before = session.get_one(tables.Visit, first)
        before.state = "open"
    case = opened(office, cause="customer", visit=visit)
    assert of_kind(searched(app, office, case["id"], visit), "later") == []
    with transaction(app.state.database) as session:
        session.get_one(tables.Visit, first).state = "done"
        session.add(tables.History(at=THURSDAY, by="test", did="changed", noun="visit", noun_id=first))
    assert of_kind(searched(app, office, case["id"], visit), "later")


def test_a_next_week_that_is_posted_takes_no_visit_by_the_way(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    with transaction(app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan)).first()
        assert stored is not None
        values = {**stored.model_dump(exclude={"id"}), "start_date": MONDAY + datetime.timedelta(days=7),
                  "fingerprint": "of another week"}  # fmt: skip
        other = tables.StoredPlan(**values)
        session.add(other)
        session.flush()
        posting = {"start_date": other.start_date, "plan_id": other.id, "posted_at": THURSDAY, "posted_by": "maud"}
        session.add(tables.PostedWeek(**posting))
    case = opened(office, cause="customer", visit=visit)
    assert of_kind(searched(app, office, case["id"], visit), "later") == []


def test_one_that_has_to_wait_comes_into_the_next_week_by_itself(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    next_monday = MONDAY + datetime.timedelta(days=7)
    before = {job.id for job in prepare_week(app.state.database, next_monday, THURSDAY).built.week.jobs}
    assert visit not in before  # it is posted for this one
    case = opened(office, cause="customer", visit=visit)
    row = searched(app, office, case["id"], visit)
    assert take(office, case["id"], row, of_kind(row, "wait")[0]).status_code == 200
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Visit, visit).state == "open"
        assert told_now(session, visit) is None
    built = prepare_week(app.state.database, next_monday, THURSDAY).built
    job = next(job for job in built.week.jobs if job.id == visit)
    assert job.windows  # it can go there
    assert job.booked is None
    with transaction(app.state.database) as session:
        still = {v.id for v in session.exec(select(tables.Visit).where(tables.Visit.state == "open"))}
        rows = session.exec(select(tables.Message).where(tables.Message.state == "draft"))
        off = {message.visit_id for message in rows if message.spot is None}
        promised = {b.visit_id for b in session.exec(select(tables.Booking)) if b.withdrawn_at is None}
    waiting = {skipped.job for skipped in read_plan(posted(app).plan).skipped}
    assert visit in waiting
    coming = {job.id for job in built.week.jobs}
    # So does every other one that waits; of those that are promised, those whose customer hears that they are off.
    assert (waiting & still) - promised | (waiting & off) <= coming
