"""What can be done with a business: one function for each, which owns its transaction."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import sqlalchemy as sa
from sqlalchemy import desc
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.database import transaction
from api.fingerprint import code_of, fingerprint
from api.job_reads import job_facts
from api.prepare import JobPapers, Preparation, Tally
from api.queries import facts
from api.seed import Business, load
from api.translate import BuiltWeek, because_as_data, open_visits, week_of, with_because
from scheduler import Progress
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.week import Week

_KEPT_AT_LOAD = ("history", "stored_plan", "account", "sign_in", "sign_in_try", "day_link")
# What the same week document gives the same plan by: a change of these, and it is planned anew.
ENGINE = ("scheduler.engine", "scheduler.price", "scheduler.week")


class Planner(Protocol):
    """The engine's one call: the best plan of `week` that it finds in `seconds`."""

    def __call__(self, week: Week, *, seconds: float, report: Callable[[Progress], None] | None = None) -> Plan: ...


@dataclass(frozen=True)
class PreparedWeek:
    """A week document with the papers of its visits, by id, in the order of its jobs."""

    built: BuiltWeek
    papers: dict[str, JobPapers]
    tally: Tally


def load_business(database: sa.Engine, business: Business, files: str, now: datetime.datetime) -> bool:
    """Put `business`, read from files with the fingerprint `files`, into the database; say whether that was needed.

    Replaces an earlier state of the same business; what was prepared, and the plans, are kept for reuse. Raises
    `BadInput` where the database holds another business, or one that has posted weeks: those are no demo any more.
    """
    with transaction(database) as session:
        present = session.get(tables.Business, 1)
        loads = select(tables.History).where(tables.History.did == "loaded").order_by(desc(col(tables.History.id)))
        last = session.exec(loads).first()
        if present is not None and last is not None and last.detail.get("files") == files:
            return False
        new = next(row for row in business.rows if isinstance(row, tables.Business))
        if present is not None and present.name != new.name:
            problem = f'this database holds the business "{present.name}"; choose another folder for "{new.name}"'
            raise BadInput("", problem)
        if session.exec(select(tables.PostedWeek)).first() is not None:
            raise BadInput("", "this database has posted weeks, which a load would lose; choose another folder")
        visits = {row.id for row in business.rows if isinstance(row, tables.Visit)}
        kept = [row.model_dump() for row in session.exec(select(tables.Prepared)) if row.visit_id in visits]
        session.expunge_all()
        for table in reversed(SQLModel.metadata.sorted_tables):
            if table.name not in _KEPT_AT_LOAD:
                session.execute(sa.delete(table))
        load(session, business)
        session.add_all(tables.Prepared(**values) for values in kept)
        note(session, now, "files", "loaded", "business", new.name, {"files": files})
        return True


def prepare_week(database: sa.Engine, start_date: datetime.date, now: datetime.datetime) -> PreparedWeek:
    """Return the week that begins on `start_date` as a document; layouts, kits and durations are made where missing."""
    with transaction(database) as session:
        known = facts(session, start_date, now=now)
        preparation = Preparation(session, known, now)
        papers = preparation.papers_of(open_visits(known, start_date))
        built = week_of(known, {visit: job.needs for visit, job in papers.items()}, start_date)
        return PreparedWeek(built, papers, preparation.tally)


@dataclass(frozen=True)
class JobPage:
    """What the page of one job shows; `stale` names the papers that were made of other inputs than today's."""

    job: JobPapers
    site: tables.Site
    customer: tables.Customer
    awning: tables.Awning | None
    booking: tables.Booking | None
    hours: list[tables.VisitHours]
    counts: dict[str, tables.BenchCount]
    shorts: dict[str, tables.Short]
    stale: set[str]


def job_page(session: Session, visit_id: str, now: datetime.datetime) -> JobPage | None:
    """Return what the page of a visit shows, None where there is no such visit."""
    return job_pages(session, [visit_id], now).get(visit_id)


def job_pages(session: Session, visit_ids: Sequence[str], now: datetime.datetime) -> dict[str, JobPage]:
    """Return what the pages of visits show, by their ids; a visit that is not there is left out."""
    known = job_facts(session, visit_ids)
    papers = Preparation(session, known, now, remake=False).papers_of(list(known.visits.values()))
    pages = {}
    for visit_id, visit in known.visits.items():
        site = known.sites[visit.site_id]
        pages[visit_id] = JobPage(
            job=papers[visit_id],
            site=site,
            customer=known.customers[site.customer_id],
            awning=known.awnings.get(visit.awning_id or ""),
            booking=known.bookings.get(visit_id),
            hours=known.hours.get(visit_id, []),
            counts=known.counts.get(visit_id, {}),
            shorts={short.item: short for short in known.shorts.get(visit_id, []) if short.arrived_on is None},
            stale=set(papers[visit_id].stale),
        )
    return pages


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
        for row in session.exec(select(tables.StoredPlan).where(tables.StoredPlan.fingerprint == inputs)):
            return row, False
    plan = with_because(planner(week, seconds=seconds, report=report), made.built.because)
    with transaction(database) as session:
        because = because_as_data(made.built.because)
        row = store_plan(session, week, plan, because=because, inputs=inputs, how="planned", now=now, by=by)
        note(session, now, by, "planned", "week", week.id, {"plan": row.id, "cost_cents": plan.cost.total})
    return row, True


def store_plan(
    session: Session, week: Week, plan: Plan, *, because: dict[str, Any], inputs: str, how: str,
    now: datetime.datetime, by: str, made_from: int | None = None, fixed: dict[str, Any] | None = None,
) -> tables.StoredPlan:  # fmt: skip
    """Store a plan with its week document and return its row, numbered.

    because, fixed, how, made_from: as in the table; inputs: the fingerprint of what the plan was made of. The plan is
    audited first; one that breaks a rule is a defect of whoever made it: `RuntimeError`.
    """
    broken = audit(week, plan).broken_rules
    if broken:
        raise RuntimeError(f"the plan breaks {len(broken)} rules, the first: {broken[0].sentence}")
    row = tables.StoredPlan(
        start_date=week.start_date, fingerprint=inputs, week=encode(week).decode(), plan=encode(plan).decode(),
        cost_cents=plan.cost.total, bound_cents=plan.bound, seconds=plan.seconds, made_at=now, made_by=by, how=how,
        made_from=made_from, because=because, fixed=fixed or {},
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row


def note(
    session: Session, at: datetime.datetime, by: str, did: str, noun: str, noun_id: str, detail: dict[str, Any]
) -> None:
    """Add a line to the history."""
    session.add(tables.History(at=at, by=by, did=did, noun=noun, noun_id=noun_id, detail=detail))
