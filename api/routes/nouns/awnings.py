"""Awnings of orders, with the list that the maker packs, as JSON records."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import Query
from fastapi.responses import Response
from pydantic import Field
from sqlmodel import Session, col, select

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.numbers import numbered
from api.routes import records
from api.routes.asking import Asked
from api.routes.lists import Parts
from api.tables import Awning, MakerOrder, MakerPart, Order, SiteSurvey, Visit, Yard
from scheduler.errors import BadInput

router = Subject(prefix="/awnings", tags=("awnings",))
Reader = Annotated[Who, allow(*LOOKERS)]
Writer = Annotated[Who, allow(Role.manager, Role.office)]
Item = Annotated[str, limit("maker_part.item")]
Pieces = Annotated[int, limit("maker_part.quantity")]


class AwningBody(records.Body):
    """An awning without its id; `parts` is what the maker packs with it, item and quantity.

    Its crates lie at `yard_id` from `arrives_on` on; null: the maker has named no day.
    """

    order_id: Annotated[str, limit("awning.order_id")]
    model: Annotated[str, limit("awning.model")]
    width_mm: Annotated[int, limit("awning.width_mm")]
    projection_mm: Annotated[int, limit("awning.projection_mm")]
    weight_kg: Annotated[int, limit("awning.weight_kg")]
    box_mm: Annotated[int, limit("awning.box_mm")]
    boxes: Annotated[int, limit("awning.boxes")] = 1
    motor: Annotated[str, limit("awning.motor")] | None = None
    cloth: Annotated[str, limit("awning.cloth")] = ""
    yard_id: Annotated[str, limit("awning.yard_id")]
    arrives_on: Annotated[datetime.date, limit("awning.arrives_on")] | None = None
    parts: Annotated[dict[Item, Pieces], Field(max_length=500, default_factory=dict)]


class AwningRecord(AwningBody):
    id: str
    version: int


class AwningList(records.Body):
    items: list[AwningRecord]
    next: str | None


@router.get("", response_model=AwningList)
def awnings(
    session: Database,
    _: Reader,
    part: Parts,
    order: Annotated[records.Words | None, Query(max_length=80, description="the id of the order")] = None,
) -> Response:
    """List awnings by id, `limit` at a time."""
    where = [col(Awning.order_id) == order] if order else []
    return records.listed(session, Awning, part, *where, also=_parts)


@router.get("/{awning_id}", response_model=AwningRecord)
def awning(session: Database, _: Reader, awning_id: str, if_none_match: IfNoneMatch = None) -> Response:
    """Give one awning with its ETag."""
    row = found(session, Awning, awning_id, "awning")
    return records.shown(row, if_none_match, also=_parts(session, [row.id])[row.id])


@router.post("", status_code=201, response_model=AwningRecord, responses=responses(400, 409))
def make_awning(session: Database, who: Writer, now: Now, once: Once, body: AwningBody) -> Response:
    """Make an awning of an order; repeat safely by Idempotency-Key."""

    def write() -> Response:
        _check(session, body)
        row = Awning(id=numbered(session, Awning, "A", body.order_id), **body.model_dump(exclude={"parts"}))
        session.add(row)
        session.flush()
        _pack(session, row.id, body.parts)
        return records.make(session, who, now, row, "awning", "/awnings", also={"parts": body.parts})

    return once(session, write)


@router.put("/{awning_id}", response_model=AwningRecord, responses=responses(400, 409, 412, 428))
def change_awning(
    session: Database,
    who: Writer,
    now: Now,
    once: Once,
    asked: Asked,
    awning_id: str,
    body: AwningBody,
    if_match: IfMatch = None,
) -> Response:
    """Change an awning as a whole, in the version that If-Match names."""

    def write() -> Response:
        row = found(session, Awning, awning_id, "awning")
        _check(session, body)
        before = _parts(session, [row.id])[row.id]
        values = body.model_dump(exclude={"parts"})
        answer = records.change(
            session, who, now, row, "awning", values, if_match, before=before, after={"parts": body.parts}
        )
        _pack(session, row.id, body.parts)
        return answer

    return once(session, asked(session, write))


@router.delete("/{awning_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_awning(
    session: Database, who: Writer, now: Now, once: Once, awning_id: str, if_match: IfMatch = None
) -> Response:
    """Delete an awning that has no survey and no visit, with its list."""

    def write() -> Response:
        row = found(session, Awning, awning_id, "awning")
        _pack(session, row.id, {})
        users = {
            "surveys": col(SiteSurvey.awning_id), "visits": col(Visit.awning_id),
            "orders to makers": col(MakerOrder.awning_id),
        }  # fmt: skip
        return records.remove(session, who, now, row, "awning", if_match, users)

    return once(session, write)


def _check(session: Session, body: AwningBody) -> None:
    if session.get(Order, body.order_id) is None:
        raise BadInput("order_id", f'no order has the id "{body.order_id}"')
    if session.get(Yard, body.yard_id) is None:
        raise BadInput("yard_id", f'no yard has the id "{body.yard_id}"')


def _parts(session: Session, awning_ids: list[str]) -> dict[str, dict[str, Any]]:
    parts: dict[str, dict[str, int]] = {awning_id: {} for awning_id in awning_ids}
    wanted = select(MakerPart).where(col(MakerPart.awning_id).in_(awning_ids))
    for part in session.exec(wanted.order_by(col(MakerPart.item))):
        parts[part.awning_id][part.item] = part.quantity
    return {awning_id: {"parts": listed} for awning_id, listed in parts.items()}


def _pack(session: Session, awning_id: str, parts: Mapping[str, int]) -> None:
    """Make the maker's list what `parts` says."""
    session.execute(sa.delete(MakerPart).where(col(MakerPart.awning_id) == awning_id))
    session.add_all(MakerPart(awning_id=awning_id, item=item, quantity=quantity) for item, quantity in parts.items())
    session.flush()
