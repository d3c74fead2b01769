"""Orders, what was sold to whom for which site, as JSON records."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from fastapi import Query
from fastapi.responses import Response
from sqlmodel import Session, col, select

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.numbers import numbered
from api.routes import records
from api.routes.lists import Parts
from api.tables import Awning, Customer, Order, Site, SiteSurvey, Visit
from scheduler.errors import BadInput

router = Subject(prefix="/orders", tags=("orders",))
Reader = Annotated[Who, allow(Role.manager, Role.office, Role.reader)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]
State = Literal["open", "done", "cancelled"]


class OrderBody(records.Body):
    """An order without its id; its site must be one of its customer's."""

    customer_id: Annotated[str, limit("sales_order.customer_id")]
    site_id: Annotated[str, limit("sales_order.site_id")]
    ordered_on: Annotated[datetime.date, limit("sales_order.ordered_on")]
    state: Annotated[str, limit("sales_order.state")] = "open"
    note: Annotated[str, limit("sales_order.note")] = ""


class OrderRecord(OrderBody):
    id: str
    version: int


class OrderList(records.Body):
    items: list[OrderRecord]
    next: str | None


@router.get("", response_model=OrderList)
def orders(
    session: Database,
    _: Reader,
    part: Parts,
    customer: Annotated[records.Words | None, Query(max_length=80, description="the id of the customer")] = None,
    site: Annotated[records.Words | None, Query(max_length=80, description="the id of the site")] = None,
    state: State | None = None,
) -> Response:
    """List orders by id, `limit` at a time."""
    pairs = ((Order.customer_id, customer), (Order.site_id, site), (Order.state, state))
    where = [col(column) == value for column, value in pairs if value]
    return records.listed(session, Order, part, *where)


@router.get("/{order_id}", response_model=OrderRecord)
def order(session: Database, _: Reader, order_id: str, if_none_match: IfNoneMatch = None) -> Response:
    """Give one order with its ETag."""
    return records.shown(found(session, Order, order_id, "order"), if_none_match)


@router.post("", status_code=201, response_model=OrderRecord, responses=responses(400, 409))
def make_order(session: Database, who: Writer, now: Now, once: Once, body: OrderBody) -> Response:
    """Make an order; repeat safely by Idempotency-Key."""

    def write() -> Response:
        _check(session, body)
        row = Order(id=numbered(session, Order, "O", body.site_id), **body.model_dump())
        return records.make(session, who, now, row, "order", "/orders")

    return once(session, write)


@router.put("/{order_id}", response_model=OrderRecord, responses=responses(400, 409, 412, 428))
def change_order(
    session: Database, who: Writer, now: Now, once: Once, order_id: str, body: OrderBody, if_match: IfMatch = None
) -> Response:
    """Change an order as a whole, in the version that If-Match names."""

    def write() -> Response:
        row = found(session, Order, order_id, "order")
        _check(session, body)
        _stays(session, row, body.site_id)
        return records.change(session, who, now, row, "order", body.model_dump(), if_match)

    return once(session, write)


@router.delete("/{order_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_order(
    session: Database, who: Writer, now: Now, once: Once, order_id: str, if_match: IfMatch = None
) -> Response:
    """Delete an order that has no awning and no visit."""

    def write() -> Response:
        row = found(session, Order, order_id, "order")
        users = {"awnings": col(Awning.order_id), "visits": col(Visit.order_id)}
        return records.remove(session, who, now, row, "order", if_match, users)

    return once(session, write)


def _stays(session: Session, row: Order, site_id: str) -> None:
    """Answer 409 where an order would leave the site to which its visits go, or where the walls of its awnings are."""
    if row.site_id == site_id:
        return
    visits = session.exec(select(Visit.id).where(Visit.order_id == row.id).order_by(Visit.id)).all()
    walls = select(SiteSurvey.id).join(Awning, col(Awning.id) == SiteSurvey.awning_id)
    surveys = session.exec(walls.where(Awning.order_id == row.id).order_by(SiteSurvey.id)).all()
    if visits or surveys:
        words = ", ".join([*visits, *surveys])
        detail = f"{row.id} cannot go to another site: {words} are of this one. Make another order there."
        raise Problem(409, detail, kind="in-use", used_by={"visits": len(visits), "surveys": len(surveys)})


def _check(session: Session, body: OrderBody) -> None:
    if session.get(Customer, body.customer_id) is None:
        raise BadInput("customer_id", f'no customer has the id "{body.customer_id}"')
    site = session.get(Site, body.site_id)
    if site is None:
        raise BadInput("site_id", f'no site has the id "{body.site_id}"')
    if site.customer_id != body.customer_id:
        raise BadInput("site_id", f"{site.id} is a site of {site.customer_id}, not of {body.customer_id}")
