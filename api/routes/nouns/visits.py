"""Visits, the jobs of the week sheet, with the hours that their customers allow, as JSON records."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Annotated, Any, Literal, Self

import sqlalchemy as sa
from fastapi import Query
from fastapi.responses import Response
from pydantic import Field, model_validator
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.assists import check_assist
from api.fields.ids import new_id
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.listed import places
from api.jobs.numbers import job_number
from api.office.gates import begin_gates
from api.routes import records
from api.routes.asking import Asked
from api.routes.lists import Parts
from api.tables import Visit, VisitHours
from scheduler.errors import BadInput

router = Subject(prefix="/visits", tags=("visits",))
Reader = Annotated[Who, allow(*LOOKERS)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]
Kind = Literal["install", "survey", "repair"]
State = Literal["open", "done", "cancelled"]
# What holds a visit fast: it has been promised, counted, worked on or set aside for.
_USERS: dict[str, Any] = {
    "bookings": tables.Booking.visit_id,
    "counts": tables.BenchCount.visit_id,
    "crate counts": tables.CrateCount.visit_id,
    "shorts": tables.Short.visit_id,
    "marks on the kit": tables.KitState.visit_id,
    "results": tables.DayResult.visit_id,
    "steps done": tables.StepDone.visit_id,
    "photos": tables.Photo.visit_id,
    "ticks of loading": tables.LoadTick.visit_id,
    "moves of stock": tables.StockMove.visit_id,
    "reservations": tables.Reservation.visit_id,
    "messages": tables.Message.visit_id,
    "rebookings": tables.CaseVisit.visit_id,
    "locks": tables.Lock.visit_id,
    "callbacks": tables.CalledBack.of_id,
    "reasons of a callback": tables.CalledBack.visit_id,
    "yearly services": tables.YearlyVisit.visit_id,
    "visits that it goes before": tables.VisitFollows.first_id,
    "visits that go before it": tables.VisitFollows.then_id,
}


class VisitHoursBody(records.Body):
    """Hours on a weekday (0 = Monday) or on one day; minutes after local midnight."""

    weekday: Annotated[int, limit("visit_hours.weekday")] | None = None
    day: Annotated[datetime.date, limit("visit_hours.day")] | None = None
    start: Annotated[int, limit("visit_hours.start")]
    end: Annotated[int, limit("visit_hours.end")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if (self.weekday is None) == (self.day is None):
            raise ValueError("must name a weekday or a day, one of the two")
        if self.end <= self.start:
            raise ValueError(f"end must come after start ({self.start}), is {self.end}")
        return self


class VisitBody(records.Body):
    """A visit without its id; without `hours` the customer allows any.

    `work_id` is its kind of work, which counts as `kind`; left out, the one that is called so. It goes no earlier than
    `from_on`.

    `minutes` and `hands` overrule what preparation works out, `late_cents` and `skip_cents` the prices of the business.

    A second crew comes for `assist_minutes` with `assist_hands` people who have `assist_skills`, begun from
    `assist_from` to `assist_to` minutes after the start; without `assist_minutes` none comes.
    """

    kind: Annotated[str, limit("visit.kind")]
    work_id: Annotated[str, limit("visit.work_id")] | None = None
    site_id: Annotated[str, limit("visit.site_id")]
    order_id: Annotated[str, limit("visit.order_id")] | None = None
    awning_id: Annotated[str, limit("visit.awning_id")] | None = None
    state: Annotated[str, limit("visit.state")] = "open"
    due_on: Annotated[datetime.date, limit("visit.due_on")] | None = None
    from_on: Annotated[datetime.date, limit("visit.from_on")] | None = None
    minutes: Annotated[int, limit("visit.minutes")] | None = None
    hands: Annotated[int, limit("visit.hands")] | None = None
    skills: Annotated[list[Annotated[str, limit("visit.skills")]], Field(max_length=4, default_factory=list)]
    late_cents: Annotated[int, limit("visit.late_cents")] | None = None
    skip_cents: Annotated[int, limit("visit.skip_cents")] | None = None
    fault: Annotated[str, limit("visit.fault")] = ""
    note: Annotated[str, limit("visit.note")] = ""
    assist_minutes: Annotated[int, limit("visit.assist_minutes")] | None = None
    assist_hands: Annotated[int, limit("visit.assist_hands")] | None = None
    assist_from: Annotated[int, limit("visit.assist_from")] | None = None
    assist_to: Annotated[int, limit("visit.assist_to")] | None = None
    assist_skills: Annotated[
        list[Annotated[str, limit("visit.assist_skills")]], Field(max_length=4, default_factory=list)
    ]
    hours: Annotated[list[VisitHoursBody], Field(max_length=60, default_factory=list)]


class VisitRecord(VisitBody):
    id: str
    version: int


class VisitList(records.Body):
    items: list[VisitRecord]
    next: str | None


@router.get("", response_model=VisitList)
def visits(
    session: Database,
    _: Reader,
    part: Parts,
    kind: Kind | None = None,
    state: State | None = None,
    site: Annotated[records.Words | None, Query(max_length=80, description="the id of the site")] = None,
    order: Annotated[records.Words | None, Query(max_length=80, description="the id of the order")] = None,
) -> Response:
    """List visits by id, `limit` at a time."""
    pairs = ((Visit.kind, kind), (Visit.state, state), (Visit.site_id, site), (Visit.order_id, order))
    where = [col(column) == value for column, value in pairs if value]
    return records.listed(session, Visit, part, *where, also=_hours)


@router.get("/{visit_id}", response_model=VisitRecord)
def visit(session: Database, _: Reader, visit_id: str, if_none_match: IfNoneMatch = None) -> Response:
    """Give one visit with its ETag."""
    row = found(session, Visit, visit_id, "visit")
    return records.shown(row, if_none_match, also=_hours(session, [row.id])[row.id])


@router.post("", status_code=201, response_model=VisitRecord, responses=responses(400, 409))
def make_visit(session: Database, who: Writer, now: Now, once: Once, body: VisitBody) -> Response:
    """Make a visit; repeat safely by Idempotency-Key."""

    def write() -> Response:
        _check(session, body)
        row = Visit(id=job_number(session, new_id("J")), **_values(body))
        session.add(row)
        session.flush()
        _allow(session, row.id, body.hours)
        begin_gates(session, row, by=who.name, now=now)
        return records.make(session, who, now, row, "visit", "/visits", also=_hours(session, [row.id])[row.id])

    return once(session, write)


@router.put("/{visit_id}", response_model=VisitRecord, responses=responses(400, 409, 412, 428))
def change_visit(
    session: Database,
    who: Writer,
    now: Now,
    once: Once,
    asked: Asked,
    visit_id: str,
    body: VisitBody,
    if_match: IfMatch = None,
) -> Response:
    """Change a visit as a whole, in the version that If-Match names."""

    def write() -> Response:
        row = found(session, Visit, visit_id, "visit")
        _check(session, body)
        values = _values(body)
        before, after = _hours(session, [row.id])[row.id], body.model_dump(mode="json", include={"hours"})
        answer = records.change(session, who, now, row, "visit", values, if_match, before=before, after=after)
        _allow(session, row.id, body.hours)
        return answer

    return once(session, asked(session, write))


@router.delete("/{visit_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_visit(
    session: Database, who: Writer, now: Now, once: Once, visit_id: str, if_match: IfMatch = None
) -> Response:
    """Delete a visit that nobody has been told of and nothing has been done for; cancel any other."""

    def write() -> Response:
        row = found(session, Visit, visit_id, "visit")
        where = places(session).stops.get(row.id)
        if where is not None and where.posted:
            detail = f"{row.id} cannot be deleted: a posted week holds it. Cancel it, and post the week anew."
            raise Problem(409, detail, kind="in-use", used_by={"posted weeks": 1})
        _allow(session, row.id, [])
        session.execute(sa.delete(tables.Prepared).where(col(tables.Prepared.visit_id) == row.id))
        return records.remove(session, who, now, row, "visit", if_match, _USERS)

    return once(session, write)


def _values(body: VisitBody) -> dict[str, Any]:
    return body.model_dump(exclude={"hours"}) | {"work_id": body.work_id or body.kind}


def _check(session: Session, body: VisitBody) -> None:
    """Raise `BadInput` where kind of work, site, order and awning are unknown or do not fit together."""
    numbers = body.assist_minutes, body.assist_hands, body.assist_from, body.assist_to
    check_assist(*numbers, body.assist_skills, body.minutes)
    work = session.get(tables.WorkKind, body.work_id or body.kind)
    if work is None:
        raise BadInput("work_id", f'no kind of work has the id "{body.work_id}"')
    if work.counts_as != body.kind:
        raise BadInput("work_id", f"{work.id} counts as {work.counts_as}, not as {body.kind}")
    if session.get(tables.Site, body.site_id) is None:
        raise BadInput("site_id", f'no site has the id "{body.site_id}"')
    if body.order_id is not None:
        order = session.get(tables.Order, body.order_id)
        if order is None:
            raise BadInput("order_id", f'no order has the id "{body.order_id}"')
        if order.site_id != body.site_id:
            raise BadInput("order_id", f"{order.id} is an order for {order.site_id}, not for {body.site_id}")
    if body.awning_id is not None:
        awning = session.get(tables.Awning, body.awning_id)
        if awning is None:
            raise BadInput("awning_id", f'no awning has the id "{body.awning_id}"')
        if awning.order_id != body.order_id:
            raise BadInput("awning_id", f"{awning.id} belongs to the order {awning.order_id}: name that in order_id")


def _hours(session: Session, visit_ids: list[str]) -> dict[str, dict[str, Any]]:
    hours: dict[str, list[dict[str, Any]]] = {visit_id: [] for visit_id in visit_ids}
    wanted = select(VisitHours).where(col(VisitHours.visit_id).in_(visit_ids)).order_by(col(VisitHours.id))
    for span in session.exec(wanted):
        hours[span.visit_id].append(span.model_dump(mode="json", exclude={"id", "visit_id"}))
    return {visit_id: {"hours": spans} for visit_id, spans in hours.items()}


def _allow(session: Session, visit_id: str, hours: Sequence[VisitHoursBody]) -> None:
    """Make `hours` what the customer of a visit allows."""
    session.execute(sa.delete(VisitHours).where(col(VisitHours.visit_id) == visit_id))
    session.add_all(VisitHours(visit_id=visit_id, **span.model_dump()) for span in hours)
    session.flush()
