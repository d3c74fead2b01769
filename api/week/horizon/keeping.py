"""Plans of the horizon as they are kept: the newest counts, each is made of the one before it, none ever changes."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlalchemy import desc
from sqlmodel import Session, col, select

from api import tables
from api.languages import to_say
from api.ledger.history import note
from api.ledger.kept import kept
from api.ledger.plans.documents import because_from_data, beside
from api.week.build import with_because
from api.week.second import second_plan
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Plan, Plan2, read_plan
from scheduler.week import Week2, read_week, week_document

KEPT = 20  # plans: some nights and what was sold in between
NIGHTLY = to_say("every night")  # who made what the service makes by itself at night
IN_TURN = to_say("the night's turns")  # who changed the pairs, or took that back, for a plan of the night


@dataclass(frozen=True)
class KeptHorizon:
    """A plan of the horizon with its document; `because` as in its row."""

    id: int
    start_date: datetime.date
    weeks: int
    week: Week2
    plan: Plan2
    because: dict[str, Any]
    how: str
    made_at: datetime.datetime
    made_by: str

    def date(self, day: int) -> datetime.date:
        """Return the date of a day of the plan."""
        return self.start_date + datetime.timedelta(days=day)


def newest_id(session: Session) -> int | None:
    """Return the number of the plan of the horizon that counts, None where none has been made."""
    row = tables.HorizonPlan
    return session.exec(select(row.id).order_by(desc(col(row.id))).limit(1)).first()


def newest(session: Session) -> KeptHorizon | None:
    """Return the plan of the horizon that counts with its document, None where none has been made."""
    number = newest_id(session)
    return None if number is None else horizon_plan(session, number)


def horizon_plan(session: Session, number: int) -> KeptHorizon:
    """Return a plan of the horizon that is kept under a number."""

    def read() -> KeptHorizon:
        row = session.get_one(tables.HorizonPlan, number)
        week = msgspec.json.decode(row.week, type=Week2)  # checked before it was kept
        plan = msgspec.json.decode(row.plan, type=Plan2)
        return KeptHorizon(
            number, row.start_date, row.weeks, week, plan, row.because, row.how, row.made_at, row.made_by
        )  # fmt: skip

    return kept(session, ("horizon", number), read)


def store(
    session: Session, week: Week2, plan: Plan, *, weeks: int, because: dict[str, Any], how: str,
    made_from: int | None, now: datetime.datetime, by: str,
) -> tables.HorizonPlan:  # fmt: skip
    """Keep a plan of the horizon as the newest; `made_from` is the one that was the newest before it.

    It is audited first: one that breaks a rule is a defect of whoever made it, `RuntimeError`. The database refuses a
    second plan made of the same one (`IntegrityError`).
    """
    made = with_because(second_plan(plan), because_from_data(because))
    if breaches := audit(week, made).broken_rules:
        raise RuntimeError(f"the plan of the horizon breaks {len(breaches)} rules, the first: {breaches[0].sentence}")
    row = tables.HorizonPlan(
        start_date=week.start_date, weeks=weeks, how=how, made_from=made_from, made_at=now, made_by=by,
        cost_cents=made.cost.total, bound_cents=made.bound, seconds=made.seconds, because=because,
        week=week_document(week).decode(), plan=encode(made).decode(),
    )  # fmt: skip
    session.add(row)
    session.flush()
    _let_go(session)
    return row


def _let_go(session: Session) -> None:
    """Delete all but the newest `KEPT` plans: nothing reads the others, and each holds the documents of many weeks.

    The oldest that stays is then made of none, and runs no longer name what is gone.
    """
    plan, run = tables.HorizonPlan, tables.PlanRun
    oldest = session.exec(select(plan.id).order_by(desc(col(plan.id))).offset(KEPT - 1).limit(1)).first()
    if oldest is None:
        return
    session.execute(sa.update(plan).where(col(plan.id) == oldest).values(made_from=None))
    session.execute(sa.update(run).where(col(run.from_horizon) < oldest).values(from_horizon=None))
    session.execute(sa.update(run).where(col(run.horizon_id) < oldest).values(horizon_id=None))
    session.execute(sa.delete(plan).where(col(plan.id) < oldest))


def keep_run(session: Session, row: tables.PlanRun, document: str, now: datetime.datetime) -> int | None:
    """Keep the plan `document` of a run over the horizon; None where there is none, or a promise came in between.

    What was sold while the run searched stands in the newest plan and not in this one, which is dropped then: nothing
    that was sold may be lost.
    """
    if not document or newest_id(session) != row.from_horizon:
        return None
    week, plan = beside(row).put(read_week(row.week)), read_plan(document)
    assert isinstance(week, Week2)
    made = store(
        session, week, plan, weeks=row.weeks, because=row.because, how="planned", made_from=row.from_horizon, now=now,
        by=row.asked_by,
    )  # fmt: skip
    detail = {"plan": made.id, "cost_cents": made.cost_cents, "run": row.id, "weeks": row.weeks}
    note(session, now, row.asked_by, "planned", "horizon", str(made.start_date), detail)
    return made.id


def turned(session: Session) -> tables.RosterChange | None:
    """Return the last change of the roster if it is a turn of the night that stands and put others together."""
    row = tables.RosterChange
    last = session.exec(select(row).order_by(desc(col(row.id))).limit(1)).first()
    if last is None or last.made_by != IN_TURN or last.undone:
        return None
    others = any(_rides(last.before[name]) != _rides(after) for name, after in last.after.items())
    return last if others else None  # where only the reasons are others, pairs are as they were


def _rides(day: dict[str, Any] | None) -> Any:
    return None if day is None else day["rides"]
