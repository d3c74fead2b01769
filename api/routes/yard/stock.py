"""The yards' shelves: what is on hand, set aside, free and coming; counts, deliveries and corrections."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import msgspec
from fastapi import Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now, local_day, local_moments
from api.fields.files.sheets import date
from api.fields.limits import as_sent
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses, wants_page
from api.http.subject import Subject
from api.http.versions import IfMatch, etag
from api.routes.lists import ListPart, parts_of
from api.routes.records import Words
from api.shelf import moving
from api.shelf.books import YardShelf, moves_of, shelves
from scheduler.errors import BadInput

router = Subject(tags=("shelf",))
Reader = Annotated[Who, allow(*STAFF)]
Counter = Annotated[Who, allow(Role.manager, Role.office, Role.lead)]
Office = Annotated[Who, allow(Role.manager, Role.office)]
ItemName = Annotated[str, Form(), as_sent("stock_item.item")]
YardId = Annotated[str, Form(), as_sent("stock_item.yard_id")]
Pieces = Annotated[int, Form(), as_sent("stock_item.on_hand")]
Day = Annotated[str, Form(min_length=10, max_length=10, description="a date such as 2027-04-12")]
Version = Annotated[int | None, Form(description="the version that is changed, in place of If-Match")]
WRITES: dict[int | str, dict[str, Any]] = {303: {"description": "to a form: the way back to its page"}}


@router.get("/stock")
def stock(
    request: Request, session: Database, _: Reader, now: Now,
    yard: Annotated[Words | None, Query(max_length=80, description="only this yard's")] = None,
) -> Response:  # fmt: skip
    """Show what is on each yard's shelf, set aside by posted weeks, free, and coming."""
    yards = shelves(session, yard or None)
    if wants_json(request):
        return _json({"yards": [_yard(one) for one in yards]})
    values = {"yards": yards, "yard": yard or "", "at": local_moments(session), "today": local_day(session, now)}
    return page(request, "shelf/stock.html", values)


@router.get("/stock/moves")
def moves(
    request: Request, session: Database, _: Reader,
    item: Annotated[Words, Query(max_length=120)],
    yard: Annotated[Words, Query(max_length=80)],
    part: Annotated[ListPart, parts_of(100)],
    before: Annotated[
        int | None, Query(ge=1, lt=2**31, deprecated=True, description="what `after` was called before")
    ] = None,
) -> Response:  # fmt: skip
    """Show what came onto one shelf and left it, the newest first, `limit` at a time."""
    most = part.most
    of = found(session, tables.StockItem, (item, yard), "shelf")
    rows = moves_of(session, (item, yard), part.number or before, most + 1)
    rows, older = rows[:most], rows[most - 1].id if len(rows) > most else None
    if wants_json(request):
        return part.answer({"items": [row.model_dump(mode="json") for row in rows], "next": older}, older)
    return page(request, "shelf/moves.html", {"stock": of, "moves": rows, "older": older, "at": local_moments(session)})


