"""What customers have been told, as it still holds."""

from __future__ import annotations

from typing import Literal

from sqlmodel import Session, col, select

from api import tables

Hold = Literal["firm", "day", "soft"]


# How firmly a promised time is held, as it is said to whoever promises it.
HOLDS = {"firm": "firm: crew, day and hour", "day": "the day", "soft": "may still move"}


def told_now(session: Session, visit_id: str) -> tables.Booking | None:
    """Return what the customer of a visit has been told, as it still holds."""
    rows = select(tables.Booking).where(tables.Booking.visit_id == visit_id, col(tables.Booking.withdrawn_at).is_(None))
    return session.exec(rows.order_by(col(tables.Booking.id).desc())).first()
