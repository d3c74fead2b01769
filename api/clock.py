"""The moment by which the work is dated: the machine's clock, or in the demo and in training one that was set at start.

Sessions, links and limits on sign-in go by the machine's clock always: a set clock must not keep anyone signed in.
"""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable
from typing import Annotated

import sqlalchemy as sa
from fastapi import Depends, Request
from sqlalchemy import desc
from sqlmodel import col, select

from api import tables
from api.database import transaction

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
