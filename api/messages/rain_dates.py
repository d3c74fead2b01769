"""What a customer is told of a rain date: which second day is kept for them, or that none is any more."""

from __future__ import annotations

import datetime
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.ledger.history import note
from api.messages.telling import drop_drafts
from api.messages.words import no_rain_date_words, rain_date_words, written

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
    said = written(session, row.visit_id, lambda: say(session, row))
    message = tables.Message(
        **said, visit_id=row.visit_id, kind=KIND, spot=_spot(row) if kept else None, made_at=now, made_by=by
    )
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
