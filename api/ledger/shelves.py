"""What the shelves' books say: what visits have on their vans, what is set aside, and the page of a yard's shelf."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.plans.posted import LONGEST_DAYS

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
