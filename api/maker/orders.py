"""Orders to the makers: the list with the late ones first, and what an order's days do to the crate."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.fields.shown import day_name
from api.http import versions
from api.languages import to_say
from api.ledger.facts.job import newest_surveys
from api.ledger.history import note
from api.ledger.told import told_now
from scheduler.errors import BadInput

Standing = Literal["late", "no day", "unconfirmed", "not sent", "under way", "came"]
_FIRST: tuple[Standing, ...] = ("late", "no day", "unconfirmed", "not sent", "under way", "came")
WHOLE = to_say("the awning, complete")  # what an order begins with
MOST_CAME = 20  # orders that came, on the list


@dataclass(frozen=True)
class OrderLine:
    """An order with what it is for. `late_days` is how long it is overdue, `promised_on` the visit's day.

    `visit` is the awning's open install, None where there is none; `too_late`: it is promised for a day on which the
    crate is not here yet. `measured_anew`: the wall was surveyed again since it was ordered.
    """

    order: tables.MakerOrder
    awning: tables.Awning
    site: tables.Site
    customer: tables.Customer
    visit: tables.Visit | None
    standing: Standing
    late_days: int
    promised_on: datetime.date | None
    too_late: bool
    measured_anew: bool


def order_list(session: Session, today: datetime.date) -> list[OrderLine]:
    """Return all orders that have not come, the latest first, then the last ones that came."""
    open_ones = session.exec(select(tables.MakerOrder).where(col(tables.MakerOrder.came_on).is_(None))).all()
    came = select(tables.MakerOrder).where(col(tables.MakerOrder.came_on).is_not(None))
    last = session.exec(came.order_by(col(tables.MakerOrder.came_on).desc()).limit(MOST_CAME)).all()
    lines = [order_line(session, order, today) for order in [*open_ones, *last]]
    far = datetime.date.max
    return sorted(
        lines,
        key=lambda one: (
            _FIRST.index(one.standing), -one.late_days,
            far - (one.order.day or far) if one.standing == "came" else (one.order.day or far) - datetime.date.min,
            one.order.id or 0,
        ),
    )  # fmt: skip


def order_line(session: Session, order: tables.MakerOrder, today: datetime.date) -> OrderLine:
    """Return an order with what it is for and how it stands."""
    awning = session.get_one(tables.Awning, order.awning_id)
    sale = session.get_one(tables.Order, awning.order_id)
    site = session.get_one(tables.Site, sale.site_id)
    visit = install_of(session, awning.id)
    told = told_now(session, visit.id) if visit is not None else None
    newest = newest_surveys(session, [awning.id]).get(awning.id)
    late = (today - order.day).days if order.came_on is None and order.day is not None else 0
    return OrderLine(
        order=order,
        awning=awning,
        site=site,
        customer=session.get_one(tables.Customer, sale.customer_id),
        visit=visit,
        standing=_standing(order, late),
        late_days=max(0, late),
        promised_on=told.day if told is not None else None,
        too_late=told is not None and order.came_on is None and (order.day is None or order.day > told.day),
        measured_anew=order.came_on is None and newest is not None and order.survey_id != newest.id,
    )


def _standing(order: tables.MakerOrder, late_days: int) -> Standing:
    if order.came_on is not None:
        return "came"
    if late_days > 0:
        return "late"
    if order.sent_on is None:
        return "not sent"
    if order.day is None:
        return "no day"
    return "unconfirmed" if order.confirmed_on is None else "under way"


def install_of(session: Session, awning_id: str) -> tables.Visit | None:
    """Return the open visit that hangs an awning, None where there is none."""
    wanted = select(tables.Visit).where(tables.Visit.awning_id == awning_id, tables.Visit.kind == "install")
    return session.exec(wanted.where(tables.Visit.state == "open").order_by(col(tables.Visit.id))).first()


def check_order(session: Session, key: str | None, values: Mapping[str, Any]) -> None:
    """Raise `BadInput` for an unknown awning, or days that cannot follow each other."""
    if session.get(tables.Awning, values["awning_id"]) is None:
        raise BadInput("awning_id", f'no awning has the id "{values["awning_id"]}"')
    sent = values["sent_on"]
    for name, what in (("confirmed_on", "confirmed"), ("promised_on", "promised"), ("came_on", "came")):
        if values[name] is not None and sent is not None and values[name] < sent:
            raise BadInput(name, f"must not come before the order was sent, {day_name(sent)}")
        if name == "confirmed_on" and values[name] is not None and sent is None:
            raise BadInput("sent_on", f"must say when it was sent: it is {what} already")
    if values["changed_to"] is not None and values["promised_on"] is None:
        raise BadInput("promised_on", "must say which day was promised first: it is changed already")


def keep_order(session: Session, row: Any, values: Mapping[str, Any], by: str, now: datetime.datetime) -> None:
    """Note what an order was measured by, and have the crate's day follow the order's."""
    if row.survey_id is None:
        newest = newest_surveys(session, [row.awning_id]).get(row.awning_id)
        row.survey_id = newest.id if newest is not None else None
        session.add(row)
        session.flush()
    crate_follows(session, row.awning_id, by=by, now=now)


def crate_follows(session: Session, awning_id: str, *, by: str, now: datetime.datetime) -> None:
    """Have the day of an awning's crate be that of its orders: the last of them, none where a maker named none."""
    orders = [row for row in orders_of(session, awning_id) if row.sent_on is not None or row.day is not None]
    if not orders:
        return
    days = [row.day for row in orders]
    after = None if None in days else max(day for day in days if day is not None)
    awning = session.get_one(tables.Awning, awning_id)
    before = awning.arrives_on
    if before == after:
        return
    versions.update(session, awning, {"arrives_on": after})
    told = [None if day is None else day.isoformat() for day in (before, after)]
    note(session, now, by, "changed", "awning", awning_id, {"arrives_on": told})


