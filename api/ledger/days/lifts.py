"""What is on record of lifts at which two crews met: when the second one came, and when that was over."""

from __future__ import annotations

import datetime
import zoneinfo
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping

from sqlmodel import Session, col, select

from api import tables
from scheduler.under_way.expected import Taps

Noted = Mapping[str, Mapping[str, Mapping[str, tables.LiftTime]]]  # by visit, crew and what it is


def lift_times(session: Session, visit_ids: Collection[str], day: datetime.date) -> Noted:
    """Return what is noted of the lifts at visits on `day`, by visit, crew and what it is."""
    row = tables.LiftTime
    rows = select(row).where(row.day == day, col(row.visit_id).in_(list(visit_ids) or [""]))
    found: dict[str, dict[str, dict[str, tables.LiftTime]]] = defaultdict(lambda: defaultdict(dict))
    for one in session.exec(rows):
        found[one.visit_id][one.crew_id][one.what] = one
    return found


def first_noted(
    noted: Noted, visit_id: str
) -> tuple[datetime.datetime | None, datetime.datetime | None]:  # fmt: skip
    """Return when the second crew came to a lift and when that was over, by whichever crew noted it first.

    When it came is None where it was noted with the end alone, in one tap.
    """
    crews = list(noted.get(visit_id, {}).values())
    over = min((rows["over"].at for rows in crews if "over" in rows), default=None)
    came = [
        rows["here"].at for rows in crews
        if "here" in rows and ("over" not in rows or rows["over"].at != rows["here"].at)
    ]  # fmt: skip
    here = min(came, default=None)
    return (None if here is None or (over is not None and here > over) else here), over


def minutes_noted(noted: Noted, minute: Callable[[datetime.datetime], int]) -> dict[str, Taps]:
    """Return what is noted of lifts of one day, by visit, in minutes after its midnight; `minute` gives these."""
    found = {}
    for visit in noted:
        here, over = first_noted(noted, visit)
        found[visit] = Taps(None, None if here is None else minute(here), None if over is None else minute(over))
    return found


def lifts_noted(
    session: Session, visits: Collection[tuple[str, datetime.date]]
) -> dict[tuple[str, datetime.date], Taps]:  # fmt: skip
    """Return what is noted of the lifts at visits on their days, in minutes after local midnight."""
    zone = zoneinfo.ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
    found = {}
    for day in sorted({day for _, day in visits}):

        def minute(moment: datetime.datetime, day: datetime.date = day) -> int:
            local = moment.astimezone(zone)
            return (local.date() - day).days * 24 * 60 + local.hour * 60 + local.minute

        noted = lift_times(session, [visit for visit, on in visits if on == day], day)
        found.update({(visit, day): taps for visit, taps in minutes_noted(noted, minute).items()})
    return found
