"""Which posted visits cannot go as they are posted, and why: the one answer that every page and message reads.

A visit's own reasons come first: its kit, its crew, its hours, the weather. Then what visits share is held against what
there is today; of those that want more than that, as few are named as must give way, the least promised first.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

from api import tables
from api.falls.sharing import give_way
from api.falls.today import Today
from api.fields.shown import clock, day_name
from api.ledger.facts.gates import gate_words
from scheduler import Spot
from scheduler.price import risks
from scheduler.week import Job, crew_begins, crew_goes_on

_WORSE = 0.1  # how much likelier a loss must have become since the posting, to be told
Cause = Literal["short", "weather", "crew away", "customer", "other"]


@dataclass(frozen=True)
class CannotGo:
    """A posted visit that cannot go as posted: because of what, in words, and where it is posted."""

    visit_id: str
    cause: Cause
    words: str
    spot: Spot
    date: datetime.date
    end: int


def findings(today: Today) -> list[CannotGo]:
    """Return the posted visits still to come that cannot go as they are, in the order of time."""
    jobs = {job.id: job for job in today.built.week.jobs}
    told: dict[str, tuple[Cause, str]] = {}
    coming = [name for name in today.posted.spots if name not in today.settled]
    for name in coming:
        fault = _fault(today, jobs[name], today.posted.spots[name])
        if fault is not None:
            told[name] = fault
    told |= {name: ("other", words) for name, words in give_way(today, coming, told)}
    for name, (cause, words) in told.items():
        if (kept := rain_date_of(today, name)) is not None:
            second = f"Its rain date is {day_name(kept.day)}, {clock(kept.start)}."
            told[name] = cause, f"{words} {rain_date_fault(today, kept) or second}"
    found = [
        CannotGo(name, *told[name], spot, today.posted.date(spot.day), today.posted.stops[name].end)
        for name, spot in today.posted.spots.items()
        if name in told
    ]
    return sorted(found, key=lambda f: (f.spot.day, f.spot.crew, f.spot.start))


def rain_date_of(today: Today, visit_id: str) -> tables.RainDate | None:
    """Return the second day that is kept for a visit of the posted week, None where none is."""
    return next((row for row in today.facts.rain_dates if row.visit_id == visit_id), None)


def rain_date_fault(today: Today, row: tables.RainDate) -> str:
    """Return why a visit could not go to its rain date by today's rows, empty where it could."""
    there = today.later if row.day >= today.next_week else today
    crew = crew_goes_on(today.crew_name(row.crew_id))
    if there is None or row.visit_id not in {one.visit_id for one in there.built.kept}:
        hours = f"{clock(row.free_from)} to {clock(row.free_until)}"
        return f"Its rain date falls too: {crew} does not have {hours} free on {day_name(row.day)} any more."
    day = (row.day - there.posted.start_date).days
    job = next((one for one in there.built.week.jobs if one.id == row.visit_id), None)
    if job is None or job.ready_day is None or job.ready_day > day:
        return f"Its rain date falls too: it is not ready by {day_name(row.day)}."
    if not any(w.day == day and w.start <= row.start and row.end <= w.end for w in job.windows):
        return f"Its rain date falls too: no work window holds it on {day_name(row.day)}."
    return ""


def holds(today: Today, job: Job) -> bool:
    """Say whether today's rows still allow the posted visit of `job` where it is, whatever the others do."""
    return _fault(today, job, today.posted.spots[job.id]) is None


def shift_holds(today: Today, crew_id: str, day: int) -> bool:
    """Say whether the crew still works that day in the hours in which it is posted."""
    return _shift_fault(today, crew_id, day) is None


def lost_chance(today: Today, job: Job, spot: Spot) -> float | None:
    """Return the chance that the posted visit is weathered out by today's forecast; None where no window holds it."""
    cents = risks(job, spot.day, spot.start, today.posted.stops[job.id].end)
    price = today.facts.rules.prices.lost_cents.of(today.facts.visits[job.id].kind)
    return None if not cents else min(cents) / price if price else 0.0


def _posted_chance(today: Today, job: Job, spot: Spot) -> float:
    """Return the chance with which the visit was posted: whoever posted it has seen and taken that."""
    posted = next(one for one in today.posted.week.jobs if one.id == job.id)
    return lost_chance(today, posted, spot) or 0.0


