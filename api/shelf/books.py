"""The page of a yard's shelf: what is on hand, set aside, free and coming, and the moves that made it so."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.shelves import Shelf


@dataclass(frozen=True)
class Held:
    """What one visit has set aside on a shelf, and for which day."""

    visit_id: str
    pieces: int
    day: datetime.date


@dataclass(frozen=True)
class RunsOut:
    """The first day on which a shelf holds less than is set aside until then, and how many pieces it lacks at worst."""

    day: datetime.date
    pieces: int


@dataclass(frozen=True)
class ShelfLine:
    """One item on a yard's shelf; `why` explains a shelf below zero, `last` is its last move."""

    stock: tables.StockItem
    held: list[Held]
    coming: list[tables.Delivery]
    last: tables.StockMove | None

    @property
    def set_aside(self) -> int:
        return sum(one.pieces for one in self.held)

    @property
    def free(self) -> int:
        """Return what nobody has set aside; below 0 where more is promised than there is."""
        return self.stock.on_hand - self.set_aside

    def runs_out(self, today: datetime.date, *, with_coming: bool = True) -> RunsOut | None:
        """Return when less is here than is set aside until then; None: there is always enough.

        with_coming: count the deliveries due by a day, a late one as expected today; False: nothing more comes.
        """
        first, worst = None, 0
        for day in sorted({max(one.day, today) for one in self.held}):
            wanted = sum(one.pieces for one in self.held if one.day <= day)
            due = (delivery for delivery in self.coming if with_coming and max(delivery.due_on, today) <= day)
            lacking = wanted - self.stock.on_hand - sum(delivery.quantity for delivery in due)
            if lacking > 0:
                first, worst = first or day, max(worst, lacking)
        return None if first is None else RunsOut(first, worst)


@dataclass(frozen=True)
class YardShelf:
    """The shelf of one yard, its items by name."""

    yard: tables.Yard
    lines: list[ShelfLine]


def shelves(session: Session, yard_id: str | None = None) -> list[YardShelf]:
    """Return the shelves of all yards, or of one."""
    stock, row, order = tables.StockItem, tables.Reservation, tables.Delivery
    held: dict[Shelf, list[Held]] = defaultdict(list)
    open_holds = (
        select(row)
        .join(tables.Visit, col(tables.Visit.id) == row.visit_id)
        .where(row.state == "held", tables.Visit.state == "open")
    )
    for one in session.exec(open_holds.order_by(col(row.day), col(row.visit_id))):
        held[one.item, one.yard_id].append(Held(one.visit_id, one.pieces, one.day))
    coming: dict[Shelf, list[tables.Delivery]] = defaultdict(list)
    for delivery in session.exec(select(order).where(col(order.arrived_on).is_(None)).order_by(col(order.due_on))):
        coming[delivery.item, delivery.yard_id].append(delivery)
    line = tables.StockMove
    newest = sa.select(sa.func.max(col(line.id))).group_by(col(line.item), col(line.yard_id))
    last = {(move.item, move.yard_id): move for move in session.exec(select(line).where(col(line.id).in_(newest)))}
    yards = select(tables.Yard).order_by(col(tables.Yard.id))
    found = {yard.id: YardShelf(yard, []) for yard in session.exec(yards) if yard_id in (None, yard.id)}
    for item in session.exec(select(stock).order_by(col(stock.name), col(stock.item))):
        if item.yard_id in found:
            shelf = (item.item, item.yard_id)
            lines = found[item.yard_id].lines
            lines.append(ShelfLine(item, held.get(shelf, []), coming.get(shelf, []), last.get(shelf)))
    return list(found.values())


def moves_of(session: Session, shelf: Shelf, before: int | None, limit: int) -> list[tables.StockMove]:
    """Return a shelf's moves, the newest first, those before the move `before`."""
    line = tables.StockMove
    rows = select(line).where(line.item == shelf[0], line.yard_id == shelf[1])
    if before is not None:
        rows = rows.where(col(line.id) < before)
    return list(session.exec(rows.order_by(col(line.id).desc()).limit(limit)))
