"""Messages that a posting asks for: one for each customer whose time is not what was told."""

from __future__ import annotations

import datetime
import zoneinfo
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from api import tables
from api.ledger.told import told_now
from api.messages.telling import as_spot, draft, spots_of, tells
from scheduler.price import RETIME_FROM_MIN

if TYPE_CHECKING:
    from api.ledger.plans.posted import Posted


def when_posted(session: Session, posted: Posted) -> None:
    """Draft a message for each visit whose posted time differs from what its customer was told.

    Visits of open cases are left to their case; where the newest message tells of the same spot already, there is none,
    whatever became of it.
    """
    in_case = {row.visit_id for row in session.exec(select(tables.CaseVisit).where(tables.CaseVisit.state == "open"))}
    told = {b.visit_id: b for b in session.exec(_in_week(posted)).all()}
    planned = spots_of(posted.plan, posted.row.start_date)
    last = {m.visit_id: m for m in session.exec(_about({*planned, *told})).all()}  # the newest of each visit stays
    local = posted.now.astimezone(zoneinfo.ZoneInfo(posted.week.timezone))
    for visit_id, spot in planned.items():
        date = datetime.date.fromisoformat(spot["date"])
        if visit_id in in_case or (date, spot["start"]) <= (local.date(), local.hour * 60 + local.minute):
            continue
        booking = told.pop(visit_id, None) or told_now(session, visit_id)
        spot |= {"hold": "soft" if booking is None else booking.hold}
        known = last.get(visit_id)
        if known is not None and tells(known.spot, spot):
            continue
        if booking is not None and booking.day == date and abs(booking.start - spot["start"]) <= RETIME_FROM_MIN:
            continue
        draft(
            session, visit_id, spot, before=as_spot(booking), why="" if booking is None else "moved", now=posted.now,
            by=posted.by,
        )  # fmt: skip
    for visit_id, booking in told.items():
        visit = session.get_one(tables.Visit, visit_id)
        gone = visit_id not in planned and visit_id not in in_case and visit.state == "open"
        known = last.get(visit_id)
        if gone and booking.day >= local.date() and not (known is not None and known.spot is None):
            draft(session, visit_id, None, before=as_spot(booking), why="other", now=posted.now, by=posted.by)


def _about(visit_ids: set[str]) -> Any:
    wanted = select(tables.Message).where(col(tables.Message.visit_id).in_(visit_ids), tables.Message.kind == "time")
    return wanted.order_by(col(tables.Message.id))


def _in_week(posted: Posted) -> Any:
    after = posted.row.start_date + datetime.timedelta(days=posted.week.days)
    return select(tables.Booking).where(
        tables.Booking.day >= posted.row.start_date,
        tables.Booking.day < after,
        col(tables.Booking.withdrawn_at).is_(None),
    )
