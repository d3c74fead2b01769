"""What is posted: the plan that crews and customers see, as reads alone (posting it is `api.week.post`)."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.plans.stored import newest_plan
from scheduler.plan import Plan, Route, read_plan
from scheduler.week import Week

FEW = 50  # jobs that are looked for by the database
LONGEST_DAYS = 7  # no planned week is longer (`api.fields.rules`)


def posted_week(session: Session, start_date: datetime.date) -> tables.PostedWeek | None:
    """Return the posting that counts for the week that begins on `start_date`, None where there is none."""
    rows = select(tables.PostedWeek).where(tables.PostedWeek.start_date == start_date)
    return _newest(session.exec(rows.where(col(tables.PostedWeek.withdrawn_at).is_(None))).all())


def posted_plan(session: Session, start_date: datetime.date) -> tables.StoredPlan | None:
    """Return the plan that crews and customers see for a week, None where none is posted."""
    row = posted_week(session, start_date)
    return None if row is None else session.get(tables.StoredPlan, row.plan_id)


def plan_that_counts(session: Session, start_date: datetime.date) -> tuple[tables.StoredPlan | None, bool]:
    """Return the plan that a week is read by, the posted one, else the newest; and whether it is posted."""
    posted = posted_plan(session, start_date)
    return (posted, True) if posted is not None else (newest_plan(session, start_date), False)


def posted_on(session: Session, day: datetime.date) -> tables.PostedWeek | None:
    """Return the posting that counts on `day`: of the week begun last that may hold it; None where there is none."""
    rows = select(tables.PostedWeek).where(
        tables.PostedWeek.start_date <= day,
        tables.PostedWeek.start_date > day - datetime.timedelta(days=LONGEST_DAYS),
        col(tables.PostedWeek.withdrawn_at).is_(None),
    )
    found = session.exec(rows).all()
    begun = max((row.start_date for row in found), default=None)
    return _newest([row for row in found if row.start_date == begun])


def next_out(session: Session, day: datetime.date) -> tuple[datetime.date, int, int] | None:
    """Return the first day after `day` on which crews go out as posted, how many, and to how many visits."""
    rows = select(tables.PostedWeek).where(
        tables.PostedWeek.start_date > day - datetime.timedelta(days=LONGEST_DAYS),
        col(tables.PostedWeek.withdrawn_at).is_(None),
    )
    newest = {row.start_date: row for row in sorted(session.exec(rows).all(), key=lambda row: row.id or 0)}
    out: dict[datetime.date, list[int]] = {}
    for start, row in newest.items():
        plan = session.exec(select(col(tables.StoredPlan.plan)).where(tables.StoredPlan.id == row.plan_id)).one()
        for route in read_plan(plan).routes:
            date = start + datetime.timedelta(days=route.day)
            if date > day:
                out.setdefault(date, []).append(len(route.jobs))
    return None if not out else (first := min(out), len(out[first]), sum(out[first]))


def posted_route(session: Session, crew_id: str, day: datetime.date) -> Route | None:
    """Return what the posted week gives `crew_id` to do on `day`; None where nothing is posted, or it stays home."""
    row = posted_on(session, day)
    if row is None:
        return None
    # The plan alone: the week document beside it is large, and this is asked with every request of a crew.
    plan = session.exec(select(col(tables.StoredPlan.plan)).where(tables.StoredPlan.id == row.plan_id)).one()
    offset = (day - row.start_date).days
    routes = read_plan(plan).routes
    return next((route for route in routes if route.crew == crew_id and route.day == offset), None)


def does_job(session: Session, crew_id: str, visit_id: str) -> bool:
    """Say whether a week that is posted gives the job, or its lift, to `crew_id` on any of its days."""
    return crew_id in crews_given(session, [visit_id])[visit_id]


def crews_given(session: Session, visit_ids: Collection[str]) -> dict[str, set[str]]:
    """Return by job the crews to which weeks that are posted give it, or its lift; none: it was given to nobody yet."""
    rows = session.exec(select(tables.PostedWeek).where(col(tables.PostedWeek.withdrawn_at).is_(None))).all()
    by_week = {row.start_date: row.plan_id for row in sorted(rows, key=lambda row: row.id or 0)}
    plan = tables.StoredPlan.plan
    crews: dict[str, set[str]] = {visit_id: set() for visit_id in visit_ids}
    held = select(col(plan)).where(col(tables.StoredPlan.id).in_(by_week.values()))
    if 0 < len(crews) <= FEW:  # plans that name none of them are not even read
        held = held.where(sa.or_(*(col(plan).contains(f'"{name}"', autoescape=True) for name in crews)))
    for text in session.exec(held) if crews else ():
        for route in read_plan(text).routes:
            for name in {name for stop in route.stops for name in (stop.job, stop.assist)} & crews.keys():
                crews[name].add(route.crew)
    return crews


def _newest(rows: Sequence[tables.PostedWeek]) -> tables.PostedWeek | None:
    return max(rows, key=lambda row: row.id or 0, default=None)


@dataclass(frozen=True)
class Posted:
    """One posting: its row, the stored plan with its documents, and what was posted before (None: nothing).

    `now` is the moment by which the work is dated, `by` the name of who posted.
    """

    row: tables.PostedWeek
    stored: tables.StoredPlan
    week: Week
    plan: Plan
    before: tables.PostedWeek | None
    now: datetime.datetime
    by: str