def _fault(today: Today, job: Job, spot: Spot) -> tuple[Cause, str] | None:
    """Return what of the visit itself stands against it where it is posted."""
    if job.id in today.gone:
        return "other", today.gone[job.id]
    if job.id in today.stopped:
        return "short" if today.conditions.get(job.id) == "short" else "other", today.stopped[job.id]
    if held := today.facts.gates.get(job.id):
        return "other", " ".join(gate_words(gate) for gate in held)
    if job.ready_day is None or job.ready_day > spot.day:
        reasons = " ".join(why.detail for why in today.because.get(job.id, ()))
        if not reasons and (others := today.built.because.get(job.id, ())):  # what is not of its kit
            return "other", " ".join(why.detail for why in others)
        return "short", reasons or "Its kit is not whole by then."
    crew_words = _shift_fault(today, spot.crew, spot.day)
    second = today.posted.assists.get(job.id)
    if crew_words is not None:
        return "crew away", f"{crew_words} {_not_needed(today, second)}".strip()
    if away := _second_away(today, second, job):
        return "other", away  # its own crew is there: nobody is to be found another crew's visits for
    fits = _crew_fault(today, job, spot) or _second_fault(today, job, spot, second)
    if fits is not None:
        return "other", fits
    stop = today.posted.stops[job.id]
    chance = lost_chance(today, job, spot)
    if chance is not None:
        doubt = max(today.facts.rules.weather_doubt_percent / 100, _posted_chance(today, job, spot) + _WORSE)
        if chance < doubt:
            return None
        return "weather", f"{100 * chance:.0f} % chance of being weathered out, by the newest forecast."
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
    date, name = today.posted.date(day), crew_begins(today.crew_name(crew_id))
    if shift is None:
        row = today.facts.crews.get(crew_id)
        riding = today.facts.riding
        people = [] if row is None else [who for half in range(2) for who in riding.set_for(row, date, half)]
        off = [o for o in today.facts.days_off if o.person_id in people and o.first <= date <= o.last]
        who = " and ".join(f"{today.facts.people[o.person_id].name} is away ({o.why})" for o in off)
        out = [v for v in today.facts.vans_out if row is not None and v.van_id == row.van_id]
        who = who or " and ".join(f"its van {v.van_id} is out ({v.why})" for v in out if v.first <= date <= v.last)
        if not who and row is not None and (why := riding.because(row, date)):
            return why
        return f"{name} does not work on {day_name(date)}: {who or 'it has no hours that day'}."
    if route is not None and (route.depart < shift.start or route.back > shift.end + shift.overtime):
        latest = clock(shift.end + shift.overtime)
        return f"{name} works on {day_name(date)} from {clock(shift.start)} to {latest} at the latest."
    return None


def _crew_fault(today: Today, job: Job, spot: Spot) -> str | None:
    """Return what the visit's crew and van lack for it today."""
    crew = next(c for c in today.built.week.crews if c.id == spot.crew)
    route = next(r for r in today.posted.plan.routes if (r.crew, r.day) == (spot.crew, spot.day))
    called = today.crew_name(spot.crew)
    name = crew_goes_on(called)
    missing = [skill for skill in job.skills if skill not in crew.skills_on(spot.day)]
    if missing:
        return f"{crew_begins(called)} has nobody for {', '.join(missing)} any more."
    if crew.hands + route.helpers < job.hands:
        return f"It needs {job.hands} people, and {name} has {crew.hands + route.helpers}."
    if job.yard not in (None, crew.yard):
        return f"Its kit lies at {job.yard}, and {name} starts from {crew.yard}."
    if job.boxes and job.box_mm > crew.vehicle.rack_mm:
        return f"Its box is {job.box_mm} mm long, and the van of {called} takes {crew.vehicle.rack_mm} mm."
    return None


def _not_needed(today: Today, second: Spot | None) -> str:
    """Return what it means for the second crew that the first one does not come."""
    if second is None:
        return ""
    return f"{today.crew_name(second.crew)} need not come for the lift at {clock(second.start)} then."


def _second_away(today: Today, second: Spot | None, job: Job) -> str | None:
    """Return why the second crew does not come for the lift any more, None where it does or nobody has to."""
    if second is None or job.assist is None:
        return None
    words = _shift_fault(today, second.crew, second.day)
    if words is None:
        return None
    lift = f"It was to come for the lift at {clock(second.start)}."
    return f"{words} {lift}"


def _second_fault(today: Today, job: Job, spot: Spot, second: Spot | None) -> str | None:
    """Return what keeps the second crew from the lift as it is asked for today; a lift not asked for is no fault."""
    if (asked := job.assist) is None:
        return None
    if second is None:
        return "It needs a second crew for the lift, and none is posted to come."
    crew = next(c for c in today.built.week.crews if c.id == second.crew)
    route = next(r for r in today.posted.plan.routes if (r.crew, r.day) == (second.crew, second.day))
    stop = next(s for s in route.stops if s.assist == job.id)
    called, minutes = today.crew_name(second.crew), stop.end - stop.start
    name, begins = crew_goes_on(called), crew_begins(called)
    missing = [skill for skill in asked.skills if skill not in crew.skills_on(second.day)]
    if missing:
        return f"{begins} comes for the lift and has nobody for {', '.join(missing)} any more."
    if crew.hands + route.helpers < asked.hands:
        return f"The lift needs {asked.hands} people of {called}, and it has {crew.hands + route.helpers}."
    if minutes != asked.minutes:
        return f"The lift takes {asked.minutes} min, and {name} has {minutes} min for it."
    first, last = spot.start + asked.from_min, spot.start + asked.to_min
    if not first <= second.start <= last:
        at = clock(second.start)
        return f"{begins} comes for the lift at {at}, and is asked to come from {clock(first)} to {clock(last)}."
    return None
