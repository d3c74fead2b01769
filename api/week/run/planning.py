"""What can be done with a business: one function for each, which owns its transaction."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.ledger.facts.week import facts
from api.ledger.fingerprint import code_of, fingerprint
from api.ledger.history import note
from api.ledger.plans.documents import DrivesTimed, as_data, because_as_data
from api.papers.preparation import JobPapers, Preparation, Tally
from api.week.build import BuiltWeek, open_visits, week_of, with_because
from api.week.rain_dates import with_rain_dates_to_go_to
from api.week.second import by_the_rules
from scheduler import Progress
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Because, Plan, Route, Skipped
from scheduler.price import outings, visits
from scheduler.reports.promises import stated_plan
from scheduler.week import Week, week_document

# What the same week document gives the same plan by: a change of these, and it is planned anew.
ENGINE = ("scheduler.engine", "scheduler.price", "scheduler.week")


_MADE_BY = "eaveboard 0.1"  # what a plan document calls the engine that was not asked for it


class Planner(Protocol):
    """The engine's one call: the best plan of `week` that it finds in `seconds`."""

    def __call__(self, week: Week, *, seconds: float, report: Callable[[Progress], None] | None = None) -> Plan: ...


@dataclass(frozen=True)
class PreparedWeek:
    """A week document with the papers of its visits, by id, in the order of its jobs."""

    built: BuiltWeek
    papers: dict[str, JobPapers]
    tally: Tally


def prepare_week(database: sa.Engine, start_date: datetime.date, now: datetime.datetime) -> PreparedWeek:
    """Return the week that begins on `start_date` as a document; layouts, kits and durations are made where missing."""
    with transaction(database) as session:
        known = with_rain_dates_to_go_to(session, facts(session, start_date, now=now), start_date)
        preparation = Preparation(session, known, now)
        papers = preparation.papers_of(open_visits(known, start_date))
        built = week_of(known, {visit: job.needs for visit, job in papers.items()}, start_date)
        built = replace(built, week=by_the_rules(built, known.rules))
        return PreparedWeek(built, papers, preparation.tally)


def plan_week(
    database: sa.Engine,
    made: PreparedWeek,
    planner: Planner,
    *,
    seconds: float,
    now: datetime.datetime,
    by: str,
    report: Callable[[Progress], None] | None = None,
) -> tuple[tables.StoredPlan, bool]:
    """Return the plan of `made` and whether it was made now: one of the same week document and engine is used again.

    The plan is audited before it is stored; one that breaks a rule is a defect of the planner: `RuntimeError`.
    """
    week = made.built.week
    inputs = fingerprint(week, {job: list(why) for job, why in made.built.because.items()}, seconds, code_of(*ENGINE))
    with transaction(database) as session:
        same = select(tables.StoredPlan).where(tables.StoredPlan.fingerprint == inputs)
        known = session.exec(same.order_by(col(tables.StoredPlan.id)).limit(1)).first()
        if known is not None:
            return known, False
    plan = with_because(planner(week, seconds=seconds, report=report), made.built.because)
    with transaction(database) as session:
        because = because_as_data(made.built.because)
        row = store_plan(
            session, week, plan, because=because, timed=made.built.timed, inputs=inputs, how="planned", now=now, by=by
        )
        note(session, now, by, "planned", "week", week.id, {"plan": row.id, "cost_cents": plan.cost.total})
    return row, True


def store_plan(
    session: Session, week: Week, plan: Plan, *, because: dict[str, Any], inputs: str, how: str,
    now: datetime.datetime, by: str, made_from: int | None = None, fixed: dict[str, Any] | None = None,
    timed: DrivesTimed | None = None, note: str = "", reasons_wanted: bool = False,
) -> tables.StoredPlan:  # fmt: skip
    """Store a plan with its week document and return its row, numbered.

    because, fixed, how, made_from: as in the table; timed: who timed the drives, None where nobody did; note:
    what the sheet says of it besides; inputs: the fingerprint of what the plan was made of; reasons_wanted: why jobs
    wait is still to be found. The names of the week's crews are kept beside it. The plan is audited
    first; one that breaks a rule is a defect of whoever made it: `RuntimeError`.
    """
    broken = audit(week, plan).broken_rules
    if broken:
        raise RuntimeError(f"the plan breaks {len(broken)} rules, the first: {broken[0].sentence}")
    row = tables.StoredPlan(
        start_date=week.start_date, fingerprint=inputs, week=week_document(week).decode(), plan=encode(plan).decode(),
        cost_cents=plan.cost.total, bound_cents=plan.bound, seconds=plan.seconds, made_at=now, made_by=by, how=how,
        made_from=made_from, because=because, fixed=fixed or {}, beside=as_data(week, timed), note=note,
        reasons_wanted=reasons_wanted,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row


def planned(week: Week, routes: Iterable[Route]) -> Plan:
    """Return the plan document of `routes` in `week`; why jobs are left out is for the caller to say."""
    routes = tuple(routes)
    done = visits(outings(week, routes))
    left = (Because("not_tried", "Not tried in this plan."),)
    skipped = tuple(Skipped(job.id, left) for job in week.jobs if job.id not in done)
    return stated_plan(week, _MADE_BY, routes, skipped)