@router.post("/stock/counts", responses=WRITES | responses(400, 409, 412, 428))
def count(
    request: Request, session: Database, who: Counter, now: Now, once: Once,
    item: ItemName, yard_id: YardId, counted: Pieces, version: Version = None, if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Set a shelf to what was counted; refused where pieces were moved since the caller looked."""

    def write() -> Response:
        row = _shelf(session, item, yard_id)
        match = if_match if if_match is not None or version is None else etag(version)
        moving.count(session, row, counted, match, by=who.name, now=now, today=local_day(session, now))
        return _answer(request, session, yard_id)

    return once(session, write)


@router.post("/stock/corrections", responses=WRITES | responses(400, 409))
def correct(
    request: Request, session: Database, who: Office, now: Now, once: Once,
    item: ItemName, yard_id: YardId,
    pieces: Annotated[int, Form(description="negative: off the shelf"), as_sent("stock_move.pieces")],
    why: Annotated[str, Form(), as_sent("stock_move.why")],
) -> Response:  # fmt: skip
    """Move pieces that no count, delivery or visit explains, with the reason."""

    def write() -> Response:
        _shelf(session, item, yard_id)
        moving.correct(session, (item, yard_id), pieces, why.strip(), by=who.name, now=now)
        return _answer(request, session, yard_id)

    return once(session, write)


@router.post("/stock/items", status_code=201, responses=WRITES | responses(400, 409))
def add_item(
    request: Request, session: Database, who: Office, now: Now, once: Once,
    item: ItemName, yard_id: YardId, counted: Pieces = 0, name: Annotated[Words, Form(max_length=120)] = "",
) -> Response:  # fmt: skip
    """Make a shelf for an item that a yard has not kept before."""

    def write() -> Response:
        today = local_day(session, now)
        moving.add_item(session, (item.strip(), yard_id), name.strip(), counted, by=who.name, now=now, today=today)
        return _answer(request, session, yard_id, 201)

    return once(session, write)


@router.post("/stock/deliveries", status_code=201, responses=WRITES | responses(400, 409))
def order(
    request: Request, session: Database, who: Office, now: Now, once: Once,
    item: ItemName, yard_id: YardId, quantity: Annotated[int, Form(), as_sent("delivery.quantity")], due_on: Day,
) -> Response:  # fmt: skip
    """Note that pieces for a shelf are on order."""

    def write() -> Response:
        moving.order(session, (item, yard_id), quantity, _date(due_on), by=who.name, now=now)
        return _answer(request, session, yard_id, 201)

    return once(session, write)


@router.post("/stock/deliveries/{delivery_id}", responses=WRITES | responses(400, 409, 412, 428))
def put_off(
    request: Request, session: Database, who: Office, now: Now, once: Once, delivery_id: int,
    due_on: Day, version: Version = None, if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Set the day on which a delivery is expected."""

    def write() -> Response:
        row = _delivery(session, delivery_id)
        match = if_match if if_match is not None or version is None else etag(version)
        moving.put_off(session, row, _date(due_on), match, by=who.name, now=now)
        return _answer(request, session, row.yard_id)

    return once(session, write)


@router.post("/stock/deliveries/{delivery_id}/received", responses=WRITES | responses(400, 409, 412, 428))
def receive(
    request: Request, session: Database, who: Counter, now: Now, once: Once, delivery_id: int,
    pieces: Annotated[int, Form(), as_sent("delivery.quantity")], version: Version = None, if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Put what came of a delivery on the shelf; the rest stays on its way."""

    def write() -> Response:
        row = _delivery(session, delivery_id)
        match = if_match if if_match is not None or version is None else etag(version)
        moving.receive(session, row, pieces, match, by=who.name, now=now, today=local_day(session, now))
        return _answer(request, session, row.yard_id)

    return once(session, write)


def _shelf(session: Session, item: str, yard_id: str) -> tables.StockItem:
    row = session.get(tables.StockItem, (item, yard_id))
    if row is None:
        raise BadInput("item", f'the {yard_id} yard has no shelf for "{item}"')
    return row


def _delivery(session: Session, delivery_id: int) -> tables.Delivery:
    if not 0 < delivery_id < 2**31:
        raise Problem(404, f'No delivery has the id "{delivery_id}".')
    return found(session, tables.Delivery, delivery_id, "delivery")


def _date(text: str) -> datetime.date:
    try:
        return date(text)
    except BadInput as fault:
        raise BadInput("due_on", fault.problem) from None


def _answer(request: Request, session: Session, yard_id: str, status: int = 200) -> Response:
    """Return the yard's shelf as it is now to a program, the way back to it to a form."""
    if wants_page(request):
        return RedirectResponse(f"/stock#yard-{yard_id}", 303)
    session.flush()
    session.expire_all()
    return _json({"yards": [_yard(one) for one in shelves(session, yard_id)]}, status)


def _yard(one: YardShelf) -> dict[str, Any]:
    items = [
        {
            **line.stock.model_dump(mode="json"),
            "set_aside": line.set_aside,
            "free": line.free,
            "held": [{"visit": h.visit_id, "pieces": h.pieces, "day": h.day.isoformat()} for h in line.held],
            "coming": [delivery.model_dump(mode="json") for delivery in line.coming],
        }
        for line in one.lines
    ]
    return {"yard": one.yard.id, "name": one.yard.name, "items": items}


def _json(value: Any, status: int = 200) -> Response:
    return Response(msgspec.json.encode(value), status, None, "application/json")
