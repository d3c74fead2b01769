"""Visits that follow each other, as the week document has them: within the week, and across its ends."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from dataclasses import dataclass

from api import tables
from api.fields.shown import day_name
from api.ledger.facts import Facts
from scheduler import week as w
from scheduler.plan import Because


@dataclass(frozen=True)
class AfterOthers:
    """What visits outside the week leave to one that follows them, in days of the week (0 = its first).

    It may go from `first` to `last` (None: any day); where there is a `because`, on no day of the week.
    """

    first: int = 0
    last: int | None = None
    because: tuple[Because, ...] = ()


def follows_of(facts: Facts, jobs: Collection[str]) -> tuple[w.Follow, ...]:
    """Return the orders between jobs of the week; those to visits outside it stand in `after_others`."""
    return tuple(
        w.Follow(first=f.first_id, then=f.then_id, min_days=f.min_days, max_days=f.max_days, same_crew=f.same_crew)
        for f in facts.follows
        if f.first_id in jobs and f.then_id in jobs
    )


def after_others(facts: Facts, visit: tables.Visit, start_date: datetime.date) -> AfterOthers:
    """Return on which days of the week a visit may go after those that are done, or have their day in another week.

    The format knows no crew of another week: that both are to be done by the same one is not held there.
    """
    first, last, because = 0, None, list[Because]()
    for follow in facts.follows:
        if follow.then_id != visit.id:
            continue
        before = facts.visits[follow.first_id]
        booking = facts.bookings.get(before.id)
        day, outside = facts.goes_on.get(before.id), before.state == "done" or before.id in facts.elsewhere
        if before.state == "open" and booking is not None and not outside:
            day, outside = booking.day, (booking.day - start_date).days >= facts.rules.week_days
        if day is None or not outside:
            continue
        earliest = (day - start_date).days + follow.min_days
        first = max(first, earliest)
        if earliest >= facts.rules.week_days:
            because.append(Because(code="follows", detail=_too_early(before, day, follow.min_days)))
        if follow.max_days is not None and (end := (day - start_date).days + follow.max_days) >= 0:
            last = end if last is None else min(last, end)
    return AfterOthers(first, last, tuple(because))


def _too_early(before: tables.Visit, day: datetime.date, least: int) -> str:
    on = day_name(day)
    if before.state == "done":
        return f"{before.id} was done on {on}, and this comes at least {least} d later."
    if least:
        return f"{before.id} goes first on {on}, and this comes at least {least} d later."
    return f"{before.id} goes first on {on}."
