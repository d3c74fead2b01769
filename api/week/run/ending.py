"""What a run leaves when it ends: its plan stored with its reasons, and the ends of runs that nobody saw."""

from __future__ import annotations

import datetime
import logging
from typing import Any

import sqlalchemy as sa
from msgspec.structs import replace as with_values
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.ledger.fingerprint import code_of, fingerprint
from api.ledger.history import note as note_down
from api.ledger.plans.documents import because_from_data, beside
from api.week.build import with_because
from api.week.horizon.keeping import keep_run
from api.week.run.planning import ENGINE, store_plan
from scheduler import with_reasons as asked
from scheduler.errors import BadInput
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week

GOING = ("waiting", "running")

_log = logging.getLogger("eaveboard")


def keep(
    session: Session, row: tables.PlanRun, document: str, now: datetime.datetime, *, asking: bool, note: str = ""
) -> int | None:
    """Store the plan `document` of a run with the reasons that its rows know; None where there is no plan.

    asking: it is a plan that was told while the search went on: its reasons are still to be asked, its bound is the
    last one told. A run over the weeks ahead is kept as a plan of the horizon, whose number is returned.
    note: in sentences, what was not as usual, such as a lost cluster.
    """
    if row.weeks > 1:
        return keep_run(session, row, document, now)
    if not document:
        return None
    known = beside(row)
    week, plan = known.put(read_week(row.week)), read_plan(document)
    if asking:
        plan = _asked(week, plan, row.progress)
    because = because_from_data(row.because)
    inputs = fingerprint(week, row.because, row.seconds, row.fixed, row.from_plan, code_of(*ENGINE))
    stored = store_plan(
        session, week, with_because(plan, because), because=row.because, inputs=inputs, how="planned", now=now,
        by=row.asked_by, made_from=row.from_plan, fixed=row.fixed, timed=known.timed, note=note,
    )  # fmt: skip
    detail = {"plan": stored.id, "cost_cents": plan.cost.total, "run": row.id}
    note_down(session, now, row.asked_by, "planned", "week", week.id, detail)
    return stored.id


def cut_off(database: sa.Engine, now: datetime.datetime, only: set[int] | None = None) -> int:
    """End every run (or `only` these) that was left going, keep its last plan, and say how many there were."""
    with transaction(database) as session:
        going = select(tables.PlanRun).where(col(tables.PlanRun.state).in_(GOING))
        if only is not None:
            going = going.where(col(tables.PlanRun.id).in_(only))
        rows = session.exec(going.with_for_update(skip_locked=True)).all()  # another worker may find the same
        for row in rows:
            kept = None
            try:
                kept = keep(session, row, row.best, now, asking=True)
            except BadInput as fault:  # a plan of another form: the service must start all the same
                _log.error("run %d: its last plan cannot be kept: %s", row.id, fault)
            row.plan_id, row.horizon_id = (kept, None) if row.weeks == 1 else (None, kept)
            row.state, row.ended_at, row.best = "cut off", now, "" if kept is not None else row.best
            row.fault, row.start = "The service ended while it was under way.", ""
            session.add(row)
            detail = {"state": row.state, "plan": kept}
            note_down(session, now, row.asked_by, "ended", "plan run", str(row.id), detail)
        return len(rows)


def _asked(week: Week, plan: Plan, progress: list[Any]) -> Plan:
    bound = progress[-1][2] if progress else None
    seconds = float(progress[-1][0]) if progress else 0.0
    bound = None if bound is None or bound > plan.cost.total else bound
    return asked(week, with_values(plan, bound=bound, seconds=seconds))


def set_values(session: Session, run_id: int, **values: Any) -> bool:
    """Set values of a run that is going, in one statement; False where it has ended, or somebody has ended it."""
    row = tables.PlanRun
    wanted = sa.update(row).where(col(row.id) == run_id, col(row.state).in_(GOING)).values(**values)
    done = session.execute(wanted.execution_options(synchronize_session=False))
    return int(done.rowcount) == 1  # type: ignore[attr-defined]
