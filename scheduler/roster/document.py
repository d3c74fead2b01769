"""The roster document: people, vans and shifts from which crews are formed."""

from __future__ import annotations

from typing import Literal

import msgspec

from scheduler.documents import decode, shown
from scheduler.errors import BadInput
from scheduler.week import Cents, Count, Day, Name, RateCents, Shift, Vehicle


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class Person(_Part, frozen=True):
    """One who works in pairs; `lead`: may lead one. `usual_with`: ids of those who know the work together."""

    id: Name
    name: Name
    yard: Name
    lead: bool
    skills: tuple[Name, ...]
    days_off: tuple[Day, ...]
    usual_with: tuple[Name, ...]
    day_cents: Cents
    minute_cents: RateCents
    overtime_minute_cents: RateCents


class Van(_Part, frozen=True):
    """A van of a yard; `lead`: whose it is, null: the first lead's of the yard who has none."""

    id: Name
    yard: Name
    lead: Name | None
    vehicle: Vehicle
    onboard: dict[Name, Count]
    km_cents: RateCents


class Roster(_Part, frozen=True):
    """`split_cents`: what must be won by it before two who usually ride together, and could, ride apart for a day."""

    format: Literal["roster/1"]
    people: tuple[Person, ...]
    vans: tuple[Van, ...]
    shifts: tuple[Shift, ...]
    split_cents: Cents


def read_roster(data: bytes | str) -> Roster:
    """Return the roster in JSON text `data`; raises `BadInput` naming the first key that is wrong."""
    return _checked(decode(data, Roster, "roster file"))


def _checked(roster: Roster) -> Roster:
    people = {p.id: p for p in roster.people}
    _unique("people", [p.id for p in roster.people])
    _unique("vans", [v.id for v in roster.vans])
    for n, person in enumerate(roster.people):
        if "+" in person.id:
            raise BadInput(f"people[{n}].id", f'must not hold "+", which joins two names, is {shown(person.id)}')
        for m, other in enumerate(person.usual_with):
            if other not in people or other == person.id:
                raise BadInput(f"people[{n}].usual_with[{m}]", f"no other person has the id {shown(other)}")
    led: set[str] = set()
    for n, van in enumerate(roster.vans):
        if van.lead is None:
            continue
        where = f"vans[{n}].lead"
        if van.lead not in people or not people[van.lead].lead:
            raise BadInput(where, f"no lead has the id {shown(van.lead)}")
        if people[van.lead].yard != van.yard:
            raise BadInput(where, f"{shown(van.lead)} is of {people[van.lead].yard}, the van of {van.yard}")
        if van.lead in led:
            raise BadInput(where, f"{shown(van.lead)} has a van already")
        led.add(van.lead)
    days: set[int] = set()
    for n, shift in enumerate(roster.shifts):
        if shift.day in days:
            raise BadInput(f"shifts[{n}].day", f"day {shift.day} stands twice; keep one shift a day")
        days.add(shift.day)
        if shift.end <= shift.start:
            raise BadInput(f"shifts[{n}].end", f"must come after start ({shift.start}), is {shift.end}")
    return roster


def _unique(where: str, names: list[str]) -> None:
    for n, name in enumerate(names):
        if name in names[:n]:
            raise BadInput(f"{where}[{n}].id", f"{shown(name)} stands already in {where}[{names.index(name)}]")


def vans_by_lead(roster: Roster) -> dict[str, Van]:
    """Return whose van each lead drives: their own, or the next of the yard that is nobody's."""
    vans = {v.lead: v for v in roster.vans if v.lead is not None}
    free = [v for v in roster.vans if v.lead is None]
    for person in roster.people:
        if person.lead and person.id not in vans:
            van = next((v for v in free if v.yard == person.yard), None)
            if van is not None:
                vans[person.id] = van
                free.remove(van)
    return vans


def is_usual(a: Person, b: Person) -> bool:
    """Whether one of the two names the other as a usual partner."""
    return b.id in a.usual_with or a.id in b.usual_with