@dataclass(frozen=True)
class BrokenPromise:
    """A visit and the day for which it is promised."""

    visit_id: str
    day: datetime.date


def broken_promise(session: Session, values: Mapping[str, Any]) -> BrokenPromise | None:
    """Return the promise that an order's new days no longer hold: its crate comes later, or nobody can say when.

    None where the crate was counted already, or was not expected in time before either.
    """
    order = tables.MakerOrder(**values)
    visit, awning = install_of(session, order.awning_id), session.get_one(tables.Awning, order.awning_id)
    told = told_now(session, visit.id) if visit is not None else None
    if visit is None or told is None or (order.sent_on is None and order.day is None):
        return None
    counted = select(tables.BenchCount.id).where(tables.BenchCount.visit_id == visit.id).limit(1)
    held = awning.arrives_on is not None and awning.arrives_on <= told.day
    if not held or session.exec(counted).first() is not None:
        return None
    return BrokenPromise(visit.id, told.day) if order.day is None or order.day > told.day else None


def crate_expected(
    session: Session, awning_id: str, day: datetime.date | None, *, by: str, now: datetime.datetime
) -> None:
    """Have the order of an awning whose crate is expected on another day say so, where one order alone is open."""
    open_ones = [row for row in orders_of(session, awning_id) if row.came_on is None]
    if len(open_ones) != 1 or day is None or open_ones[0].day == day:
        return
    order = open_ones[0]
    here = day <= local_day(session, now)
    name = "came_on" if here else "changed_to" if order.promised_on is not None else "promised_on"
    before = getattr(order, name)
    versions.update(session, order, {name: day})
    told = [None if before is None else before.isoformat(), day.isoformat()]
    note(session, now, by, "changed", NOUN, name_of(order), {"id": [order.id], name: told})


def orders_of(session: Session, awning_id: str) -> list[tables.MakerOrder]:
    """Return the orders for an awning, the first first."""
    wanted = select(tables.MakerOrder).where(tables.MakerOrder.awning_id == awning_id)
    return list(session.exec(wanted.order_by(col(tables.MakerOrder.id))))


NOUN = "maker's order"


def name_of(order: tables.MakerOrder) -> str:
    """Return what the history calls an order."""
    return f"{order.awning_id}, {order.what}"[:80]
