"""What all that is issued to somebody has in common (tokens, calendar addresses, day links): its use noted, its end."""

from __future__ import annotations

import datetime
from contextlib import suppress
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col

from api.access.accounts import SEEN_MINUTES
from api.database import transaction
from api.ledger.history import note
from api.tables import CalendarAddress, DayLink, ProgramToken

Seen = TypeVar("Seen", ProgramToken, CalendarAddress)
Issued = TypeVar("Issued", ProgramToken, CalendarAddress, DayLink)


def note_used(database: sa.Engine, row: Seen, now: datetime.datetime) -> None:
    """Write down that a row was used, once in a few minutes; a database that takes no writes keeps nobody out."""
    if row.seen_at is not None and abs(now - row.seen_at) < datetime.timedelta(minutes=SEEN_MINUTES):
        return
    table = type(row)
    with suppress(OperationalError), transaction(database) as session:
        session.execute(sa.update(table).where(col(table.id) == row.id).values(seen_at=now))


def revoke(
    session: Session, row: Issued, noun: str, detail: dict[str, Any], *, by: str, now: datetime.datetime
) -> None:
    """Make a row useless at once, and note it of `noun` with `detail`; one revoked before stays as it is."""
    if row.revoked_at is None:
        row.revoked_at = now
        session.add(row)
        note(session, now, by, "revoked", noun, str(row.id), detail)
