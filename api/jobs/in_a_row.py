"""A job that takes several days in a row: entered once, it becomes visits that follow each other by one day."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.fields.column_limits import Whole
from api.fields.ids import new_id
from api.fields.limits import limit
from api.http import versions
from api.http.problems import Problem
from api.jobs.numbers import job_number
from api.languages import to_say
from api.ledger.days.day_rows import days_of, goes_on_as
from api.ledger.history import note
from scheduler.errors import BadInput

DAYS = Whole(least=2, most=10)
MINUTES = limit("visit.minutes")
OF_FORM = ("row.days", "row.minutes", "row.same_crew")  # the fields of a new job
_STEP_MIN = 5
_NOT_A_SURVEY = to_say("must be left empty for a survey: that is made in one day")


@dataclass(frozen=True)
class InARow:
    """How many days a job takes, for how many minutes on each, and whether one crew does them all."""

    days: int
    minutes: int
    same_crew: bool = True


def share_of(minutes: int, days: int) -> int:
    """Return how many minutes each of `days` days takes of `minutes` in all, in steps of five."""
    return -(-minutes // (days * _STEP_MIN)) * _STEP_MIN


def check_row(session: Session, visit: tables.Visit) -> None:
    """Raise `BadInput` where a visit cannot be made days in a row."""
    if visit.state != "open":
        raise BadInput("days", f"{visit.id} is done or cancelled: make a new job of what is left")
    if visit.kind == "survey":
        raise BadInput("days", _NOT_A_SURVEY)
    if len(row := days_of(session, visit)) > 1:
        names = ", ".join(one.id for one in row)
        raise BadInput("days", f"it is {len(row)} days in a row already ({names}): change or cancel those")


def row_faults(session: Session, sent: Mapping[str, str]) -> dict[str, str]:
    """Return what cannot stand of the days in a row in the form of a new job, by field; nothing where it asks none."""
    if not sent.get(OF_FORM[0], "").strip():
        return {}
    work_id = sent.get("visits.kind", "")
    work = session.get(tables.WorkKind, work_id) if "\0" not in work_id else None
    if work is not None and work.counts_as == "survey":
        return {OF_FORM[0]: _NOT_A_SURVEY}
    faults = {}
    for name, bound in zip(OF_FORM, (DAYS, MINUTES), strict=False):
        try:
            bound.parse(sent.get(name, "").strip())
        except BadInput as fault:
            faults[name] = fault.problem
    return faults


def row_of(sent: Mapping[str, str]) -> InARow | None:
    """Return the days in a row that the form of a new job asks for, None where it asks for none."""
    days, minutes, crew = (sent.get(name, "").strip() for name in OF_FORM)
    return InARow(DAYS.parse(days), MINUTES.parse(minutes), crew != "no") if days else None


def in_a_row(
    session: Session, visit: tables.Visit, row: InARow, *, now: datetime.datetime, by: str,
    hands: int | None = None, skills: Sequence[str] = (),
) -> list[tables.Visit]:  # fmt: skip
    """Make the later days of an open visit, each after the one before; return them in order.

    They ask for what the visit itself was entered with, else for as many people as its kind of work does; `hands` and
    `skills` are what its papers have found that it needs. The crate goes with the first day: an install goes on as a
    repair. What comes after the visit comes after its last day. Raises `BadInput` where the visit
    is not open or has its days already, `Problem` 409 where somebody else has changed it at this moment.
    """
    check_row(session, visit)
    kind, work = goes_on_as(visit)
    people = visit.hands or hands or visit.work.hands
    before = {"minutes": [visit.minutes, row.minutes]}
    if visit.minutes != row.minutes:
        if not versions.update(session, visit, {"minutes": row.minutes}):
            raise Problem(409, "Somebody changed this at the same moment; read it again.", kind="changed-meanwhile")
        note(session, now, by, "changed", "visit", visit.id, before)
    hours = session.exec(select(tables.VisitHours).where(tables.VisitHours.visit_id == visit.id)).all()
    made = list[tables.Visit]()
    for day in range(2, row.days + 1):
        one = tables.Visit(
            id=job_number(session, new_id("J")), kind=kind, work_id=work, site_id=visit.site_id,
            order_id=visit.order_id, awning_id=visit.awning_id, due_on=visit.due_on, from_on=visit.from_on,
            minutes=row.minutes, hands=people, skills=sorted({*visit.skills, *skills}),
            late_cents=visit.late_cents, skip_cents=visit.skip_cents,
            fault=f"day {day} of {row.days} of {visit.id}{': ' if visit.fault else ''}{visit.fault}"[:500],
        )  # fmt: skip
        session.add(one)
        session.flush()
        for span in hours:
            session.add(tables.VisitHours(visit_id=one.id, weekday=span.weekday, day=span.day, start=span.start,
                                          end=span.end))  # fmt: skip
        note(session, now, by, "made", "visit", one.id, {"rest of": visit.id, "minutes": row.minutes})
        made.append(one)
    _come_later(session, visit.id, made[-1].id, now=now, by=by)
    for first, then in zip((visit, *made), made, strict=False):
        pair = tables.VisitFollows(first_id=first.id, then_id=then.id, min_days=1, max_days=1, same_crew=row.same_crew)
        _follow(session, pair, now=now, by=by)
    return made


def _come_later(session: Session, first_id: str, last_id: str, *, now: datetime.datetime, by: str) -> None:
    """Have open visits that come after `first_id` come after `last_id` as well."""
    row, then = tables.VisitFollows, tables.Visit
    follows = select(row).join(then, col(then.id) == col(row.then_id)).where(row.first_id == first_id)
    for one in session.exec(follows.where(then.state == "open").order_by(col(row.then_id))).all():
        values = one.model_dump() | {"first_id": last_id}
        _follow(session, tables.VisitFollows(**values), now=now, by=by)


def _follow(session: Session, row: tables.VisitFollows, *, now: datetime.datetime, by: str) -> None:
    session.add(row)
    session.flush()
    told = {**row.model_dump(), "id": [row.first_id, row.then_id]}
    note(session, now, by, "made", "follow-on", f"{row.first_id}, {row.then_id}", told)
