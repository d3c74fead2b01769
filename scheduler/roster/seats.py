"""Who could ride with whom: people, crews with their vans, and the work of each day, as the roster is made of them.

Days count from 0, a Monday. A day has two halves, 0 the morning and 1 the afternoon, which noon parts.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

HALVES = ("morning", "afternoon")
WEEKEND = (5, 6)  # Saturday and Sunday, from 0 = Monday

_PLURAL = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")
_SHORT = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

Seat = tuple[int, int, str]  # day, half, crew
Rides = dict[Seat, tuple[str, ...]]  # who rides, who leads first; a seat that is not in it stays in the yard


@dataclass(frozen=True)
class Rider:
    """One who works in pairs. `lead`: may lead one; a `learner` rides with an `experienced` lead only.

    weekdays: those usually worked, 0 = Monday. weekly_min: the most minutes of Monday to Sunday, None: no such limit.
    away: why, by day and half. turns: weekend days worked in the weeks before.
    """

    id: str
    name: str
    yard: str
    lead: bool = False
    learner: bool = False
    experienced: bool = True
    skills: frozenset[str] = frozenset()
    weekdays: frozenset[int] = frozenset(range(7))
    weekly_min: int | None = None
    away: Mapping[tuple[int, int], str] = field(default_factory=dict)
    turns: int = 0


@dataclass(frozen=True)
class SeatedCrew:
    """A crew with its van: `usual` are the people who ride in it, the lead first; it goes out with so many or not.

    minutes: how long it works, by day and half; a half that is not in it is no time of the crew's. shut: why it has no
    hours on a day on which it usually works, such as a van that is out.
    """

    id: str
    name: str
    yard: str
    usual: tuple[str, ...]
    minutes: Mapping[tuple[int, int], int]
    shut: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class CrewWork:
    """A job of a crew's day: what it needs and what it is worth to do it that day, in cents; `halves` that it touches.

    Another crew of the yard can do it for `RosterPrices.recrew_cents` less.
    """

    id: str
    name: str
    crew: str
    day: int
    halves: frozenset[int]
    minutes: int
    skills: frozenset[str]
    cents: int


@dataclass(frozen=True)
class RosterPrices:
    """What weighs in a roster beside the work, in cents.

    move_cents: each half day that somebody rides in another crew than their own, at an hour at which their own works.
    midday_cents: each change of vans at noon. open_cents: what a crew that goes out for a half day wins, whatever the
    work. weekend_cents: each weekend day of the one of a yard who has most of them.
    """

    move_cents: int = 1500
    midday_cents: int = 2000
    open_cents: int = 4000
    recrew_cents: int = 1500
    weekend_cents: int = 1000
    fixed_cents: int = 2_000_000  # more than any work: what is set by hand stands wherever it can


@dataclass(frozen=True)
class RosterCase:
    """All that a roster is made of. `fixed`: the crew that is set for somebody, by day, half and rider, "" for none."""

    start_date: datetime.date
    days: int
    riders: tuple[Rider, ...]
    crews: tuple[SeatedCrew, ...]
    works: tuple[CrewWork, ...] = ()
    fixed: Mapping[tuple[int, int, str], str] = field(default_factory=dict)
    prices: RosterPrices = RosterPrices()

    def rider(self, rider_id: str) -> Rider:
        """Return the rider of an id."""
        return self._riders[rider_id]

    def crew(self, crew_id: str) -> SeatedCrew:
        """Return the crew of an id."""
        return self._crews[crew_id]

    def home(self, rider_id: str) -> SeatedCrew | None:
        """Return the crew in which somebody usually rides."""
        return self._homes.get(rider_id)

    def seats(self) -> list[Seat]:
        """Return every half day of every crew on which it could go out, by day."""
        found = [(d, h, crew.id) for crew in self.crews for d, h in crew.minutes if d < self.days]
        return sorted(found, key=lambda seat: seat[:2])

    def absent(self, rider: Rider, day: int, half: int) -> str | None:
        """Return why somebody does not work that half day, in words that their name goes before; None: they do."""
        if (day, half) in rider.away:
            why = rider.away[day, half]
            return f"is away ({why})" if why else "is away"
        home = self.home(rider.id)
        if day % 7 not in rider.weekdays and (home is None or (day, half) not in home.minutes):
            return f"does not work on {_PLURAL[day % 7]}"
        return None

    def day_name(self, day: int) -> str:
        """Return a day as people write it: Mon Mar 15."""
        date = self.start_date + datetime.timedelta(days=day)
        return f"{_SHORT[day % 7]} {_MONTHS[date.month - 1]} {date.day}"

    def usual(self) -> Rides:
        """Return who rides where everybody who works rides in their own crew, and a crew that lacks one stays in."""
        return {
            (d, h, crew_id): self.crew(crew_id).usual
            for d, h, crew_id in self.seats()
            if all(self.absent(self.rider(who), d, h) is None for who in self.crew(crew_id).usual)
        }

    @cached_property
    def _riders(self) -> dict[str, Rider]:
        return {rider.id: rider for rider in self.riders}

    @cached_property
    def _crews(self) -> dict[str, SeatedCrew]:
        return {crew.id: crew for crew in self.crews}

    @cached_property
    def _homes(self) -> dict[str, SeatedCrew]:
        return {rider: crew for crew in self.crews for rider in crew.usual}
