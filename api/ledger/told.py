"""What customers have been told, as it still holds, and the moments by which it follows what was posted."""

from __future__ import annotations

import datetime
from typing import Literal

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from scheduler.price import RETIME_FROM_MIN

Hold = Literal["firm", "day", "soft"]


# How firmly a promised time is held, as it is said to whoever promises it.
HOLDS = {"firm": "firm: crew, day and hour", "day": "the day", "soft": "may still move"}


def window_told(start_min: int) -> tuple[int, int]:
    """Return between which minutes of the day the crew comes, as customers are told who are promised no minute.

    Half an hour either way of `start_min`, rounded out to times that are said, such as 6:35 and 7:40 for 7:07.
    """
    return (start_min - RETIME_FROM_MIN) // 5 * 5, -(-(start_min + RETIME_FROM_MIN) // 5) * 5


def moment_after_all(session: Session, now: datetime.datetime) -> datetime.datetime:
    """Return `now` as the moment of a posting or of a promise, never before one that stands in the database.

    Calendars go by these moments, day sheets by what was written last: where a clock was set back, the two would show
    different hours.
    """
    posted, booking = tables.PostedWeek, tables.Booking
    newest: list[datetime.datetime | None] = [
        session.execute(sa.select(sa.func.max(col(column)))).scalar()
        for column in (posted.posted_at, booking.told_at, booking.withdrawn_at)
    ]
    return max([now, *(at + datetime.timedelta(microseconds=1) for at in newest if at is not None and at > now)])


def told_now(session: Session, visit_id: str) -> tables.Booking | None:
    """Return what the customer of a visit has been told, as it still holds."""
    rows = select(tables.Booking).where(tables.Booking.visit_id == visit_id, col(tables.Booking.withdrawn_at).is_(None))
    return session.exec(rows.order_by(col(tables.Booking.id).desc())).first()
