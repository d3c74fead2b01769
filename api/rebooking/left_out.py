"""Promised visits that the posted week does not take on: nobody goes there, and their customers wait for somebody."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.jobs.listed import places
from api.ledger.plans.named import named
from api.ledger.plans.posted import posted_on
from api.messages.telling import OPEN


def left_out(session: Session, today: datetime.date, besides: Collection[str] = ()) -> list[dict[str, Any]]:
    """Return the open visits whose customers were told a day from `today` on that a posted week holds without them.

    besides: visits that are looked after elsewhere, such as in a case. Each line has the visit's names, the `date`,
    `start` (minutes after midnight) and `crew` that were told, and `to_tell`: whether a message is still to be told.
    """
    visit, booking, message = tables.Visit, tables.Booking, tables.Message
    told: dict[str, tables.Booking] = {}
    rows = select(booking).join(visit, col(visit.id) == booking.visit_id)
    rows = rows.where(col(booking.withdrawn_at).is_(None), visit.state == "open", booking.day >= today)
    for row in session.exec(rows.order_by(col(booking.id))):
        told[row.visit_id] = row
    stops = places(session).stops
    lost = []
    for visit_id, row in told.items():
        where = stops.get(visit_id)
        on_it = where is not None and where.posted and where.date >= today
        if not on_it and visit_id not in besides and posted_on(session, row.day) is not None:
            lost.append(row)
    waiting = select(message.visit_id).where(
        col(message.visit_id).in_([row.visit_id for row in lost]), col(message.state).in_(OPEN)
    )
    to_tell = set(session.exec(waiting)) if lost else set()
    found: list[dict[str, Any]] = []
    for row in sorted(lost, key=lambda row: (row.day, row.start, row.visit_id)):
        name = named(session, row.visit_id)
        line = {"visit": row.visit_id, "what": name.what, "customer": name.customer, "town": name.town}
        told_for = {"date": row.day.isoformat(), "start": row.start, "crew": row.crew_id}
        found.append(line | told_for | {"to_tell": row.visit_id in to_tell})
    return found
