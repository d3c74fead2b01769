"""Customers as JSON records."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from fastapi.responses import Response
from sqlmodel import col

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import responses, wants_page
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.numbers import numbered
from api.routes import records
from api.routes.lists import Parts
from api.routes.nouns import customer_page
from api.tables import Customer, Order, Site

router = Subject(prefix="/customers", tags=("customers",))
Reader = Annotated[Who, allow(Role.manager, Role.office, Role.reader)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]


class CustomerBody(records.Body):
    """A customer without its id; an empty phone or e-mail is none, an empty language the business's."""

    name: Annotated[str, limit("customer.name")]
    phone: Annotated[str, limit("customer.phone")] = ""
    email: Annotated[str, limit("customer.email")] = ""
    note: Annotated[str, limit("customer.note")] = ""
    language: Annotated[str, limit("customer.language")] = ""


class CustomerRecord(CustomerBody):
    id: str
    version: int


class CustomerList(records.Body):
    items: list[CustomerRecord]
    next: str | None


@router.get("", response_model=CustomerList)
def customers(
    session: Database,
    _: Reader,
    part: Parts,
    name: Annotated[records.Words | None, Query(max_length=120, description="letters that the name holds")] = None,
) -> Response:
    """List customers by id, `limit` at a time."""
    where = [col(Customer.name).icontains(name, autoescape=True)] if name else []
    return records.listed(session, Customer, part, *where)


@router.get("/{customer_id}", response_model=CustomerRecord)
def customer(
    request: Request, session: Database, _: Reader, customer_id: str, if_none_match: IfNoneMatch = None
) -> Response:
    """Give one customer with its ETag; a browser gets the page."""
    row = found(session, Customer, customer_id, "customer")
    return customer_page.show(request, session, row) if wants_page(request) else records.shown(row, if_none_match)


@router.post("", status_code=201, response_model=CustomerRecord, responses=responses(400, 409))
def make_customer(session: Database, who: Writer, now: Now, once: Once, body: CustomerBody) -> Response:
    """Make a customer; repeat safely by Idempotency-Key."""

    def write() -> Response:
        row = Customer(id=numbered(session, Customer, "C"), **body.model_dump())
        return records.make(session, who, now, row, "customer", "/customers")

    return once(session, write)


@router.put("/{customer_id}", response_model=CustomerRecord, responses=responses(400, 409, 412, 428))
def change_customer(
    session: Database, who: Writer, now: Now, once: Once, customer_id: str, body: CustomerBody, if_match: IfMatch = None
) -> Response:
    """Change a customer as a whole, in the version that If-Match names."""

    def write() -> Response:
        row = found(session, Customer, customer_id, "customer")
        return records.change(session, who, now, row, "customer", body.model_dump(), if_match)

    return once(session, write)


@router.delete("/{customer_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_customer(
    session: Database, who: Writer, now: Now, once: Once, customer_id: str, if_match: IfMatch = None
) -> Response:
    """Delete a customer that has no site and no order."""

    def write() -> Response:
        row = found(session, Customer, customer_id, "customer")
        users = {"sites": col(Site.customer_id), "orders": col(Order.customer_id)}
        return records.remove(session, who, now, row, "customer", if_match, users)

    return once(session, write)
