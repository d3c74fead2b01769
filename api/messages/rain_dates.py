"""What a customer is told of a rain date: which second day is kept for them, or that none is any more."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.ledger.history import note
from api.ledger.told import told_now
from api.messages.telling import OPEN, drop_drafts
from api.messages.words import MessageWords, gone_by_words, no_rain_date_words, rain_date_words, written

KIND = "rain date"


def draft_rain_date(
    session: Session, row: tables.RainDate, *, now: datetime.datetime, by: str, told: bool = False
) -> None:
    """Draft what the customer is to be told of a rain date; earlier drafts of it are dropped.

    told: of one that is not kept any more, whether they know of it: else there is nothing to say.
    """
    drop_drafts(session, row.visit_id, KIND)
    kept = row.state == "kept"
    if not kept and not told:
        return
    say = rain_date_words if kept else no_rain_date_words
    _draft(session, row, lambda: say(session, row), _spot(row) if kept else None, now, by)


def draft_gone_by(session: Session, row: tables.RainDate, *, now: datetime.datetime, by: str) -> bool:
    """Draft what the customer is told whose rain date went by without the visit; say whether that was to be done.

    It is not where they know neither of it nor of the first day, where they were written to already, and where a
    message of the visit itself is still to be told.
    """
    booking, knows = told_now(session, row.visit_id), was_told(session, row)
    if booking is None and not knows:
        return False
    message = tables.Message
    rows = session.exec(select(message).where(message.visit_id == row.visit_id, message.made_at >= row.made_at)).all()
    if any(one.kind == "time" and one.state in OPEN for one in rows) or any(map(tells_gone_by(row), rows)):
        return False
    drop_drafts(session, row.visit_id, KIND, "late", "reminder")
    first = None if booking is None else booking.day
    _draft(session, row, lambda: gone_by_words(session, row, first or row.first_day, row.day if knows else None),
           None, now, by)  # fmt: skip
    return True


def tells_gone_by(row: tables.RainDate) -> Callable[[tables.Message], bool]:
    """Return what says of a message of the visit whether it tells that this rain date went by."""
    return lambda one: one.kind == KIND and one.spot is None and one.made_at.date() >= row.day


def of_gone_by(session: Session, row: tables.RainDate) -> str:
    """Return how it stands with the message that this rain date went by: "to tell", "told", empty: there is none."""
    rows = session.exec(select(tables.Message).where(tables.Message.visit_id == row.visit_id)).all()
    states = {one.state for one in rows if one.made_at >= row.made_at and tells_gone_by(row)(one)}
    return "to tell" if states & set(OPEN) else "told" if "told" in states else ""


def _draft(
    session: Session, row: tables.RainDate, say: Callable[[], MessageWords], spot: dict[str, Any] | None,
    now: datetime.datetime, by: str,
) -> None:  # fmt: skip
    said = written(session, row.visit_id, say)
    message = tables.Message(**said, visit_id=row.visit_id, kind=KIND, spot=spot, made_at=now, made_by=by)
    session.add(message)
    session.flush()
    detail = {"visit": row.visit_id, KIND: row.day.isoformat()}
    note(session, now, by, "drafted", "message", str(message.id), detail)


def was_told(session: Session, row: tables.RainDate) -> bool:
    """Say whether the customer has been told of this rain date."""
    message = tables.Message
    rows = select(message.spot).where(
        message.visit_id == row.visit_id, message.kind == KIND, col(message.state).in_(("told", "sending")),
        message.made_at >= row.made_at,
    )  # fmt: skip
    return _spot(row) in list(session.exec(rows))


def _spot(row: tables.RainDate) -> dict[str, Any]:
    return {"crew": row.crew_id, "date": row.day.isoformat(), "start": row.start, "end": row.end, "hold": "day"}
