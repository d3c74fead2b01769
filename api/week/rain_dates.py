"""Rain dates in a week document: what is kept free for them is there for nobody else, and what a posting ends of them.

A rain date lies at the beginning or the end of a crew's day, with its drives from the yard and back. Whatever else the
crew does that day, it can then go there too: by way of the yard at the longest.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from msgspec.structs import replace
from sqlmodel import Session, col, select

from api import tables
from api.ledger.facts.week import Facts, rain_dates
from api.ledger.history import note
from api.ledger.plans.posted import Posted
from api.ledger.told import told_now
from api.messages.rain_dates import was_told
from api.messages.telling import drop_drafts
from scheduler import week as w


@dataclass(frozen=True)
class KeptFree:
    """What a visit's rain date takes out of a week: hours of a crew's day, equipment of its yard, helpers.

    `shift` is the crew's whole day, as if nothing were kept.
    """

    visit_id: str
    crew: str
    yard: str
    shift: w.Shift
    free_from: int
    free_until: int
    equipment: dict[str, int]
    helpers: int
    made_at: datetime.datetime

    @property
    def at_end(self) -> bool:
        """Whether the end of the day is kept, rather than its beginning."""
        return self.shift.end - self.free_until <= self.free_from - self.shift.start


def with_rain_dates(
    week: w.Week, rows: Sequence[tables.RainDate], start_date: datetime.date
) -> tuple[w.Week, tuple[KeptFree, ...]]:
    """Return the week without what is kept for rain dates, and that; one that does not fit any more takes nothing."""
    kept: list[KeptFree] = []
    whole = {(crew.id, shift.day): shift for crew in week.crews for shift in crew.shifts}
    for row in rows:
        at = row.crew_id, (row.day - start_date).days
        crew = next((one for one in week.crews if one.id == row.crew_id), None)
        if crew is None or at not in whole:
            continue
        one = KeptFree(
            row.visit_id, crew.id, crew.yard, whole[at], row.free_from, row.free_until, dict(row.equipment),
            row.helpers, row.made_at,
        )  # fmt: skip
        if _fits(week, one):
            kept.append(one)
            week = _changed(week, one, kept, -1)
    return week, tuple(kept)


def with_rain_dates_to_go_to(session: Session, known: Facts, start_date: datetime.date) -> Facts:
    """Return the facts in which visits that were not done in their own week are promised their rain dates in this one.

    A plan of the week then takes each there by itself, if nothing better is found; the hours kept are its own. As firm
    as the customer knows of it: a day that they were told of, else a time that may still move.
    """
    bookings, kept = dict(known.bookings), list[tables.RainDate]()
    for row in known.rain_dates:
        booking, visit = bookings.get(row.visit_id), known.visits.get(row.visit_id)
        is_lost = row.first_day < start_date <= row.day and row.visit_id not in known.elsewhere
        if visit is None or not is_lost or (booking is not None and booking.day >= start_date):
            kept.append(row)
            continue
        bookings[row.visit_id] = tables.Booking(
            visit_id=row.visit_id, crew_id=row.crew_id, day=row.day, start=row.start, told_at=row.made_at,
            hold="day" if was_told(session, row) else "soft",
        )  # fmt: skip
    return dataclasses.replace(known, bookings=bookings, rain_dates=kept)


def gone_by(session: Session, today: datetime.date) -> list[tables.RainDate]:
    """Return the rain dates that went by without their visits, which wait for the next plan like any other.

    Once one of them is posted or promised for another day it is not told of any more.
    """
    past = [row for row in rain_dates(session) if row.day < today]
    told = {row.visit_id: told_now(session, row.visit_id) for row in past}
    return [row for row in past if (booking := told[row.visit_id]) is None or booking.day < today]


def given_back(week: w.Week, kept: Sequence[KeptFree], visit_id: str) -> w.Week:
    """Return the week with what the rain date of one visit has taken out of it: its own hours are its to use."""
    for one in kept:
        if one.visit_id == visit_id:
            week = _changed(week, one, [other for other in kept if other.visit_id != visit_id], 1)
    return week


def _fits(week: w.Week, one: KeptFree) -> bool:
    """Say whether the crew works these hours, and nothing else of the week's has what it takes."""
    day = one.shift.day
    shift = next((s for crew in week.crews if crew.id == one.crew for s in crew.shifts if s.day == day), None)
    there = {e.id: e.count[day] for e in week.equipment if e.yard == one.yard}
    people = sum(h.count for h in week.helpers if (h.yard, h.day) == (one.yard, day))
    return (
        shift is not None
        and shift.start <= one.free_from
        and one.free_until <= shift.end
        and all(there.get(item, 0) >= n for item, n in one.equipment.items())
        and people >= one.helpers
    )


