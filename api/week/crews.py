"""Who is out in a week, of rows: crews with their shifts and what they can do, and the helpers of each yard."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence

from api import tables
from api.ledger.days.riders import skills_of, usual
from api.ledger.days.work_days import WorkDays
from api.ledger.facts.week import Facts
from scheduler import week as w


def crews_of(
    facts: Facts, shifts: dict[str, tuple[w.Shift, ...]], promised: Collection[str], start_date: datetime.date
) -> tuple[w.Crew, ...]:
    """Return the crews that work, and those of the `promised` that do not any more: these have no shift.

    shifts: as `shifts_of` gives them. promised: crews that customers of the week's visits have been told.
    """
    return tuple(
        _crew(facts, crew, shifts.get(crew.id, ()), start_date)
        for crew in facts.crews.values()
        if crew.active or crew.id in promised
    )


def skills_by_day(facts: Facts, start_date: datetime.date) -> dict[str, dict[int, tuple[str, ...]]]:
    """Return what those who ride can do by crew and day of the week; of a crew that is always as usual, nothing."""
    return {crew.id: _skills_by_day(facts, crew, start_date) for crew in facts.crews.values() if crew.active}


def shifts_of(facts: Facts, start_date: datetime.date) -> dict[str, tuple[w.Shift, ...]]:
    """Return the shifts of every crew that works, by its id."""
    known, dates = facts.work_days, dates_of(facts, start_date)
    return {crew.id: _shifts(known, crew, dates) for crew in facts.crews.values() if crew.active}


def dates_of(facts: Facts, start_date: datetime.date) -> list[datetime.date]:
    return [start_date + datetime.timedelta(days=n) for n in range(facts.rules.week_days)]


def _off(facts: Facts, person_id: str, date: datetime.date) -> set[str]:
    """Return the parts of a day on which a person is away: "day", "morning", "afternoon"."""
    return {off.part for off in facts.days_off if off.person_id == person_id and off.first <= date <= off.last}


def _shifts(known: WorkDays, crew: tables.Crew, dates: Sequence[datetime.date]) -> tuple[w.Shift, ...]:
    """Return the crew's shifts: its usual hours, without the half days on which no pair rides in its van.

    On a day on which its van cannot be driven it has none.
    """
    spans = ((n, known.span(crew, date)) for n, date in enumerate(dates))
    return tuple(w.Shift(day=n, start=s[0], end=s[1], overtime=s[2]) for n, s in spans if s is not None)


def _crew(facts: Facts, crew: tables.Crew, shifts: tuple[w.Shift, ...], start_date: datetime.date) -> w.Crew:
    van = facts.vans[crew.van_id]
    people = [facts.people[who] for who in usual(crew)]
    skills = skills_of(people).union(*_skills_by_day(facts, crew, start_date).values())
    return w.Crew(
        id=crew.id,
        yard=crew.yard_id,
        hands=len(people),
        skills=tuple(sorted(skills)),
        shifts=shifts,
        vehicle=w.Vehicle(payload_kg=van.payload_kg, rack_mm=van.rack_mm, boxes=van.boxes),
        onboard=van.onboard,
        day_cents=crew.day_cents,
        minute_cents=crew.minute_cents,
        overtime_minute_cents=crew.overtime_minute_cents,
        km_cents=round(crew.km_cents),
    )


def _skills_by_day(facts: Facts, crew: tables.Crew, start_date: datetime.date) -> dict[int, tuple[str, ...]]:
    """Return what those who ride can do on each day that the crew is out; nothing where that is always as usual."""
    riding, as_usual = facts.riding, skills_of(facts.people[who] for who in usual(crew))
    if not any(crew.id in row.rides for row in facts.roster.values()):
        return {}
    out = {n: date for n, date in enumerate(dates_of(facts, start_date)) if riding.out_on(crew, date)}
    found = {n: riding.skills(crew, date) for n, date in out.items()}
    return {n: tuple(sorted(s)) for n, s in found.items()} if any(s != as_usual for s in found.values()) else {}


def helpers_of(facts: Facts, start_date: datetime.date) -> tuple[w.Helpers, ...]:
    """Return the helpers of each yard and day; of several with different pay the dearest sets the price."""
    found = []
    for yard in facts.yards:
        for n, date in enumerate(dates_of(facts, start_date)):
            hands = [
                person
                for person in facts.people.values()
                if person.active
                and person.role == "extra"
                and person.yard_id == yard
                and str(date.weekday()) in person.weekdays
                and not _off(facts, person.id, date)
            ]
            if hands:
                dearest = max(person.day_cents for person in hands)
                found.append(w.Helpers(yard=yard, day=n, count=len(hands), day_cents=dearest))
    return tuple(found)
