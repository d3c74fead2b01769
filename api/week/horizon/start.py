"""Asking for a plan of the horizon: built of today's rows, made in a run like any other."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from msgspec.structs import replace
from sqlmodel import Session, col, select

from api.database import transaction
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.documents import as_data, because_as_data
from api.tables import PlanRun
from api.week.horizon.document import Horizon, horizon_of
from api.week.horizon.keeping import KeptHorizon, newest, newest_id
from api.week.run.ending import GOING
from api.week.run.runs import Runs
from api.workers.turns import Turn, turn
from scheduler.documents import encode
from scheduler.week import week_document


def start_horizon(database: sa.Engine, runs: Runs, *, seconds: float, now: datetime.datetime, by: str) -> PlanRun:
    """Have the weeks ahead planned for `seconds` at most, from the plan that counts on, and return the run's row.

    While a run of the horizon is under way: `Problem` 409 with its number (`run-under-way`, `run_id`).
    """
    with transaction(database) as session:
        _refuse_second(session)
    with transaction(database) as session:
        before = newest(session)
        horizon = horizon_of(session, now)
    start = "" if before is None else _moved(before, horizon)
    with turn(database, Turn.BEGIN_RUN), transaction(database) as session:
        _refuse_second(session)
        row = PlanRun(
            start_date=horizon.start_date, weeks=horizon.weeks, seconds=seconds, asked_at=now, asked_by=by,
            week=week_document(horizon.document).decode(), because=because_as_data(horizon.because),
            from_horizon=newest_id(session), beside=as_data(horizon.document, None), worker=runs.worker, start=start,
        )  # fmt: skip
        session.add(row)
        session.flush()
        detail = {"weeks": horizon.weeks, "seconds": seconds}
        note(session, now, by, "began", "plan run", str(row.id), detail)
    runs.begin(row, start)
    return row


def going(session: Session) -> PlanRun | None:
    """Return the run of the horizon that is under way, None where none is."""
    row = PlanRun
    return session.exec(select(row).where(row.weeks > 1, col(row.state).in_(GOING)).order_by(col(row.id))).first()


def _refuse_second(session: Session) -> None:
    other = going(session)
    if other is not None:
        detail = f"Run {other.id} over the weeks ahead is {other.state}: wait for its end, or stop it."
        raise Problem(409, detail, kind="run-under-way", run_id=other.id)


def _moved(before: KeptHorizon, horizon: Horizon) -> str:
    """Return the plan that counts as the document of `horizon` may begin from: its days count from another Monday."""
    later = (horizon.start_date - before.start_date).days
    routes = tuple(replace(route, day=route.day - later) for route in before.plan.routes if route.day >= later)
    return encode(replace(before.plan, routes=routes)).decode()
