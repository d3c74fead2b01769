"""A run as its watchers see it, also one that another worker is at: then as it last wrote it down."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.tables import PlanRun
from api.week.run.ending import GOING


@dataclass(frozen=True)
class Shown:
    """A run as its watchers see it; `version` grows with each change. `plan_id` may be of a plan of the horizon."""

    state: str
    seconds: float = 0.0
    cost_cents: int | None = None
    bound_cents: int | None = None
    phase: str = ""
    plan_id: int | None = None
    fault: str = ""
    version: int = 0

    @property
    def gap_percent(self) -> float | None:
        return gap_percent(self.cost_cents, self.bound_cents)


def gap_percent(cost_cents: int | None, bound_cents: int | None) -> float | None:
    """Return how much dearer than a best plan this one may be at most, None where it is not known."""
    if cost_cents is None or bound_cents is None:
        return None
    return round(100 * (cost_cents - bound_cents) / cost_cents, 2) if cost_cents > 0 else 0.0


def shown_in(session: Session, run_id: int) -> Shown | None:
    """Return a run as it stands in the database, None where there is none of that number."""
    columns = (PlanRun.state, PlanRun.progress, PlanRun.phase, PlanRun.plan_id, PlanRun.horizon_id, PlanRun.fault)
    row = session.execute(sa.select(*map(col, columns)).where(col(PlanRun.id) == run_id)).first()
    if row is None:
        return None
    seconds, cost, bound = row.progress[-1] if row.progress else (0.0, None, None)
    return Shown(row.state, seconds, cost, bound, row.phase, row.plan_id or row.horizon_id, row.fault)


def ask_to_stop(session: Session, run_id: int) -> bool:
    """Have the worker that is at a run end it; say whether it is still going."""
    wanted = sa.update(PlanRun).where(col(PlanRun.id) == run_id, col(PlanRun.state).in_(GOING)).values(to_stop=True)
    return int(session.execute(wanted.execution_options(synchronize_session=False)).rowcount) == 1  # type: ignore[attr-defined]


def to_stop(session: Session, run_ids: set[int]) -> list[int]:
    """Return which of these runs somebody wants to end."""
    wanted = select(PlanRun.id).where(col(PlanRun.id).in_(run_ids), col(PlanRun.to_stop))
    return [one for one in session.exec(wanted) if one is not None]


def take_over(session: Session, worker: int, gone: set[int]) -> list[PlanRun]:
    """Have `worker` see through the runs among `gone` that wait for a turn of a worker who is no more."""
    row = PlanRun
    waiting = select(row).where(col(row.id).in_(gone), row.state == "waiting", row.worker != 0)
    found = session.exec(waiting.order_by(col(row.id)).with_for_update(skip_locked=True)).all()
    for one in found:
        one.worker = worker
        session.add(one)
    return list(found)
