"""What would have to be undone before a waiting job can go, as data: so many parts, minutes, helpers, a day, a skill.

A remedy is a promise: with all of it undone, and nothing else, the job goes when the week is planned again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from msgspec.structs import replace

from scheduler.week import (
    Arrival,
    Crew,
    Equipment,
    Helpers,
    Reload,
    Shift,
    Stock,
    Vehicle,
    Week,
    Week2,
    Window,
)
from scheduler.week_parts import NamedCrew, NamedCrew2


class Parts(NamedTuple):
    """So many more of a part on the yard's shelf from `day` on."""

    part: str
    yard: str
    day: int
    number: int


class Tools(NamedTuple):
    """So many more of a ladder or tool in the yard's pool on `day`."""

    item: str
    yard: str
    day: int
    number: int


class People(NamedTuple):
    """So many more helpers at the yard on `day`, at `day_cents` each where it has none that day."""

    yard: str
    day: int
    number: int
    day_cents: int


class KitBy(NamedTuple):
    """The kit complete by `day`."""

    day: int


class Skills(NamedTuple):
    """These skills in the crew."""

    crew: str
    skills: tuple[str, ...]


class BetterVan(NamedTuple):
    """A van for the crew that takes at least this much."""

    crew: str
    payload_kg: int
    rack_mm: int
    boxes: int


class LongerDay(NamedTuple):
    """The crew's day begun so many minutes earlier, or its overtime so many longer."""

    crew: str
    day: int
    earlier: int
    later: int


class OpenHours(NamedTuple):
    """A work window for the job, minutes after midnight."""

    day: int
    start: int
    end: int


class AtYard(NamedTuple):
    """The kit brought to this yard."""

    yard: str


class NoRest(NamedTuple):
    """No rest due on that day."""

    crew: str
    day: int


class Free(NamedTuple):
    """These follows, (first, then), given up."""

    pairs: tuple[tuple[str, str], ...]


class SecondLoad(NamedTuple):
    """Crews may come by the yard in mid-day, `minutes` each time, to take on another load."""

    minutes: int


class RestWithin(NamedTuple):
    """A rest may fall within the job's service."""


class WeeklyMinutes(NamedTuple):
    """So many more minutes out of the crew in seven days before each costs more."""

    crew: str
    number: int


class SecondCrew(NamedTuple):
    """Somebody else comes for the lift: these hands and skills, from `start` to `end`, minutes after midnight."""

    day: int
    start: int
    end: int
    hands: int
    skills: tuple[str, ...]


Undo = (
    Parts | Tools | People | KitBy | Skills | BetterVan | LongerDay | OpenHours | AtYard | NoRest | Free
    | SecondLoad | RestWithin | WeeklyMinutes | SecondCrew
)  # fmt: skip


@dataclass(frozen=True)
class Remedy:
    """All that is to be undone at once, and what it then costs more than leaving the job out.

    `cents`: the price on top that makes it pay, None where it pays by itself; `again_cents`: the same with everything
    planned again, at most, None where that was not looked for. `crew`, `day`: where the job then goes, with `out` put
    off for it. `rivals`: waiting jobs that what is undone serves first, counted in where `served`, else unless the
    price is paid. `elsewhere`: the price is as high as it is since what is undone saves that much on planned jobs.
    """

    undo: tuple[Undo, ...]
    crew: str
    day: int
    cents: int | None = None
    again_cents: int | None = None
    out: tuple[str, ...] = ()
    rivals: tuple[str, ...] = ()
    served: bool = False
    elsewhere: bool = False


def with_undone(week: Week, name: str, undo: Iterable[Undo]) -> Week:
    """Return `week` with all that is named undone for job `name`, and nothing else; prices are left alone."""
    for one in undo:
        week = _undone(week, name, one)
    return week


def _undone(week: Week, name: str, undo: Undo) -> Week:
    match undo:
        case KitBy(day):
            return _of_job(week, name, ready_day=day)
        case AtYard(yard):
            return _of_job(week, name, yard=yard)
        case OpenHours(day, start, end):
            windows = next(j for j in week.jobs if j.id == name).windows
            return _of_job(week, name, windows=(*windows, Window(day, start, end, 0)))
        case SecondCrew():
            return _of_job(week, name, assist=None)
        case RestWithin():
            assert week.rest is not None
            return replace(_of_job(week, name, pausable=True), rest=replace(week.rest, within=True))
        case NoRest():
            return replace(week, rest=None)
        case Free(pairs):
            return replace(week, follows=tuple(f for f in week.follows if (f.first, f.then) not in pairs))
        case SecondLoad(minutes):
            assert isinstance(week, Week2)
            return replace(week, reload=Reload(minutes))
        case Parts() | Tools() | People():
            return _with_more(week, undo)
        case _:
            crews = tuple(_of_crew(c, undo) if c.id == undo.crew else c for c in week.crews)
            return replace(week, crews=crews)


def _of_job(week: Week, name: str, **new: object) -> Week:
    return replace(week, jobs=tuple(replace(j, **new) if j.id == name else j for j in week.jobs))


def _of_crew(crew: Crew, undo: Skills | BetterVan | LongerDay | WeeklyMinutes) -> Crew:
    match undo:
        case Skills(_, skills):
            return with_skills(crew, skills)
        case BetterVan(_, payload_kg, rack_mm, boxes):
            return replace(crew, vehicle=Vehicle(payload_kg, rack_mm, boxes))
        case LongerDay(_, day, earlier, later):
            shifts = (
                Shift(s.day, s.start - earlier, s.end, s.overtime + later) if s.day == day else s for s in crew.shifts
            )
            return replace(crew, shifts=tuple(shifts))
        case WeeklyMinutes(_, number):
            assert crew.weekly is not None
            return replace(crew, weekly=replace(crew.weekly, minutes=crew.weekly.minutes + number))


def with_skills(crew: Crew, skills: tuple[str, ...]) -> Crew:
    """Return the crew with these skills too, on every day."""

    def more(there: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*there, *skills)))

    if isinstance(crew, NamedCrew | NamedCrew2):
        crew = replace(crew, by_day={day: more(there) for day, there in crew.by_day.items()})
    return replace(crew, skills=more(crew.skills))


def _with_more(week: Week, undo: Parts | Tools | People) -> Week:
    match undo:
        case Parts(part, yard, day, number):
            shelf = {(s.id, s.yard): s for s in week.stock}
            row = shelf.get((part, yard), Stock(part, yard, 0, ()))
            shelf[part, yard] = replace(row, arrivals=(*row.arrivals, Arrival(day, number)))
            return replace(week, stock=tuple(shelf.values()))
        case Tools(item, yard, day, number):
            pools = {(e.id, e.yard): e for e in week.equipment}
            pool = pools.get((item, yard), Equipment(item, yard, (0,) * week.days))
            counts = tuple(n + number * (d == day) for d, n in enumerate(pool.count))
            pools[item, yard] = replace(pool, count=counts)
            return replace(week, equipment=tuple(pools.values()))
        case People(yard, day, number, day_cents):
            there = {(h.yard, h.day): h for h in week.helpers}
            hired = there.get((yard, day), Helpers(yard, day, 0, day_cents))
            there[yard, day] = replace(hired, count=hired.count + number)
            return replace(week, helpers=tuple(there.values()))
