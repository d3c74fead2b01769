"""When a crew set out for a visit and came there: one tap each, by the phone's own clock."""

from __future__ import annotations

import datetime
from typing import Literal

from sqlmodel import Session, col, select

from api import tables
from api.ledger.plans.posted_days import Act, PostedDay

What = Literal["on_way", "here"]
WORDS: dict[What, str] = {"on_way": "set out", "here": "came"}


def note_time(
    session: Session, day: PostedDay, visit: tables.Visit, what: What, noted: bool, act: Act
) -> tables.StopTime | None:
    """Note that the crew sets out for a visit or has come there, or take that back; what is noted first counts."""
    row = session.get(tables.StopTime, (visit.id, day.day, what))
    if not noted:
        if row is not None:
            session.delete(row)
            act.note(session, f"took back: {WORDS[what]}", "visit", visit.id, {"crew": day.crew_id})
        return None
    if row is None:
        row = tables.StopTime(
            visit_id=visit.id, day=day.day, what=what, crew_id=day.crew_id, at=act.at, noted_by=act.by
        )
        session.add(row)
        act.note(session, WORDS[what], "visit", visit.id, {"crew": day.crew_id})
    return row


def stop_times(
    session: Session, visit_ids: tuple[str, ...], day: datetime.date
) -> dict[str, dict[str, tables.StopTime]]:
    """Return what is noted of visits on `day`, by visit and by what it is."""
    rows = select(tables.StopTime).where(
        tables.StopTime.day == day, col(tables.StopTime.visit_id).in_(visit_ids or ("",))
    )
    found: dict[str, dict[str, tables.StopTime]] = {visit: {} for visit in visit_ids}
    for row in session.exec(rows):
        found[row.visit_id][row.what] = row
    return found
