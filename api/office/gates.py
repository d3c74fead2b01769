"""The gates of all jobs: those that a new job begins with, and what is open, by what it holds up."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.facts.gates import due_day, holding
from api.office.keeping import keep, same
from api.office.kinds import KINDS
from scheduler.errors import BadInput


@dataclass(frozen=True)
class OpenGate:
    """An open gate and what it holds up: the visit's promised day (None: none), and what a week's wait weighs in cents.

    `due_on`: when it is due, by its own day or the visit's (None: nobody knows); `too_late`: that is after the promised
    day, or unknown; `late`: that day has passed.
    """

    gate: tables.Gate
    visit: tables.Visit
    site: tables.Site
    customer: tables.Customer
    promised_on: datetime.date | None
    due_on: datetime.date | None
    weighs_cents: int
    too_late: bool
    late: bool


def begin_gates(session: Session, visit: tables.Visit, *, by: str, now: datetime.datetime) -> int:
    """Give a visit the gates that its kind usually has in its town, those that it has not yet; return how many.

    Of a visit without a due day they are due by the day that it gets.
    """
    site, kind, made = session.get_one(tables.Site, visit.site_id), KINDS["gates"], 0
    rules = session.exec(select(tables.GateRule).where(tables.GateRule.kind == visit.work_id))
    for rule in sorted(rules, key=lambda rule: rule.id or 0):
        if rule.town and rule.town.casefold() != site.town.casefold():
            continue
        due_on = visit.due_on - datetime.timedelta(days=rule.days_before) if visit.due_on else None
        values = {
            "visit_id": visit.id, "what": rule.what, "owner": rule.owner, "due_on": due_on, "state": "open",
            "paper": "",
        }  # fmt: skip
        if same(session, kind, values) is None:
            made_now = keep(session, kind, None, values, by=by, now=now)
            if due_on is None:
                made_now.row.days_before = rule.days_before
            made += 1
    return made


def open_gates(session: Session, today: datetime.date, visit_id: str | None = None) -> list[OpenGate]:
    """Return the open gates of open visits: those of promised visits first, by their day, then the dearest to wait."""
    wanted = (
        select(tables.Gate, tables.Visit, tables.Site, tables.Customer)
        .join(tables.Visit, col(tables.Visit.id) == col(tables.Gate.visit_id))
        .join(tables.Site, col(tables.Site.id) == col(tables.Visit.site_id))
        .join(tables.Customer, col(tables.Customer.id) == col(tables.Site.customer_id))
        .where(tables.Gate.state == "open", tables.Visit.state == "open")
    )
    rows = session.exec(wanted if visit_id is None else wanted.where(tables.Gate.visit_id == visit_id)).all()
    told = select(tables.Booking).where(
        col(tables.Booking.withdrawn_at).is_(None),
        col(tables.Booking.visit_id).in_(sorted({visit.id for _, visit, _, _ in rows})),
    )
    days = {booking.visit_id: booking.day for booking in session.exec(told.order_by(col(tables.Booking.id)))}
    found = [
        OpenGate(
            gate, visit, site, customer, days.get(visit.id), due, _weight(session, visit),
            too_late=visit.id in days and bool(holding([gate], days[visit.id])),
            late=due is not None and due < today,
        )
        for gate, visit, site, customer in rows
        for due in [due_day(gate, days.get(visit.id, visit.due_on))]
    ]  # fmt: skip
    far = datetime.date.max
    return sorted(found, key=lambda g: (g.promised_on or far, -g.weighs_cents, g.due_on or far, g.gate.id or 0))


def _weight(session: Session, visit: tables.Visit) -> int:
    """Return what it weighs to put the visit off by a week."""
    if visit.skip_cents is not None:
        return visit.skip_cents
    business = session.get(tables.Business, 1)
    try:
        return rules_from_data(business.rules).prices.skip_cents.of(visit.kind) if business else 0
    except BadInput:
        return 0
