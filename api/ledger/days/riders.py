"""Who rides in a crew's van on a day: as the roster has it, else as usual."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables

NOON = 12 * 60  # where a day off ends that is for the morning alone, and one begins that is for the afternoon
HALVES = ("morning", "afternoon")


@dataclass(frozen=True)
class Riding:
    """What says who rides: people by id, days off, and the days that the roster has."""

    people: Mapping[str, tables.Person]
    days_off: Sequence[tables.DayOff]
    roster: Mapping[datetime.date, tables.RosterDay]

    def set_for(self, crew: tables.Crew, date: datetime.date, half: int) -> tuple[str, ...]:
        """Return who is to ride in the crew's van that half day, away or not; the lead first."""
        row = self.roster.get(date)
        if row is None or crew.id not in row.rides:
            return usual(crew)
        return tuple(who for who in row.rides[crew.id][half] if who in self.people)

    def pair(self, crew: tables.Crew, date: datetime.date, half: int) -> tuple[str, ...]:
        """Return who goes out in the crew's van that half day; nobody where they are too few or none of them leads."""
        there = [who for who in self.set_for(crew, date, half) if not self.off(who, date, half)]
        if len(there) < len(usual(crew)) or not any(leads(self.people[who]) or who == crew.lead_id for who in there):
            return ()
        return tuple(there)

    def off(self, person_id: str, date: datetime.date, half: int) -> list[tables.DayOff]:
        """Return the days off for which somebody is away that half day."""
        return [
            off
            for off in self.days_off
            if off.person_id == person_id and off.first <= date <= off.last and off.part in ("day", HALVES[half])
        ]

    def out_on(self, crew: tables.Crew, date: datetime.date) -> list[int]:
        """Return the halves of the day on which a pair goes out in the crew's van."""
        return [half for half in range(2) if self.pair(crew, date, half)]

    def riders(self, crew: tables.Crew, date: datetime.date) -> list[tables.Person]:
        """Return who goes out with the crew that day, the lead first; where nobody does who is to, or usually."""
        halves = self.out_on(crew, date)
        names = [who for half in halves for who in self.pair(crew, date, half)]
        names = names or [who for half in range(2) for who in self.set_for(crew, date, half)] or list(usual(crew))
        return [self.people[who] for who in dict.fromkeys(names)]

    def because(self, crew: tables.Crew, date: datetime.date) -> str:
        """Return why nobody goes out in the crew's van that day, by the roster; empty where it does not say."""
        row = self.roster.get(date)
        return "" if row is None else " ".join(dict.fromkeys(row.because.get(crew.id, {}).values()))

    def skills(self, crew: tables.Crew, date: datetime.date) -> set[str]:
        """Return what those who ride can do as long as the crew is out that day."""
        pairs = [self.pair(crew, date, half) for half in self.out_on(crew, date)]
        found = [skills_of(self.people[who] for who in pair) for pair in pairs]
        return set.intersection(*found) if found else set()


def usual(crew: tables.Crew) -> tuple[str, ...]:
    """Return who usually rides in a crew's van, the lead first."""
    return tuple(who for who in (crew.lead_id, crew.helper_id) if who is not None)


def leads(person: tables.Person) -> bool:
    """Say whether somebody may lead a pair."""
    return person.role == "lead" and not person.learner


def skills_of(people: Iterable[tables.Person]) -> set[str]:
    """Return what people can do together; the skills of learners do not count yet."""
    return {skill for person in people if not person.learner for skill in person.skills}


def roster_days(session: Session, first: datetime.date | None = None) -> dict[datetime.date, tables.RosterDay]:
    """Return the days of the roster from `first` on, None: all."""
    rows = select(tables.RosterDay).order_by(col(tables.RosterDay.day))
    if first is not None:
        rows = rows.where(col(tables.RosterDay.day) >= first)
    return {row.day: row for row in session.exec(rows)}


def riding_on(session: Session, date: datetime.date) -> Riding:
    """Return what says who rides on one day."""
    off = select(tables.DayOff).where(col(tables.DayOff.first) <= date, col(tables.DayOff.last) >= date)
    row = session.get(tables.RosterDay, date)
    people = {person.id: person for person in session.exec(select(tables.Person))}
    return Riding(people, session.exec(off.order_by(col(tables.DayOff.id))).all(), {} if row is None else {date: row})
