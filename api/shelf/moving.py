"""The yards' shelves: every piece that comes onto one or leaves it is a move, and what posted weeks have set aside.

`StockItem.on_hand` is the running sum of a shelf's moves and is changed with a move only, by one conditional statement:
of moves at the same moment none is lost. A shelf below zero carries its why.
"""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Session, col

from api import tables
from api.http import versions
from api.ledger.history import note
from api.ledger.shelves import Shelf
from scheduler.errors import BadInput


def move(
    session: Session,
    shelf: Shelf,
    kind: str,
    pieces: int,
    *,
    by: str,
    now: datetime.datetime,
    why: str = "",
    visit_id: str | None = None,
    delivery_id: int | None = None,
) -> tables.StockMove:
    """Move `pieces` onto a shelf (negative: off it); `kind` is one of `StockMove`'s.

    Raises `BadInput` for a shelf that there is not, and where it would go below zero without a `why`.
    """
    item, yard_id = shelf
    stock = tables.StockItem
    after = col(stock.on_hand) + pieces
    changed = sa.update(stock).where(col(stock.item) == item, col(stock.yard_id) == yard_id)
    if not why:
        changed = changed.where(sa.or_(after >= 0, sa.literal(pieces) >= 0))
    session.flush()
    done = session.execute(
        changed.values(on_hand=after, version=col(stock.version) + 1)
        .returning(col(stock.on_hand))
        .execution_options(synchronize_session=False)
    ).first()
    row = session.get(stock, shelf, populate_existing=True)
    if row is None:
        raise BadInput("item", f'the {yard_id} yard has no shelf for "{item}"')
    if done is None:
        detail = f"only {row.on_hand} × {item} are on the {yard_id} shelf by the books; count it, or say why"
        raise BadInput("pieces", detail)
    on_hand = int(done[0])
    # A shelf may be below zero still when pieces come onto it: the reason is the one that took it there.
    why = why or ("still below zero: count it" if on_hand < 0 else "")
    made = tables.StockMove(
        item=item, yard_id=yard_id, kind=kind, pieces=pieces, on_hand_after=on_hand, why=why, at=now, by=by,
        visit_id=visit_id, delivery_id=delivery_id,
    )  # fmt: skip
    session.add(made)
    session.flush()
    return made


def begin(session: Session, stock: tables.StockItem, *, by: str, now: datetime.datetime) -> None:
    """Add the first move of a shelf that is new in the database: the count that it stands by."""
    first = tables.StockMove(
        item=stock.item, yard_id=stock.yard_id, kind="count", pieces=stock.on_hand, on_hand_after=stock.on_hand,
        at=now, by=by,
    )  # fmt: skip
    session.add(first)
    session.flush()


def add_item(
    session: Session, shelf: Shelf, name: str, counted: int, *, by: str, now: datetime.datetime, today: datetime.date
) -> tables.StockItem:
    """Make a shelf for an item that the yard has not kept before, counted today; raises `BadInput` where it has."""
    item, yard_id = shelf
    if session.get(tables.Yard, yard_id) is None:
        raise BadInput("yard_id", f'no yard has the id "{yard_id}"')
    if session.get(tables.StockItem, shelf) is not None:
        raise BadInput("item", f'the {yard_id} yard has a shelf for "{item}" already')
    stock = tables.StockItem(item=item, yard_id=yard_id, name=name or item, on_hand=counted, counted_on=today)
    session.add(stock)
    session.flush()
    begin(session, stock, by=by, now=now)
    note(session, now, by, "made", "shelf", f"{item} at {yard_id}", {"on_hand": counted})
    return stock


def count(
    session: Session,
    stock: tables.StockItem,
    counted: int,
    if_match: str | None,
    *,
    by: str,
    now: datetime.datetime,
    today: datetime.date,
) -> tables.StockMove:
    """Set a shelf to what was counted on it, in the version that `if_match` names.

    A shelf that has moved since the counter looked is refused: pieces taken meanwhile are in nobody's count.
    """
    shelf, had = (stock.item, stock.yard_id), stock.on_hand
    sent = {"counted": counted}
    versions.require(if_match, stock, stock.model_dump(mode="json"), sent)
    if not versions.update(session, stock, {"counted_on": today}):
        raise versions.changed(stock.version, stock.model_dump(mode="json"), sent)
    made = move(session, shelf, "count", counted - had, by=by, now=now)
    note(session, now, by, "counted", "shelf", _name(shelf), {"on_hand": [had, counted]})
    return made


