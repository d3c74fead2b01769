"""When a yearly service makes its next visit, and the making: one visit a year, however often it is looked at."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.fields.ids import new_id
from api.jobs.numbers import job_number
from api.jobs.taken_away import taken_away
from api.languages import day_in_words
from api.ledger.history import note
from api.office.gates import begin_gates

BY = "every year"


@dataclass(frozen=True)
class NextVisit:
    """What a yearly service makes next: its visit goes from `first` to `last`, and is made on `made_on`.

    `made` are the visits that it has made already, the newest first; `gone` is the visit that has taken its awning
    away for good, empty where it still hangs.
    """

    service: tables.YearlyService
    work: tables.WorkKind
    awning: tables.Awning
    site: tables.Site
    customer: tables.Customer
    made_on: datetime.date
    first: datetime.date
    last: datetime.date
    made: tuple[tables.Visit, ...]
    gone: str = ""

    @property
    def goes_on(self) -> bool:
        return self.service.active and not self.gone

    @property
    def month(self) -> str:
        return day_in_words(datetime.date(2000, self.service.month, 1), "LLLL")


def next_visits(session: Session, today: datetime.date, awning_id: str | None = None) -> list[NextVisit]:
    """Return what each yearly service makes next, the first to be made first; those that are stopped last.

    awning_id: those of one awning alone.
    """
    service, order = tables.YearlyService, tables.Order
    asked = (
        sa.select(service, tables.WorkKind, tables.Awning, tables.Site, tables.Customer)
        .join(tables.WorkKind, col(tables.WorkKind.id) == col(service.work_id))
        .join(tables.Awning, col(tables.Awning.id) == col(service.awning_id))
        .join(order, col(order.id) == col(tables.Awning.order_id))
        .join(tables.Site, col(tables.Site.id) == col(order.site_id))
        .join(tables.Customer, col(tables.Customer.id) == col(tables.Site.customer_id))
    )
    rows = session.execute(asked if awning_id is None else asked.where(col(service.awning_id) == awning_id)).all()
    if not rows:
        return []
    made: dict[int, list[tuple[int, tables.Visit]]] = {row[0].id: [] for row in rows}
    wanted = select(tables.YearlyVisit, tables.Visit).join(
        tables.Visit, col(tables.Visit.id) == tables.YearlyVisit.visit_id
    )
    for one, visit in session.exec(wanted.order_by(col(tables.YearlyVisit.year).desc())):
        if one.service_id in made:
            made[one.service_id].append((one.year, visit))
    found, gone = [], taken_away(session)
    for rule, work, awning, site, customer in rows:
        before = made[rule.id]
        on, first, last = _next(rule, {year for year, _ in before}, today)
        visits = tuple(visit for _, visit in before)
        away = gone.get(awning.id, "")
        found.append(NextVisit(rule, work, awning, site, customer, on, first, last, visits, away))
    return sorted(found, key=lambda one: (not one.goes_on, one.made_on, one.awning.id, one.service.id or 0))


def _next(
    rule: tables.YearlyService, made: Iterable[int], today: datetime.date
) -> tuple[datetime.date, datetime.date, datetime.date]:
    """Return when the first visit that a service has not made yet is made, and the month in which it goes."""
    year, done = today.year, set(made)
    while True:
        first = datetime.date(year, rule.month, 1)
        last = first.replace(day=calendar.monthrange(year, rule.month)[1])
        if last >= today and year not in done:
            return first - datetime.timedelta(weeks=rule.weeks_ahead), first, last
        year += 1


def make_due(session: Session, now: datetime.datetime) -> list[tables.Visit]:
    """Make the visits whose day to be made has come, and return them; those made before are not made again."""
    today, made = local_day(session, now), []
    for one in next_visits(session, today):
        if one.goes_on and one.made_on <= today:
            made.append(_make(session, one, now))
    return made


def _make(session: Session, one: NextVisit, now: datetime.datetime) -> tables.Visit:
    visit = tables.Visit(
        id=job_number(session, new_id("J")),
        kind=one.work.counts_as,
        work_id=one.work.id,
        site_id=one.site.id,
        order_id=one.awning.order_id,
        awning_id=one.awning.id,
        from_on=one.first,
        due_on=one.last,
        note=one.service.note,
    )
    session.add(visit)
    session.flush()
    session.add(tables.YearlyVisit(service_id=one.service.id or 0, year=one.first.year, visit_id=visit.id))
    session.flush()
    detail = {"kind": one.work.name, "awning": one.awning.id, "every": one.month, "due_on": one.last.isoformat()}
    note(session, now, BY, "made", "visit", visit.id, detail)
    begin_gates(session, visit, by=BY, now=now)
    return visit
