"""What in a visit's rows no week can be planned around, each named: days of another century, no place on the map."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from api import tables
from api.fields.column_limits import FIRST_DAY, LAST_DAY
from api.ledger.facts.week import Facts
from scheduler.plan import Because


def is_odd(day: datetime.date | None) -> bool:
    """Say whether no door takes this day any more; it may stand in the database all the same."""
    return day is not None and not FIRST_DAY <= day <= LAST_DAY


def amiss(facts: Facts, visit: tables.Visit) -> tuple[Because, ...]:
    """Return for all of a visit that cannot be planned around a reason that names it and says how to mend it."""
    site = facts.sites[visit.site_id]
    nowhere = f"{site.address}, {site.town} is not on the map yet: put it there on the page Addresses."
    return (() if site.placed else (Because(code="place", detail=nowhere),)) + tuple(
        Because(code="odd_day", detail=f"{what} {day} cannot be right: enter a day from {FIRST_DAY} to {LAST_DAY}.")
        for what, day in _days_of(facts, visit)
        if is_odd(day)
    )


def _days_of(facts: Facts, visit: tables.Visit) -> Iterator[tuple[str, datetime.date | None]]:
    awning = facts.awnings.get(visit.awning_id or "") if visit.kind == "install" else None
    booking = facts.bookings.get(visit.id)
    yield "Its due day", visit.due_on
    yield "The day that its customer was told,", booking.day if booking else None
    yield "The day on which its crate is to come,", awning.arrives_on if awning else None
    for hours in facts.hours.get(visit.id, ()):
        yield "In the customer's hours the day", hours.day
