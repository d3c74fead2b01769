"""/learning: what visits that the weather took have cost, and counting with it from the next plan on."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.week.run.planning import prepare_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in

NOW = datetime.datetime(2027, 4, 19, 14, tzinfo=datetime.UTC)
MONDAY, NEXT = datetime.date(2027, 4, 12), datetime.date(2027, 4, 19)


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    with running(settings_for(shutil.copytree(built.out, tmp_path / "out"))) as app:
        app.state.clock = lambda: NOW
        yield app


def lose(app: FastAPI, kind: str, costs: list[int], *, cause: str = "weather", sent_home: int = 0) -> None:
    """Store visits that were taken and have another time at these costs; the first were sent home after 40 minutes."""
    with transaction(app.state.database) as session:
        plan = session.exec(select(tables.StoredPlan.id)).first()
        crew = session.exec(select(tables.Crew).order_by(col(tables.Crew.id))).first()
        assert plan is not None
        assert crew is not None
        crew.minute_cents = 120
        visits = session.exec(
            select(tables.Visit).where(tables.Visit.kind == kind).order_by(col(tables.Visit.id))
        ).all()
        for n, (visit, cents) in enumerate(zip(visits, costs, strict=False)):
            case = tables.RebookingCase(cause=cause, detail="", start_date=MONDAY, plan_id=plan, state="closed",
                                        opened_at=NOW, opened_by="office")  # fmt: skip
            session.add(case)
            session.flush()
            assert case.id is not None
            session.add(tables.CaseVisit(case_id=case.id, visit_id=visit.id, was={"date": "2027-04-13"},
                                         state="rebooked", taken={"extra_cents": cents}))  # fmt: skip
            if n < sent_home:
                home = {"start": 540, "end": 580, "outcome": "not_done", "noted_at": NOW, "noted_by": "crew"}
                session.add(
                    tables.DayResult(visit_id=visit.id, crew_id=crew.id, day=datetime.date(2027, 4, 13), **home)
                )


def test_a_lost_visit_is_counted_with_what_such_visits_have_cost_once_the_manager_says_so(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    assert manager.get("/learning", headers=JSON).json()["lost_visits"] == []
    lose(app, "install", [10_000, 20_000, 30_000, 90_000, -5_000], sent_home=1)
    (one,) = manager.get("/learning", headers=JSON).json()["lost_visits"]
    assert (one["kind"], one["visits"], one["sent_home"]) == ("install", 5, 1)
    assert (one["half_cents"], one["price_cents"], one["new_cents"]) == (20_000, 45_000, 20_000)
    page = manager.get("/learning", headers=PAGE).text
    assert "Count with $200" in page
    before = prepare_week(app.state.database, NEXT, NOW).built.week
    assert manager.post("/learning/lost/install/take", headers=PAGE, follow_redirects=False).status_code == 303
    (one,) = manager.get("/learning", headers=JSON).json()["lost_visits"]
    assert (one["price_cents"], one["new_cents"]) == (20_000, None)
    after = prepare_week(app.state.database, NEXT, NOW).built.week
    risks = [sum(w.risk_cents for job in week.jobs for w in job.windows) for week in (before, after)]
    assert 0 < risks[1] < risks[0]  # the next plan weighs bad hours by it
    assert "lost_cents.install" in str(manager.get("/history", headers=JSON).json())
    assert manager.post("/learning/lost/install/take", headers=JSON).status_code == 409


def test_the_pay_of_a_crew_sent_home_counts_and_what_was_no_weather_does_not(app: FastAPI) -> None:
    lose(app, "install", [10_000, 10_000], sent_home=2)
    lose(app, "repair", [7_000], cause="short")
    manager = signed_in(app, Role.manager)
    (one,) = manager.get("/learning", headers=JSON).json()["lost_visits"]
    assert (one["kind"], one["half_cents"], one["new_cents"]) == ("install", 10_000 + 40 * 120, None)  # two are too few
    assert "proposed from 5 on" in manager.get("/learning", headers=PAGE).text
    assert manager.post("/learning/lost/install/take", headers=JSON).status_code == 409
    assert manager.post("/learning/lost/anything/take", headers=JSON).status_code == 422
