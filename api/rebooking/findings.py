"""Look at these: posted visits that today's rows no longer allow, each with what happened to it in words."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

from api import tables
from api.pages import clock, day_name
from api.rebooking.today import Today
from scheduler import Spot
from scheduler.price import risks
from scheduler.week import Job

Cause = Literal["short", "weather", "crew away", "customer", "other"]


@dataclass(frozen=True)
class Finding:
    """A posted visit that falls: because of what, in words, and where it is posted."""

    visit_id: str
    cause: Cause
    words: str
    spot: Spot
    date: datetime.date
    end: int


def findings(today: Today) -> list[Finding]:
    """Return the posted visits still to come that cannot go as they are, in the order of time."""
    jobs = {job.id: job for job in today.built.week.jobs}
    begun, found = today.begun, []
    for name, spot in today.posted.spots.items():
        if name in begun or today.facts.visits[name].state == "done":
            continue
        told = _fault(today, jobs[name], spot)
        if told is not None:
            cause, words = told
            found.append(Finding(name, cause, words, spot, today.posted.date(spot.day), today.posted.stops[name].end))
    return sorted(found, key=lambda f: (f.spot.day, f.spot.crew, f.spot.start))


def holds(today: Today, job: Job) -> bool:
    """Say whether today's rows still allow the posted visit of `job` where it is."""
    return _fault(today, job, today.posted.spots[job.id]) is None


def shift_holds(today: Today, crew_id: str, day: int) -> bool:
    """Say whether the crew still works that day in the hours in which it is posted."""
    return _shift_fault(today, crew_id, day) is None


def _fault(today: Today, job: Job, spot: Spot) -> tuple[Cause, str] | None:
    if job.id in today.gone:
        return "other", today.gone[job.id]
    if job.ready_day is None or job.ready_day > spot.day:
        reasons = " ".join(why.detail for why in today.because.get(job.id, ()))
        return "short", reasons or "Its kit is not whole by then."
    crew_words = _shift_fault(today, spot.crew, spot.day)
    if crew_words is not None:
        return "crew away", crew_words
    stop = today.posted.stops[job.id]
    if risks(job, spot.day, spot.start, stop.end):
        return None
    date = today.posted.date(spot.day)
    rows = today.facts.hours.get(job.id, [])
    allowed = [h for h in rows if h.day == date or h.weekday == date.weekday()]
    if rows and not any(h.start <= spot.start and stop.end <= h.end for h in allowed):
        return "customer", f"The customer's hours do not hold it any more: {_hours(allowed)} that day."
    left = [w for w in job.windows if w.day == spot.day]
    if not left:
        return "weather", "By the newest forecast weather and light leave no work window that day."
    spans = " and ".join(dict.fromkeys(f"{clock(w.start)}–{clock(w.end)}" for w in left))
    return "weather", f"By the newest forecast the work window that day is {spans}."


def _hours(rows: list[tables.VisitHours]) -> str:
    return ", ".join(f"{clock(h.start)}–{clock(h.end)}" for h in rows) or "none"


def _shift_fault(today: Today, crew_id: str, day: int) -> str | None:
    route = next((r for r in today.posted.plan.routes if (r.crew, r.day) == (crew_id, day)), None)
    crew = next((c for c in today.built.week.crews if c.id == crew_id), None)
    shift = None if crew is None else next((s for s in crew.shifts if s.day == day), None)
    date = today.posted.date(day)
    if shift is None:
        row = today.facts.crews.get(crew_id)
        people = [] if row is None else [p for p in (row.lead_id, row.helper_id) if p is not None]
        off = [o for o in today.facts.days_off if o.person_id in people and o.first <= date <= o.last]
        who = " and ".join(f"{today.facts.people[o.person_id].name} is away ({o.why})" for o in off)
        return f"{crew_id} does not work on {day_name(date)}: {who or 'it has no hours that day'}."
    if route is not None and (route.depart < shift.start or route.back > shift.end + shift.overtime):
        latest = clock(shift.end + shift.overtime)
        return f"{crew_id} works on {day_name(date)} from {clock(shift.start)} to {latest} at the latest."
    return None
