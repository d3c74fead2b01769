"""Visits that follow each other, as the week document has them: within the week, and across its ends."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from api import tables
from api.fields.shown import day_name
from api.ledger.days.day_rows import is_one_row
from api.ledger.facts.week import Facts
from api.week.crews import dates_of
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


def follows_of(facts: Facts, jobs: Sequence[w.Job], start_date: datetime.date) -> tuple[w.Follow, ...]:
    """Return the orders between jobs of the week; those to visits outside it stand in `after_others`.

    The format counts days of the calendar. Of two days of one job that means: as many as lie between the day that one
    of them is promised for and the neighbouring one on which somebody works; where neither has a promised day, at least
    one, and at most as many as the longest gap between neighbouring worked days has, of which `rows_of` says more.
    """
    known = {job.id: job for job in jobs}
    days, found = worked_days(facts, start_date), list[w.Follow]()
    for f in facts.follows:
        if f.first_id not in known or f.then_id not in known:
            continue
        least, most = f.min_days, f.max_days
        if is_one_row(f, facts.visits[f.first_id], facts.visits[f.then_id]):
            pair = known[f.first_id], known[f.then_id]
            apart = _promised_apart(facts, *pair, start_date)
            least = most = apart or 1
            if apart is None:
                most = max((b - a for a, b in pairwise(days)), default=1)
        found.append(w.Follow(f.first_id, f.then_id, least, most, f.same_crew))
    return tuple(found)


def _promised_apart(facts: Facts, first: w.Job, then: w.Job, start_date: datetime.date) -> int | None:
    """Return how many days of the calendar lie between two days of one job, None where neither is promised."""
    known = facts.work_days
    for job, neighbour in ((first, known.next_after), (then, known.last_before)):
        if job.booked is not None and job.booked.hold != "soft":
            on = start_date + datetime.timedelta(days=job.booked.day)
            return abs((neighbour(on) - on).days)
    return None


def rows_of(facts: Facts, jobs: Sequence[w.Job], start_date: datetime.date) -> list[tuple[str, str]]:
    """Return the days of one job, first and then, of which neither has a promised day: they go in a row of worked days.

    The document itself says only how many days of the calendar the second goes later at most.
    """
    known = {job.id: job for job in jobs}
    return [
        (f.first_id, f.then_id)
        for f in facts.follows
        if f.first_id in known and f.then_id in known
        and is_one_row(f, facts.visits[f.first_id], facts.visits[f.then_id])
        and _promised_apart(facts, known[f.first_id], known[f.then_id], start_date) is None
    ]  # fmt: skip


def worked_days(facts: Facts, start_date: datetime.date) -> list[int]:
    """Return the days of the week (0 = its first) on which somebody works."""
    known = facts.work_days
    return [n for n, date in enumerate(dates_of(facts, start_date)) if known.is_worked(date)]


def after_others(facts: Facts, visit: tables.Visit, start_date: datetime.date) -> AfterOthers:
    """Return on which days of the week a visit may go after those that are done, or have their day in another week.

    The next day of a job of several is the next on which somebody works. The format knows no crew of another week: that
    both are to be done by the same one is not held there.
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
        least, most = follow.min_days, follow.max_days
        if in_a_row := is_one_row(follow, before, visit):
            least = most = (facts.work_days.next_after(day) - day).days
        earliest = (day - start_date).days + least
        first = max(first, earliest)
        if earliest >= facts.rules.week_days:
            detail = _on_next_day(before, day, least) if in_a_row else _too_early(before, day, least)
            because.append(Because(code="follows", detail=detail))
        if most is not None and (end := (day - start_date).days + most) >= 0:
            last = end if last is None else min(last, end)
    return AfterOthers(first, last, tuple(because))


def _on_next_day(before: tables.Visit, day: datetime.date, later: int) -> str:
    then = day_name(day + datetime.timedelta(days=later))
    if before.state == "done":
        return f"{before.id} was done on {day_name(day)}, and this goes on with it on {then}, the next working day."
    return f"{before.id} goes first on {day_name(day)}, and this goes on with it on {then}, the next working day."


def _too_early(before: tables.Visit, day: datetime.date, least: int) -> str:
    on = day_name(day)
    if before.state == "done":
        return f"{before.id} was done on {on}, and this comes at least {least} d later."
    if least:
        return f"{before.id} goes first on {on}, and this comes at least {least} d later."
    return f"{before.id} goes first on {on}."
