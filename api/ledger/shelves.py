"""What the shelves' books say: what visits have on their vans, what is set aside, and the page of a yard's shelf."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.posted import LONGEST_DAYS

Shelf = tuple[str, str]  # item and yard


def off_shelf(session: Session, visits: Collection[str] | None = None) -> dict[str, dict[str, int]]:
    """Return what visits (None: all open ones) have taken from shelves and not put back: pieces by visit and item."""
    line = tables.StockMove
    sums = sa.select(line.visit_id, line.item, -sa.func.sum(line.pieces)).where(  # type: ignore[call-overload]
        col(line.kind).in_(("taken", "returned"))
    )
    if visits is None:
        sums = sums.join(tables.Visit, col(tables.Visit.id) == line.visit_id).where(col(tables.Visit.state) == "open")
    else:
        sums = sums.where(col(line.visit_id).in_(visits))
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for visit_id, item, pieces in session.execute(sums.group_by(line.visit_id, line.item)):
        if pieces > 0:
            found[visit_id][item] = int(pieces)
    return found


def off_shelves(session: Session, visit_id: str) -> dict[Shelf, int]:
    """Return what one visit has taken and not put back, by shelf."""
    line = tables.StockMove
    sums = sa.select(line.item, line.yard_id, -sa.func.sum(line.pieces)).where(  # type: ignore[call-overload]
        col(line.visit_id) == visit_id, col(line.kind).in_(("taken", "returned"))
    )
    rows = session.execute(sums.group_by(line.item, line.yard_id))
    return {(item, yard_id): int(pieces) for item, yard_id, pieces in rows if pieces > 0}


def held_pieces(session: Session) -> list[tables.Reservation]:
    """Return all that posted weeks have set aside and nobody has taken."""
    row = tables.Reservation
    return list(session.exec(select(row).where(row.state == "held").order_by(col(row.id))))


def held_for(
    session: Session, *, start_date: datetime.date | None = None, visits: Collection[str] = ()
) -> list[tables.Reservation]:
    """Return what is set aside by postings of the week that begins on `start_date`, and by any posting for `visits`."""
    row = tables.Reservation
    postings = select(col(tables.PostedWeek.id)).where(tables.PostedWeek.start_date == start_date)
    of_them = sa.or_(col(row.posted_id).in_(postings), col(row.visit_id).in_(visits))
    return list(session.exec(select(row).where(row.state == "held", of_them).order_by(col(row.id))))


def standing_postings(session: Session, since: datetime.date) -> list[tables.PostedWeek]:
    """Return the postings that stand for weeks not over by `since`: of each week the newest that was not withdrawn."""
    row = tables.PostedWeek
    later = row.start_date > since - datetime.timedelta(days=LONGEST_DAYS)
    rows = select(row).where(later, col(row.withdrawn_at).is_(None)).order_by(col(row.id))
    return list({posted.start_date: posted for posted in session.exec(rows)}.values())


@dataclass(frozen=True)
class Held:
    """What one visit has set aside on a shelf, and for which day."""

    visit_id: str
    pieces: int
    day: datetime.date


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

    def lacks_on(self, today: datetime.date) -> datetime.date | None:
        """Return the first day on which less is here than is set aside until then, with the deliveries due by that day.

        A delivery that is late is expected today. None: there is always enough.
        """
        for day in sorted({max(one.day, today) for one in self.held}):
            wanted = sum(one.pieces for one in self.held if one.day <= day)
            come = sum(delivery.quantity for delivery in self.coming if max(delivery.due_on, today) <= day)
            if wanted > self.stock.on_hand + come:
                return day
        return None


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
