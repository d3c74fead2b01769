"""Stored plans by their week: the newest, and where it has put a job."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from sqlalchemy import desc
from sqlmodel import Session, col, select

from api import tables
from api.ledger.plans.documents import reasoned
from scheduler.plan import Because, Route, Stop, read_plan


def newest_plan(session: Session, start_date: datetime.date) -> tables.StoredPlan | None:
    """Return the plan made last for the week that begins on `start_date`."""
    found = select(tables.StoredPlan).where(tables.StoredPlan.start_date == start_date)
    return session.exec(found.order_by(desc(col(tables.StoredPlan.id)))).first()


def planned_weeks(session: Session) -> list[datetime.date]:
    """Return the Mondays for which there is a plan, the newest plan's first."""
    rows = session.exec(select(col(tables.StoredPlan.start_date)).order_by(desc(col(tables.StoredPlan.id)))).all()
    return list(dict.fromkeys(rows))


@dataclass(frozen=True)
class PlannedStop:
    """Where the newest plan that knows a job has put it: on a route, or waiting because of something."""

    start_date: datetime.date
    route: Route | None
    stop: Stop | None
    because: tuple[Because, ...]

    @property
    def date(self) -> datetime.date | None:
        return None if self.route is None else self.start_date + datetime.timedelta(days=self.route.day)


def planned_stop(session: Session, visit_id: str) -> PlannedStop | None:
    """Return where the newest plan has put a job, None where no plan knows it."""
    newest = session.exec(select(tables.StoredPlan).order_by(desc(col(tables.StoredPlan.id)))).first()
    if newest is None:
        return None
    plan = reasoned(read_plan(newest.plan), newest.reasons)
    for route in plan.routes:
        for stop in route.jobs:
            if stop.job == visit_id:
                return PlannedStop(newest.start_date, route, stop, ())
    for skipped in plan.skipped:
        if skipped.job == visit_id:
            return PlannedStop(newest.start_date, None, None, skipped.because)
    return None
