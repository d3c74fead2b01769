"""What is on record of loads that crews take on in mid-day: when they were in the yard, when all was on the van."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping

from sqlmodel import Session, col, select

from api import tables

LoadsNoted = Mapping[int, Mapping[str, tables.LoadTime]]  # by the load's number and what it is


def load_times(session: Session, crew_ids: Iterable[str], day: datetime.date) -> Mapping[str, LoadsNoted]:
    """Return what crews noted of their loads on `day`, by crew, number and what it is."""
    row = tables.LoadTime
    rows = select(row).where(row.day == day, col(row.crew_id).in_(list(crew_ids) or [""]))
    found: dict[str, dict[int, dict[str, tables.LoadTime]]] = defaultdict(lambda: defaultdict(dict))
    for one in session.exec(rows):
        found[one.crew_id][one.load][one.what] = one
    return found
