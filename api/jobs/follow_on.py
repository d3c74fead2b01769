"""The visit that is left where one was only partly done: what remains, on the same site, after it."""

from __future__ import annotations

import datetime

from sqlmodel import Session, select

from api import tables
from api.fields.ids import new_id
from api.http import versions
from api.jobs.numbers import job_number
from api.ledger.days.day_rows import days_of, goes_on_as
from api.ledger.history import note
from scheduler.week import Job


def follow_on(
    session: Session, visit: tables.Visit, job: Job | None, left_min: int, why: str, *, now: datetime.datetime, by: str
) -> tables.Visit:
    """Make the visit that does what is left of `visit`, in `left_min` minutes; the next plan takes it in.

    job: as the visit was planned, of which people and skills are asked again; None: not known. What is left of one of
    several days in a row is done after the last of them; else what came after the visit comes after the rest as well.
    """
    last = days_of(session, visit)[-1]
    kind, work = goes_on_as(visit)
    made = tables.Visit(
        id=job_number(session, new_id("J")),
        kind=kind,
        work_id=work,
        site_id=visit.site_id,
        order_id=visit.order_id,
        awning_id=visit.awning_id,
        due_on=visit.due_on,
        minutes=left_min,
        hands=visit.hands if job is None else job.hands,
        skills=visit.skills if job is None else sorted({*visit.skills, *job.skills}),
        fault=f"finish {visit.id}: {why}"[:500],
    )
    session.add(made)
    session.flush()
    waits = select(tables.VisitFollows).where(tables.VisitFollows.first_id == last.id)
    for one in session.exec(waits).all():
        session.add(tables.VisitFollows(**one.model_dump() | {"first_id": made.id}))
    session.add(tables.VisitFollows(first_id=last.id, then_id=made.id))
    session.flush()
    note(session, now, by, "made", "visit", made.id, {"rest of": visit.id, "minutes": left_min})
    return made


def again(session: Session, made: tables.Visit, left_min: int | None, *, now: datetime.datetime, by: str) -> bool:
    """Have a visit that was left take `left_min` minutes; None: nothing is left, and it is cancelled.

    Says whether that could be done: not where it is open no more.
    """
    if made.state != "open":
        return False
    values = {"state": "cancelled"} if left_min is None else {"minutes": left_min}
    if not versions.update(session, made, values):
        return False
    note(session, now, by, "cancelled" if left_min is None else "changed", "visit", made.id, values)
    return True
