"""Asking for a run of the planner: the week is built of today's rows, the run's row is written, the planner told."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from api.database import transaction
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.documents import as_data as beside_as_data
from api.ledger.plans.documents import because_as_data
from api.ledger.spread import spread_weighed
from api.tables import PlanRun
from api.week import locks, plans
from api.week.run.ending import GOING
from api.week.run.planning import prepare_week
from api.week.run.runs import Runs
from api.workers.turns import Turn, turn
from scheduler import fixed_as_data as as_data
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.week import week_document

# The documents of a run are large, and whoever shows a run does not read them.
LIGHT = [defer(col(column)) for column in (PlanRun.week, PlanRun.because, PlanRun.best, PlanRun.start)]  # type: ignore[arg-type]


def start_run(
    database: sa.Engine, runs: Runs, start_date: datetime.date, *, seconds: float, from_plan: int | None,
    now: datetime.datetime, by: str,
) -> PlanRun:  # fmt: skip
    """Have the week that begins on `start_date` planned for `seconds` at most, and return the run's row.

    Locked visits stay where they are. from_plan: the number of a plan of the same week to search from, None: from
    nothing. The row is written in a transaction of its own, which the planner's thread finds. Of two who ask for the
    same week at once one gets a run; the other, as everybody while a run is under way, `Problem` 409 with its number
    (`run-under-way`, `run_id`). Raises `BadInput` for a date that is no Monday or a plan of another week.
    """
    if start_date.weekday() != 0:
        raise BadInput("start_date", f"must be a Monday, {start_date} is a {start_date:%A}")
    with transaction(database) as session:
        _refuse_second(session, start_date)
        start = "" if from_plan is None else _from(session, from_plan, start_date)
    built = prepare_week(database, start_date, now).built
    with turn(database, Turn.BEGIN_RUN), transaction(database) as session:
        _refuse_second(session, start_date)
        spread = spread_weighed(session, built.week)
        held = locks.locks_of(session, start_date, built.week.days)
        row = PlanRun(
            start_date=start_date, seconds=seconds, asked_at=now, asked_by=by, week=week_document(built.week).decode(),
            because=because_as_data(built.because), fixed=as_data(locks.fixed_of(session, built.week, held, now)),
            from_plan=from_plan, beside=beside_as_data(built.week, built.timed, spread), worker=runs.worker,
            start=start,
        )  # fmt: skip
        session.add(row)
        session.flush()
        note(session, now, by, "began", "plan run", str(row.id), {"week": str(start_date), "seconds": seconds})
    runs.begin(row, start)
    return row


def _refuse_second(session: Session, start_date: datetime.date) -> None:
    going = select(PlanRun).where(PlanRun.start_date == start_date, PlanRun.weeks == 1, col(PlanRun.state).in_(GOING))
    other = session.exec(going.options(*LIGHT).order_by(col(PlanRun.id))).first()
    if other is not None:
        detail = f"Run {other.id} of this week is {other.state}: wait for its end, or stop it."
        raise Problem(409, detail, kind="run-under-way", run_id=other.id)


def _from(session: Session, plan_id: int, start_date: datetime.date) -> str:
    docs = plans.documents(session, plan_id)
    if docs.week.start_date != start_date:
        raise BadInput("from_plan", f"is a plan of the week of {docs.week.start_date}")
    return encode(docs.plan).decode()
