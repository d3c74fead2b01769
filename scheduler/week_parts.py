"""The parts of a week document as typed values, of both its forms; `scheduler.week` reads and checks them.

Times are minutes after local midnight, money cents, lengths millimetres, weights kilograms, distances metres. Days
count from 0 = `start_date`.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

# Upper limits keep every sum that the engine forms inside the whole numbers that a double holds exactly (2**53).
Name = Annotated[str, Meta(min_length=1)]
Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Minute = Annotated[int, Meta(ge=0, le=1_000_000)]
Cents = Annotated[int, Meta(ge=0, le=10_000_000_000)]
RateCents = Annotated[int, Meta(ge=0, le=1_000_000)]
Metres = Annotated[int, Meta(ge=0, le=1_000_000_000)]
Day = Annotated[int, Meta(ge=0, le=366)]
Latitude = Annotated[float, Meta(ge=-90, le=90)]
Longitude = Annotated[float, Meta(ge=-180, le=180)]


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class Place(_Part, frozen=True):
    id: Name
    lat: Latitude
    lon: Longitude


class Travel(_Part, frozen=True):
    """Square matrices in the order of `places`, from row to column; minutes and metres."""

    minutes: tuple[tuple[Minute, ...], ...]
    metres: tuple[tuple[Metres, ...], ...]


class RestRule(_Part, frozen=True):
    """A route longer than `after` minutes needs a rest of `length`, begun from `earliest` to `latest`."""

    after: Minute
    length: Minute
    earliest: Minute
    latest: Minute

    @property
    def within(self) -> bool:
        """Whether the rest may fall within the service of a pausable job."""
        return False


class RestRule2(RestRule, frozen=True):
    within: bool


class Yard(_Part, frozen=True):
    id: Name
    place: Name


class Shift(_Part, frozen=True):
    day: Day
    start: Minute
    end: Minute
    overtime: Minute


class Vehicle(_Part, frozen=True):
    payload_kg: Count
    rack_mm: Count
    boxes: Count


class Crew(_Part, frozen=True):
    id: Name
    yard: Name
    hands: Count
    skills: tuple[Name, ...]
    shifts: tuple[Shift, ...]
    vehicle: Vehicle
    onboard: dict[Name, Count]
    day_cents: Cents
    minute_cents: RateCents
    overtime_minute_cents: RateCents
    km_cents: RateCents

    @property
    def called(self) -> str:
        """What people call the crew: a document gives it no name, so its id."""
        return self.id

    def skills_on(self, day: int) -> tuple[str, ...]:
        """Return the skills of those who ride that day: a document has one set for all days."""
        return self.skills

    @property
    def weekly(self) -> Weekly | None:
        """What minutes out cost on top, past so many of seven days; None: nothing."""
        return None


class Weekly(_Part, frozen=True):
    """Over days 7w to 7w + 6 every minute out beyond `minutes` costs `cents`, on top of all else."""

    minutes: Minute
    cents: RateCents


class Crew2(Crew, frozen=True, kw_only=True):
    weekly: Weekly | None


class NamedCrew(Crew, frozen=True, kw_only=True):
    """A crew with what stands beside the document, never written into one: its name, and the skills of single days.

    `by_day` holds the days of a crew in which not always the same people ride; `skills` are then those of any day, so
    that a judge who has the document alone allows no less.
    """

    name: Name
    by_day: dict[Day, tuple[Name, ...]] = {}

    @property
    def called(self) -> str:
        return self.name

    def skills_on(self, day: int) -> tuple[str, ...]:
        return self.by_day.get(day, self.skills)


class NamedCrew2(Crew2, frozen=True, kw_only=True):
    name: Name
    by_day: dict[Day, tuple[Name, ...]] = {}

    @property
    def called(self) -> str:
        return self.name

    def skills_on(self, day: int) -> tuple[str, ...]:
        return self.by_day.get(day, self.skills)


class Reload(_Part, frozen=True):
    """Crews may come by their yard in mid-day, `minutes` each time, to take on another load."""

    minutes: Minute


class Helpers(_Part, frozen=True):
    yard: Name
    day: Day
    count: Count
    day_cents: Cents


class Equipment(_Part, frozen=True):
    id: Name
    yard: Name
    count: tuple[Count, ...]


class Arrival(_Part, frozen=True):
    day: Day
    qty: Count


class Stock(_Part, frozen=True):
    id: Name
    yard: Name
    on_hand: Count
    arrivals: tuple[Arrival, ...]


class Window(_Part, frozen=True):
    day: Day
    start: Minute
    end: Minute
    risk_cents: Cents


class Booking(_Part, frozen=True):
    crew: Name
    day: Day
    start: Minute
    hold: Literal["firm", "day", "soft"]
    move_cents: Cents
    retime_cents: Cents
    recrew_cents: Cents


class Job(_Part, frozen=True):
    id: Name
    place: Name
    yard: Name | None
    minutes: Minute
    hands: Count
    weight_kg: Count
    box_mm: Count
    boxes: Count
    skills: tuple[Name, ...]
    equipment: dict[Name, Count]
    parts: dict[Name, Count]
    ready_day: Day | None
    windows: tuple[Window, ...]
    due_day: Annotated[int, Meta(ge=-10_000, le=10_000)] | None
    late_cents: Cents
    skip_cents: Cents
    booked: Booking | None

    @property
    def pausable(self) -> bool:
        """Whether the crew may rest in the middle of the service."""
        return False

    @property
    def assist(self) -> Assist | None:
        """What a second crew comes for; None: no one has to."""
        return None


class Assist(_Part, frozen=True):
    """A second crew comes for `minutes`, begun from `from_min` to `to_min` minutes after the job's start."""

    minutes: Annotated[int, Meta(ge=1, le=1_000_000)]
    from_min: Minute = msgspec.field(name="from")
    to_min: Minute = msgspec.field(name="to")
    hands: Count
    skills: tuple[Name, ...]


