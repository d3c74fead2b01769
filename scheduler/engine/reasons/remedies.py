"""What would have to be undone before a waiting job can go, as data: so many parts, minutes, helpers, a day, a skill.

A remedy is a promise: with all of it undone, and nothing else, the job goes when the week is planned again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


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
    off for it. `rivals`: waiting jobs that what is undone serves first, counted in where `served`.
    """

    undo: tuple[Undo, ...]
    crew: str
    day: int
    cents: int | None = None
    again_cents: int | None = None
    out: tuple[str, ...] = ()
    rivals: tuple[str, ...] = ()
    served: bool = False
