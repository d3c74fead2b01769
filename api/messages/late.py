"""What a customer is told on the day when the crew runs late: the promise stays, and the hour is said."""

from __future__ import annotations

import datetime

from sqlmodel import Session

from api import tables
from api.ledger.history import note
from api.messages.telling import drop_drafts
from api.messages.words import Spot, late_words, written

STEP_MIN = 5


def draft_late(
    session: Session, visit_id: str, spot: Spot, told: int, expected: int, *, now: datetime.datetime, by: str
) -> tables.Message:
    """Draft that the crew comes to the posted `spot` only at about the minute `expected`, not at `told`.

    Earlier drafts that said so are dropped; the hour is said in fives, and never too early.
    """
    drop_drafts(session, visit_id, "late")
    about = -(-expected // STEP_MIN) * STEP_MIN
    said = written(session, visit_id, lambda: late_words(session, visit_id, {**spot, "start": told}, about))
    message = tables.Message(
        **said, visit_id=visit_id, kind="late", expected=about, spot=dict(spot), made_at=now, made_by=by
    )
    session.add(message)
    session.flush()
    note(session, now, by, "drafted", "message", str(message.id), {"visit": visit_id, "late until": about})
    return message