class Job2(Job, frozen=True):
    pausable: bool
    assist: Assist | None


class Follow(_Part, frozen=True):
    first: Name
    then: Name
    min_days: Annotated[int, Meta(ge=0, le=366)]
    max_days: Annotated[int, Meta(ge=0, le=366)] | None
    same_crew: bool

    def most(self, day: int) -> int | None:
        """Return how many days later at most `then` may go where `first` goes on `day`, None: any number."""
        return self.max_days


class RowFollow(Follow, frozen=True):
    """Two days of one job, the second on the next of the days `worked` (ascending), on which somebody works.

    `worked` stands beside the document, which counts days of the calendar: its `max_days` is the longest gap, so that a
    judge that has the document alone allows no less.
    """

    worked: tuple[Day, ...] = ()

    def most(self, day: int) -> int | None:
        """Return how many days after `day` the next one on which somebody works comes; none does: `max_days`."""
        later = next((other for other in self.worked if other > day), None)
        return self.max_days if later is None else later - day


class Week(_Part, frozen=True):
    format: Literal["week/1", "week/2"]
    id: Name
    start_date: datetime.date
    days: Annotated[int, Meta(ge=1, le=366)]
    timezone: Name
    places: tuple[Place, ...]
    travel: Travel
    rest: RestRule | None
    yards: tuple[Yard, ...]
    crews: tuple[Crew, ...]
    helpers: tuple[Helpers, ...]
    equipment: tuple[Equipment, ...]
    stock: tuple[Stock, ...]
    jobs: tuple[Job, ...]
    follows: tuple[Follow, ...]
    broken_cents: Cents

    @property
    def reload(self) -> Reload | None:
        """Whether and how crews may take on another load in mid-day."""
        return None


class Week2(Week, frozen=True):
    """The second format: rests within a service, second crews, reloads, weekly minutes."""

    rest: RestRule2 | None
    crews: tuple[Crew2, ...]
    jobs: tuple[Job2, ...]
    reload: Reload | None