def count_to(session: Session, shelf: Shelf, counted: int, *, by: str, now: datetime.datetime) -> None:
    """Set a shelf to a count out of a file, which stands whatever has moved; one that is right already stays so."""
    session.flush()
    of_it = col(tables.StockItem.item) == shelf[0], col(tables.StockItem.yard_id) == shelf[1]
    same = sa.update(tables.StockItem).where(*of_it).values(item=tables.StockItem.item)
    session.execute(same.execution_options(synchronize_session=False))
    stock = session.get_one(tables.StockItem, shelf, populate_existing=True)
    if stock.on_hand != counted:
        move(session, shelf, "count", counted - stock.on_hand, by=by, now=now)


def correct(
    session: Session, shelf: Shelf, pieces: int, why: str, *, by: str, now: datetime.datetime
) -> tables.StockMove:
    """Move pieces that no count, delivery or visit explains, with the reason; raises `BadInput` without one."""
    if not why:
        raise BadInput("why", "say what happened to them")
    if not pieces:
        raise BadInput("pieces", "must not be 0")
    made = move(session, shelf, "correction", pieces, by=by, now=now, why=why)
    note(session, now, by, "corrected", "shelf", _name(shelf), {"pieces": pieces, "why": why})
    return made


def order(
    session: Session, shelf: Shelf, quantity: int, due_on: datetime.date, *, by: str, now: datetime.datetime
) -> tables.Delivery:
    """Note that pieces for a shelf are on order; raises `BadInput` for a shelf that there is not."""
    if session.get(tables.StockItem, shelf) is None:
        raise BadInput("item", f'the {shelf[1]} yard has no shelf for "{shelf[0]}"')
    delivery = tables.Delivery(item=shelf[0], yard_id=shelf[1], quantity=quantity, due_on=due_on)
    session.add(delivery)
    session.flush()
    detail = {"delivery": delivery.id, "quantity": quantity, "due_on": due_on.isoformat()}
    note(session, now, by, "ordered", "shelf", _name(shelf), detail)
    return delivery


def put_off(
    session: Session, delivery: tables.Delivery, due_on: datetime.date, if_match: str | None, *, by: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Set the day on which a delivery is expected, in the version that `if_match` names."""
    before, sent = delivery.due_on, {"due_on": due_on.isoformat()}
    versions.require(if_match, delivery, delivery.model_dump(mode="json"), sent)
    if delivery.arrived_on is not None:
        raise BadInput("", f"delivery {delivery.id} has come already")
    if not versions.update(session, delivery, {"due_on": due_on}):
        raise versions.changed(delivery.version, delivery.model_dump(mode="json"), sent)
    detail = {"due_on": [before.isoformat(), due_on.isoformat()]}
    note(session, now, by, "changed", "delivery", str(delivery.id), detail)


def receive(
    session: Session, delivery: tables.Delivery, pieces: int, if_match: str | None, *, by: str,
    now: datetime.datetime, today: datetime.date,
) -> tables.StockMove:  # fmt: skip
    """Put what came of a delivery on the shelf; the rest stays on its way, in a row of its own.

    `if_match` names the version of the delivery: two who unpack the same boxes book them once. More than was ordered is
    taken as it came.
    """
    sent = {"pieces": pieces}
    versions.require(if_match, delivery, delivery.model_dump(mode="json"), sent)
    if delivery.arrived_on is not None:
        raise BadInput("", f"delivery {delivery.id} has come already")
    if pieces < 1:
        raise BadInput("pieces", f"must be 1 or more, is {pieces}")
    left = delivery.quantity - pieces
    if not versions.update(session, delivery, {"arrived_on": today, "quantity": pieces}):
        raise versions.changed(delivery.version, delivery.model_dump(mode="json"), sent)
    shelf = (delivery.item, delivery.yard_id)
    if left > 0:
        session.add(tables.Delivery(item=shelf[0], yard_id=shelf[1], quantity=left, due_on=delivery.due_on))
    made = move(session, shelf, "receipt", pieces, by=by, now=now, delivery_id=delivery.id)
    detail = {"delivery": delivery.id, "pieces": pieces, "to_come": max(0, left)}
    note(session, now, by, "received", "shelf", _name(shelf), detail)
    return made


def _name(shelf: Shelf) -> str:
    return f"{shelf[0]} at {shelf[1]}"
