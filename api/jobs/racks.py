"""Where a stored awning lies: its place in a rack follows the visits that take it down and hang it again."""

from __future__ import annotations

import datetime

from sqlmodel import Session

from api import tables
from api.http import versions
from api.ledger.history import note

# What the rack holds when a visit of such a kind of work is done, and when that is taken back.
_THEN = {("in", True): "in", ("in", False): "kept", ("out", True): "out", ("out", False): "in"}


def rack_follows(
    session: Session, visit: tables.Visit, *, done: bool, day: datetime.date, by: str, now: datetime.datetime
) -> None:
    """Have the place of a visit's awning follow: done on `day`, or (`done` False) not done after all."""
    row = session.get(tables.StoredAwning, visit.awning_id) if visit.awning_id is not None else None
    state = _THEN.get((visit.work.rack, done))
    if row is None or state is None or row.state == state:
        return
    before = row.state, row.since
    if versions.update(session, row, {"state": state, "since": day}):
        was = before[1].isoformat() if before[1] else None
        detail = {"id": [row.awning_id], "state": [before[0], state], "since": [was, day.isoformat()]}
        note(session, now, by, "changed", "stored awning", row.awning_id, detail)
