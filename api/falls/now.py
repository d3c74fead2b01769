"""What falls at this moment, over every posted week that is not over: what all pages but the week sheet show of it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from sqlmodel import Session

from api.falls.falls import CannotGo, findings
from api.falls.today import Days, open_weeks


def falling(session: Session, days: Days, now: datetime.datetime) -> dict[str, CannotGo]:
    """Return the posted visits that cannot go as they are posted, by visit.

    To be asked before anything is written in `session`: the weeks of today are read, and kept, beside it.
    """
    return {one.visit_id: one for one in each_falling(session, days, now)}


def each_falling(session: Session, days: Days, now: datetime.datetime) -> Iterator[CannotGo]:
    """Yield the posted visits that cannot go as they are posted, week by week in the order of time."""
    for start_date in open_weeks(session, now):
        today = days.of(start_date, now)
        if today is not None:
            yield from findings(today)