def _changed(week: w.Week, one: KeptFree, kept: Sequence[KeptFree], sign: int) -> w.Week:
    """Return the week with the hours of `kept` taken out of the crew's day, and what else `one` takes added or not."""
    day = one.shift.day
    left = _left(one.shift, [k for k in kept if (k.crew, k.shift.day) == (one.crew, day)])
    crews = []
    for crew in week.crews:
        if crew.id == one.crew:
            shifts = [s for s in crew.shifts if s.day != day] + ([left] if left is not None else [])
            crew = replace(crew, shifts=tuple(sorted(shifts, key=lambda s: s.day)))
        crews.append(crew)
    equipment = tuple(
        replace(e, count=tuple(n + sign * one.equipment.get(e.id, 0) * (at == day) for at, n in enumerate(e.count)))
        if e.yard == one.yard
        else e
        for e in week.equipment
    )
    helpers = tuple(
        replace(h, count=h.count + sign * one.helpers) if (h.yard, h.day) == (one.yard, day) else h
        for h in week.helpers
    )
    return replace(week, crews=tuple(crews), equipment=equipment, helpers=helpers)


def _left(shift: w.Shift, kept: Sequence[KeptFree]) -> w.Shift | None:
    """Return what is left of a crew's day, None where all of it is kept."""
    start, end, overtime = shift.start, shift.end, shift.overtime
    for one in kept:
        if one.at_end:
            end, overtime = min(end, one.free_from), 0
        else:
            start = max(start, one.free_until)
    return w.Shift(shift.day, start, end, overtime) if start < end else None


def follow_posting(session: Session, posted: Posted) -> None:
    """End the rain dates of visits that this posting has moved: taken, or let go, for it stood for the first day.

    The first day may lie in an earlier week, in which the visit was not done.
    """
    first, row = posted.row.start_date, tables.RainDate
    after = first + datetime.timedelta(days=posted.week.days)
    kept = select(row).where(row.state == "kept", row.first_day < after)
    at = {
        stop.job: (route.crew, first + datetime.timedelta(days=route.day))
        for route in posted.plan.routes for stop in route.jobs
    }  # fmt: skip
    for one in session.exec(kept.order_by(col(row.id))).all():
        crew_day = at.get(one.visit_id)
        is_gone = crew_day is None and one.first_day >= first
        if is_gone or (crew_day is not None and crew_day[1] != one.first_day):
            end(session, one, "taken" if crew_day == (one.crew_id, one.day) else "let go", now=posted.now, by=posted.by)


def end(session: Session, row: tables.RainDate, state: str, *, now: datetime.datetime, by: str) -> None:
    """Keep a rain date no longer: what was free for it is free for all."""
    drop_drafts(session, row.visit_id, "rain date")
    row.state, row.ended_at, row.ended_by = state, now, by
    session.add(row)
    session.flush()
    did = "took the rain date of" if state == "taken" else "let go the rain date of"
    note(session, now, by, did, "visit", row.visit_id, {"crew": row.crew_id, "day": row.day.isoformat()})
