"""Random weeks for tests: small, with every rule in play and too little of everything, so that rules really bind.

`small_week` draws one from a seeded generator; `weeks` is the same as a hypothesis strategy. `spoilt` damages
documents, for tests of reading.
"""

from __future__ import annotations

import datetime
import json
import random
from typing import Any, Literal

import msgspec
from hypothesis import strategies as st

from scheduler.week import (
    Arrival,
    Booking,
    Crew,
    Equipment,
    Follow,
    Helpers,
    Job,
    Place,
    RestRule,
    Shift,
    Stock,
    Travel,
    Vehicle,
    Week,
    Window,
    Yard,
    checked,
)

Hold = Literal["firm", "day", "soft"]
SKILLS = ("masonry", "roof-mount", "motor-setup")
ITEMS = ("ladder-24", "scaffold")
PARTS = ("lag-3/8x4", "anchor-1/2")


class _Draw:
    """Chance, in the units of a week: every time is a multiple of `step` minutes, so that moments often coincide."""

    def __init__(self, rng: random.Random, step: int) -> None:
        self.rng, self.step = rng, step

    def minutes(self, low: int, high: int) -> int:
        return self.step * self.rng.randint(-(-low // self.step), high // self.step)

    def often(self, chance: float) -> bool:
        return self.rng.random() < chance

    def price(self, low: int, high: int) -> int:
        """A price in cents, now and then 0."""
        return 0 if self.often(0.1) else self.rng.randint(low, high)

    def some(self, names: tuple[str, ...], chance: float) -> tuple[str, ...]:
        return tuple(name for name in names if self.often(chance))


def small_week(
    rng: random.Random, jobs: int = 5, crews: int = 2, days: int = 2, yards: int | None = None, step: int | None = None
) -> Week:
    """Return a valid week of the given size, from `rng` alone.

    `yards` and `step` (the minutes of which all times are multiples) are drawn where None. Shifts hold about one to
    three jobs; part of the jobs can usually not be planned, and some are not worth it.
    """
    draw = _Draw(rng, step or rng.choice((1, 5, 10)))
    yard_ids = [f"yard-{n + 1}" for n in range(yards or (2 if draw.often(0.35) else 1))]
    job_ids = [f"job-{n + 1}" for n in range(jobs)]
    crew_ids = [f"crew-{n + 1}" for n in range(crews)]
    places = yard_ids + [f"place-{n + 1}" for n in range(max(1, jobs - draw.often(0.4)))]
    week = Week(
        format="week/1",
        id=f"drawn-{rng.randrange(10**6)}",
        start_date=datetime.date(2027, 4, 5),
        days=days,
        timezone="America/Denver",
        places=tuple(Place(p, round(rng.uniform(40, 41), 6), round(rng.uniform(-105, -104), 6)) for p in places),
        travel=_travel(draw, len(places)),
        rest=_rest(draw),
        yards=tuple(Yard(y, y) for y in yard_ids),
        crews=tuple(_crew(draw, c, rng.choice(yard_ids), days) for c in crew_ids),
        helpers=tuple(
            Helpers(y, d, rng.randint(0, 2), draw.price(1_000, 9_000))
            for y in yard_ids
            for d in range(days)
            if draw.often(0.7)
        ),
        equipment=tuple(
            Equipment(item, y, tuple(rng.choice((0, 1, 1, 2)) for _ in range(days)))
            for item in ITEMS
            for y in yard_ids
            if draw.often(0.85)
        ),
        stock=tuple(
            Stock(
                part,
                y,
                rng.randint(0, 12),
                tuple(Arrival(rng.randrange(days), rng.randint(0, 6)) for _ in range(rng.choice((0, 1, 1, 2)))),
            )
            for part in PARTS
            for y in yard_ids
            if draw.often(0.85)
        ),
        jobs=tuple(_job(draw, j, rng.choice(places), yard_ids, crew_ids, days) for j in job_ids),
        follows=_follows(draw, job_ids),
        broken_cents=draw.price(10_000, 60_000),
    )
    return checked(week)


def _travel(draw: _Draw, size: int) -> Travel:
    """Each direction drawn by itself: asymmetric, and now and then slower than a way round."""

    def cell(a: int, b: int) -> int:
        if a == b:
            return 0
        return draw.minutes(0, 10) if draw.often(0.3) else draw.minutes(5, 35)

    minutes = [[cell(a, b) for b in range(size)] for a in range(size)]
    metres = [[0 if a == b else draw.rng.randint(0, 40_000) for b in range(size)] for a in range(size)]
    return Travel(tuple(map(tuple, minutes)), tuple(map(tuple, metres)))


def _rest(draw: _Draw) -> RestRule | None:
    if draw.often(0.25):
        return None
    earliest = draw.minutes(510, 660)
    latest = earliest + draw.minutes(0, 120)
    return RestRule(draw.minutes(90, 240), draw.minutes(0, 45), earliest, latest)


def _crew(draw: _Draw, name: str, yard: str, days: int) -> Crew:
    rng = draw.rng
    shifts = []
    for day in range(days):
        if draw.often(0.85):
            start = draw.minutes(420, 500)
            overtime = draw.minutes(0, 90) if draw.often(0.5) else 0
            shifts.append(Shift(day, start, start + draw.minutes(240, 460), overtime))
    return Crew(
        id=name,
        yard=yard,
        hands=rng.choice((1, 2, 2, 3)),
        skills=draw.some(SKILLS, 0.85),
        shifts=tuple(shifts),
        vehicle=Vehicle(rng.randint(150, 500), rng.randint(5_000, 8_000), rng.randint(2, 6)),
        onboard={item: rng.randint(0, 2) for item in draw.some(ITEMS, 0.4)},
        day_cents=draw.price(500, 6_000),
        minute_cents=draw.price(10, 120),
        overtime_minute_cents=draw.price(10, 90),
        km_cents=draw.price(20, 99),
    )


def _job(draw: _Draw, name: str, place: str, yards: list[str], crews: list[str], days: int) -> Job:
    rng = draw.rng
    minutes = 0 if draw.often(0.07) else draw.minutes(15, 100)
    windows = tuple(
        _window(draw, day, minutes) for day in range(days) if draw.often(0.85) for _ in range(rng.choice((1, 1, 2, 3)))
    )
    return Job(
        id=name,
        place=place,
        yard=None if draw.often(0.6) else rng.choice(yards),
        minutes=minutes,
        hands=rng.choice((0, 1, 1, 2, 2, 2, 3, 4)),
        weight_kg=rng.randint(0, 140),
        box_mm=rng.randint(0, 7_000),
        boxes=rng.choice((0, 1, 1, 2)),
        skills=draw.some(SKILLS, 0.12),
        equipment={item: rng.randint(0, 2) for item in draw.some(ITEMS, 0.25)},
        parts={part: rng.randint(0, 6) for part in draw.some(PARTS, 0.4)},
        ready_day=None if draw.often(0.05) else rng.choice((0, 0, 0, rng.randrange(days))),
        windows=windows,
        due_day=None if draw.often(0.4) else rng.randint(-2, days),
        late_cents=draw.price(500, 6_000),
        skip_cents=draw.price(8_000, 120_000),
        booked=_booking(draw, windows, crews, days) if crews and draw.often(0.5) else None,
    )


def _window(draw: _Draw, day: int, minutes: int) -> Window:
    start = draw.minutes(420, 680)
    spare = draw.minutes(-20, 0) if draw.often(0.08) else draw.minutes(0, 260)
    end = max(start + draw.step, start + minutes + spare)
    return Window(day, start, end, 0 if draw.often(0.4) else draw.rng.randint(1, 5_000))


def _booking(draw: _Draw, windows: tuple[Window, ...], crews: list[str], days: int) -> Booking:
    """Mostly a time that one of the windows holds; the crew may be off that day."""
    rng = draw.rng
    day, start = rng.randrange(days), draw.minutes(420, 780)
    if windows and draw.often(0.8):
        window = rng.choice(windows)
        day, start = window.day, draw.minutes(window.start, window.end)
    hold: Hold = rng.choice(("firm", "day", "soft"))
    return Booking(
        rng.choice(crews), day, start, hold, draw.price(500, 9_000), draw.price(500, 5_000), draw.price(500, 5_000)
    )


def _follows(draw: _Draw, jobs: list[str]) -> tuple[Follow, ...]:
    """Pairs along one order of the jobs, so never in a circle; several make chains and forks."""
    rng = draw.rng
    pairs = [(a, b) for n, a in enumerate(jobs) for b in jobs[n + 1 :]]
    chosen = rng.sample(pairs, min(len(pairs), rng.choice((0, 0, 1, 1, 2))))
    follows = []
    for first, then in chosen:
        low = rng.choice((0, 0, 1))
        high = None if draw.often(0.4) else low + rng.choice((0, 0, 1))
        follows.append(Follow(first, then, low, high, draw.often(0.4)))
    return tuple(follows)


def weeks(max_jobs: int = 5, max_crews: int = 3, max_days: int = 3) -> st.SearchStrategy[Week]:
    """Valid weeks of every size from nothing to the limits."""
    return st.builds(
        small_week,
        st.integers(0, 2**32 - 1).map(random.Random),
        jobs=st.integers(0, max_jobs),
        crews=st.integers(0, max_crews),
        days=st.integers(1, max_days),
    )


def as_data(document: msgspec.Struct) -> Any:
    """Return the document as the plain lists and dicts that its JSON text holds."""
    return json.loads(msgspec.json.encode(document))


def deep(levels: int) -> Any:
    """Return lists nested `levels` deep."""
    value: Any = 0
    for _ in range(levels):
        value = [value]
    return value


JUNK: tuple[Any, ...] = (
    None, True, False, -1, 0, 1, 1.5, -0.0, 10**6, 2**31, 2**53 + 1, 2**63, 2**64, 10**30, 1e300,
    float("nan"), float("inf"), float("-inf"), "", " ", "crew-1", "0", "2027-02-30", "\x00", "\ud800", "é" * 50,
    [], [[]], [None], {}, {"": 0}, {"id": 1}, deep(20),
)  # fmt: skip


def _nodes(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path]
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        found += _nodes(item, (*path, key))
    return found


@st.composite
def spoilt(draw: st.DrawFn, documents: st.SearchStrategy[msgspec.Struct]) -> Any:
    """Plain data of a valid document with one to three places changed: mostly no longer valid, now and then still."""
    data = as_data(draw(documents))
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(_nodes(data)))
        if not path:
            continue
        holder = data
        for key in path[:-1]:
            holder = holder[key]
        last = path[-1]
        match draw(st.sampled_from(("replace", "remove", "add", "double", "nudge"))):
            case "replace":
                holder[last] = draw(st.sampled_from(JUNK))
            case "remove":
                del holder[last]
            case "add" if isinstance(holder, dict):
                holder[draw(st.sampled_from(("", "note", "id", "Day", "start ")))] = draw(st.sampled_from(JUNK))
            case "add" | "double":
                if isinstance(holder, list):
                    holder.append(holder[last])
            case "nudge":
                if type(holder[last]) is int:
                    holder[last] += draw(st.integers(-2, 2))
    return data
