"""Sites, where the work is, as JSON records."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response
from sqlmodel import Session, col

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.ids import new_id
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import responses
from api.http.versions import IfMatch, IfNoneMatch
from api.routes import records
from api.routes.lists import Parts
from api.tables import Customer, Order, Site, SiteSurvey, Visit
from scheduler.errors import BadInput

router = APIRouter(prefix="/sites", tags=["sites"])
Reader = Annotated[Who, allow(*LOOKERS)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]


class SiteBody(records.Body):
    """A site without its id; `built` is the year of the house, null where unknown."""

    customer_id: Annotated[str, limit("site.customer_id")]
    town: Annotated[str, limit("site.town")]
    address: Annotated[str, limit("site.address")]
    lat: Annotated[float, limit("site.lat")]
    lon: Annotated[float, limit("site.lon")]
    storeys: Annotated[int, limit("site.storeys")] = 1
    built: Annotated[int, limit("site.built")] | None = None
    access: Annotated[str, limit("site.access")] = ""


class SiteRecord(SiteBody):
    id: str
    version: int


class SiteList(records.Body):
    items: list[SiteRecord]
    next: str | None


@router.get("", response_model=SiteList)
def sites(
    session: Database,
    _: Reader,
    part: Parts,
    customer: Annotated[records.Words | None, Query(max_length=80, description="the id of the sites' customer")] = None,
) -> Response:
    """List sites by id, `limit` at a time."""
    where = [col(Site.customer_id) == customer] if customer else []
    return records.listed(session, Site, part, *where)


@router.get("/{site_id}", response_model=SiteRecord)
def site(session: Database, _: Reader, site_id: str, if_none_match: IfNoneMatch = None) -> Response:
    """Give one site with its ETag."""
    return records.shown(found(session, Site, site_id, "site"), if_none_match)


@router.post("", status_code=201, response_model=SiteRecord, responses=responses(400, 409))
def make_site(session: Database, who: Writer, now: Now, once: Once, body: SiteBody) -> Response:
    """Make a site of a customer; repeat safely by Idempotency-Key."""

    def write() -> Response:
        _check_customer(session, body)
        row = Site(id=new_id("S"), **body.model_dump())
        return records.make(session, who, now, row, "site", "/sites")

    return once(session, write)


@router.put("/{site_id}", response_model=SiteRecord, responses=responses(400, 409, 412, 428))
def change_site(
    session: Database, who: Writer, now: Now, once: Once, site_id: str, body: SiteBody, if_match: IfMatch = None
) -> Response:
    """Change a site as a whole, in the version that If-Match names."""

    def write() -> Response:
        row = found(session, Site, site_id, "site")
        _check_customer(session, body)
        return records.change(session, who, now, row, "site", body.model_dump(), if_match)

    return once(session, write)


@router.delete("/{site_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_site(
    session: Database, who: Writer, now: Now, once: Once, site_id: str, if_match: IfMatch = None
) -> Response:
    """Delete a site that has no order, survey or visit."""

    def write() -> Response:
        row = found(session, Site, site_id, "site")
        users = {"orders": col(Order.site_id), "surveys": col(SiteSurvey.site_id), "visits": col(Visit.site_id)}
        return records.remove(session, who, now, row, "site", if_match, users)

    return once(session, write)


def _check_customer(session: Session, body: SiteBody) -> None:
    if session.get(Customer, body.customer_id) is None:
        raise BadInput("customer_id", f'no customer has the id "{body.customer_id}"')
