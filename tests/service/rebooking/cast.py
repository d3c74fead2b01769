"""What the tests of rebooking do over and over: open a case, search, take, and look at the posted week."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.ledger.history import note
from api.ledger.plans.posted import posted_week
from scheduler.audit import audit
from scheduler.plan import read_plan
from scheduler.price import outings, visits
from scheduler.week import read_week

MONDAY = datetime.date(2027, 4, 12)
THURSDAY = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


def posted(app: FastAPI) -> tables.StoredPlan:
    with transaction(app.state.database) as session:
        row = posted_week(session, MONDAY)
        assert row is not None
        return session.get_one(tables.StoredPlan, row.plan_id)


def spots(stored: tables.StoredPlan) -> dict[str, Any]:
    return visits(outings(read_week(stored.week), read_plan(stored.plan).routes))


def a_visit(app: FastAPI, kind: str = "install", *, booked: bool | None = None) -> str:
    """Return a posted visit of a kind in the middle of the week, which the customer was told of or not."""
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        told = {b.visit_id for b in session.exec(select(tables.Booking)).all()}
        first = {f.first_id for f in session.exec(select(tables.VisitFollows)).all()}
        found = [
            v for v in sorted(at) if session.get_one(tables.Visit, v).kind == kind and v not in first
            and booked in (None, v in told)
        ]  # fmt: skip
    return min(found, key=lambda v: (abs(at[v].day - 3), v))


def searched(app: FastAPI, office: TestClient, case: int, visit: str) -> dict[str, Any]:
    """Search now, and return the visit as the case then shows it, its version and offers with it."""
    app.state.searches._run(case, visit, False)
    answer = office.get(f"/rebooking/{case}", params={"visit": visit})
    assert answer.status_code == 200, answer.text
    row: dict[str, Any] = next(v for v in answer.json()["visits"] if v["visit"] == visit)
    assert app.state.searches.progress(case, visit).fault == ""
    return row


def opened(office: TestClient, **form: Any) -> dict[str, Any]:
    answer = office.post("/rebooking", data=form)
    assert answer.status_code == 201, answer.text
    case: dict[str, Any] = answer.json()
    return case


def of_kind(row: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [offer for offer in row["offers"] if offer["kind"] == kind]


def take(office: TestClient, case: int, row: dict[str, Any], offer: dict[str, Any], **more: Any) -> Any:
    form = {"choice": offer["key"], "version": row["version"], **more}
    return office.post(f"/rebooking/{case}/visits/{row['visit']}/take", data=form)


def count_short(app: FastAPI, visit: str) -> None:
    """Have a piece of the crate counted short, its order expected on Saturday."""
    with transaction(app.state.database) as session:
        row = session.get_one(tables.Visit, visit)
        part = session.exec(
            select(tables.MakerPart).where(tables.MakerPart.awning_id == row.awning_id).order_by(tables.MakerPart.item)
        ).first()
        assert part is not None
        session.add(
            tables.BenchCount(visit_id=visit, item=part.item, counted=part.quantity - 1, counted_on=THURSDAY.date(),
                              counted_by="olive")
        )  # fmt: skip
        saturday = MONDAY + datetime.timedelta(days=5)
        session.add(tables.Short(visit_id=visit, item=part.item, missing=1, supplier="Maker", order_ref="1",
                                 ordered_on=THURSDAY.date(), expected_on=saturday))  # fmt: skip
        session.add(tables.History(at=THURSDAY, by="olive", did="counted", noun="visit", noun_id=visit))


def holds_together(app: FastAPI, cost_cents: int) -> None:
    """The posted plan keeps every rule of its week, and costs what was offered."""
    stored = posted(app)
    week, plan = read_week(stored.week), read_plan(stored.plan)
    verdict = audit(week, plan)
    assert verdict.ok, verdict.broken_rules
    assert stored.cost_cents == plan.cost.total == verdict.cost.total == cost_cents


def van_away(app: FastAPI, crew_id: str, day: datetime.date, now: datetime.datetime) -> None:
    """Have the crew's van in the workshop on a day."""
    with transaction(app.state.database) as session:
        van_id = session.get_one(tables.Crew, crew_id).van_id
        session.add(tables.VanOut(van_id=van_id, first=day, last=day, why="clutch"))
        note(session, now, "test", "changed", "van", van_id, {})
