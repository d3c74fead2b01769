"""Sites, where the work is, as JSON records."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import Response
from sqlmodel import Session, col

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.exchange.importing import stand_in
from api.fields.addresses.streets import question_of
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.numbers import numbered
from api.routes import records
from api.routes.asking import Asked
from api.routes.lists import Parts
from api.tables import Customer, Order, Site, SiteSurvey, Visit
from scheduler.errors import BadInput

router = Subject(prefix="/sites", tags=("sites",))
Reader = Annotated[Who, allow(*LOOKERS)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]


class SiteBody(records.Body):
    """A site without its id; `built` is the year of the house, null where unknown.

    Without `lat` and `lon` it gets the place of its address where that is known for sure, else it waits to be put on
    the map. With `placed` false they only stand in: so a record can be sent back as it was read.
    """

    customer_id: Annotated[str, limit("site.customer_id")]
    town: Annotated[str, limit("site.town")]
    address: Annotated[str, limit("site.address")]
    lat: Annotated[float, limit("site.lat")] | None = None
    lon: Annotated[float, limit("site.lon")] | None = None
    placed: bool = True
    storeys: Annotated[int, limit("site.storeys")] = 1
    built: Annotated[int, limit("site.built")] | None = None
    access: Annotated[str, limit("site.access")] = ""


class SiteRecord(SiteBody):
    """A site; not `placed`: its address waits to be put on the map, and what stands under `lat` and `lon` stands in."""

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
def make_site(
    request: Request, session: Database, who: Writer, now: Now, once: Once, body: SiteBody
) -> Response:  # fmt: skip
    """Make a site of a customer; repeat safely by Idempotency-Key."""
    place = _place(request, session, body, None)

    def write() -> Response:
        _check_customer(session, body)
        row = Site(id=numbered(session, Site, "S", body.customer_id), **{**body.model_dump(), **place})
        return records.make(session, who, now, row, "site", "/sites")

    return once(session, write)


@router.put("/{site_id}", response_model=SiteRecord, responses=responses(400, 409, 412, 428))
def change_site(
    request: Request, session: Database, who: Writer, now: Now, once: Once, asked: Asked, site_id: str, body: SiteBody,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Change a site as a whole, in the version that If-Match names; without `lat` and `lon` it stays where it is."""
    place = _place(request, session, body, found(session, Site, site_id, "site"))

    def write() -> Response:
        row = found(session, Site, site_id, "site")
        _check_customer(session, body)
        return records.change(session, who, now, row, "site", {**body.model_dump(), **place}, if_match)

    return once(session, asked(session, write))


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


def _place(request: Request, session: Session, body: SiteBody, held: Site | None) -> dict[str, Any]:
    """Return where a site is: as sent, as it was, or where its address is for sure; else what stands in."""
    if (body.lat is None) != (body.lon is None):
        raise BadInput("lat" if body.lat is None else "lon", "is missing: give both or neither")
    if body.lat is not None:
        return {"lat": body.lat, "lon": body.lon, "placed": body.placed}
    if held is not None and question_of(body.address, body.town) == question_of(held.address, held.town):
        return {"lat": held.lat, "lon": held.lon, "placed": held.placed}
    sure = request.app.state.places.find(body.address, body.town).sure
    return {"lat": sure.lat, "lon": sure.lon, "placed": True} if sure else stand_in(session, body.town)


def _check_customer(session: Session, body: SiteBody) -> None:
    if session.get(Customer, body.customer_id) is None:
        raise BadInput("customer_id", f'no customer has the id "{body.customer_id}"')
