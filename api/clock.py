"""The moment by which the work is dated: the machine's clock, or in the demo and in training one that was set at start.

Sessions, links and limits on sign-in go by the machine's clock always: a set clock must not keep anyone signed in.
"""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable
from typing import Annotated
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from fastapi import Depends, Request
from sqlalchemy import desc
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.fields.shown import at

Clock = Callable[[], datetime.datetime]


def machine_clock() -> datetime.datetime:
    """Return the present moment."""
    return datetime.datetime.now(datetime.UTC)


def clock_of(setting: str, database: sa.Engine) -> Clock:
    """Return the clock that EAVEBOARD_CLOCK asks for; `forecast` without a forecast is the machine's."""
    if setting == "forecast":
        with transaction(database) as session:
            newest = select(tables.StoredForecast).order_by(desc(col(tables.StoredForecast.issued)))
            row = session.exec(newest).first()
            if row is None:
                return machine_clock
            start = row.issued
    elif setting:
        start = datetime.datetime.fromisoformat(setting).astimezone(datetime.UTC)
    else:
        return machine_clock
    begun = time.monotonic()
    return lambda: start + datetime.timedelta(seconds=time.monotonic() - begun)


def _now(request: Request) -> datetime.datetime:
    clock: Clock = request.app.state.clock
    return clock()


# The moment of a request, for whatever concerns the work.
Now = Annotated[datetime.datetime, Depends(_now)]


def local_day(session: Session, now: datetime.datetime) -> datetime.date:
    """Return the date at the yards at the moment `now`."""
    return local_days(session)(now)


def local_moments(session: Session) -> Callable[[datetime.datetime], str]:
    """Return what writes a moment by the clock at the yards: Thu Apr 8, 15:05; in UTC while there is no business."""
    name = session.exec(select(tables.Business.timezone)).first()

    def words(moment: datetime.datetime) -> str:
        return at(moment, name) if name else f"{at(moment, 'UTC')} UTC"

    return words


def local_days(session: Session) -> Callable[[datetime.datetime], datetime.date]:
    """Return what gives the date at the yards of a moment; in UTC while there is no business."""
    zone = ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
    return lambda moment: moment.astimezone(zone).date()
