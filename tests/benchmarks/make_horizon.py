"""Horizons of weeks invented for timing the planner, in the second format, of the make of the exchanged ones.

Any number of jobs, crews, days and yards, from a seed. Half a job's figures are those of `make_weeks`; what is new here
(windows of about half of the days, ready days spread over the horizon, second crews for long boxes, small vans that
come back for a second load, minutes by the week) is invented to look like the exchanged horizons; no outside source.

Run from the project's root: `python -m tests.benchmarks.make_horizon 900 30 24 3 --out horizon.json`.
"""

from __future__ import annotations

import argparse
import datetime
import math
import random
from collections import Counter
from pathlib import Path

import msgspec

from scheduler.documents import encode
from scheduler.week import (
    Arrival,
    Assist,
    Booking,
    Crew2,
    Equipment,
    Follow,
    Helpers,
    Job2,
    Place,
    Reload,
    RestRule2,
    Shift,
    Stock,
    Vehicle,
    Week2,
    Weekly,
    Window,
    Yard,
    checked,
)
from tests.benchmarks.make_weeks import KM_A_DEGREE, SKILLS, SPANS, STORM_CENTS, roads

BOXES_MM = (2688, 3298, 3907, 3907, 4517, 4900, 4900, 5126, 5126, 5736, 6346, 7565)
HEAVY_MM = 5000  # from which on a second crew may have to come for the lift
LIFT_MIN = 40
SHORT_SHARE, WINDOW_SHARE, BOOKED_SHARE, HEAVY_SHARE = 0.25, 0.62, 0.13, 0.35


def make_horizon(jobs: int, crews: int, days: int, yards: int, seed: int = 0) -> Week2:
    """Return a valid horizon of `days` days, the first a Monday, on whose Sundays nobody works."""
    rng = random.Random(f"horizon {jobs} {crews} {days} {yards} {seed}")
    spread = 0.3 + 0.12 * math.sqrt(yards)
    yard_at = [(40 + rng.uniform(-spread, spread), -104 + rng.uniform(-spread, spread)) for _ in range(yards)]
    names = [f"yard-{n + 1}" for n in range(yards)]
    team = [_crew(rng, f"crew-{n + 1:02}", names[n % yards], days) for n in range(crews)]
    wet = {d: rng.choice(((720, 1020), (480, 750), (540, 960))) for d in range(days) if rng.random() < 0.15}
    at, made = list(yard_at), []
    for n in range(jobs):
        near = rng.randrange(yards)
        km, angle = abs(rng.gauss(0, 16)) + 0.5, rng.uniform(0, 2 * math.pi)
        lat, lon = yard_at[near]
        at.append((lat + km / KM_A_DEGREE * math.sin(angle), lon + km / (KM_A_DEGREE * 0.77) * math.cos(angle)))
        made.append(_job(rng, n + 1, names[near] if rng.random() < 0.79 else None, days, wet))
    taken: set[tuple[str, int]] = set()
    made = [
        msgspec.structs.replace(job, booked=_booking(rng, job, team, taken)) if rng.random() < BOOKED_SHARE else job
        for job in made
    ]
    ids = [*names, *(f"p{n + 1:04}" for n in range(jobs))]
    pairs = rng.sample(made, 2 * max(1, jobs // 75))
    week = checked(Week2(
        format="week/2", id=f"horizon-{jobs}x{crews}x{days}-{seed}", start_date=datetime.date(2027, 4, 5), days=days,
        timezone="America/Denver",
        places=tuple(Place(name, round(lat, 6), round(lon, 6)) for name, (lat, lon) in zip(ids, at, strict=True)),
        travel=roads(rng, at), rest=RestRule2(330, 30, 660, 840, within=True), reload=Reload(15),
        yards=tuple(Yard(y, y) for y in names), crews=tuple(team),
        helpers=tuple(
            Helpers(y, d, rng.choice((1, 1, 1, 2)), 17_000) for y in names for d in range(days) if _worked(d)
        ),
        equipment=_equipment(rng, names, crews / yards, days), stock=_stock(rng, names, made, days),
        jobs=tuple(made), broken_cents=400_000,
        follows=tuple(
            Follow(a.id, b.id, rng.choice((0, 1, 1)), rng.choice((None, None, 2)), False)
            for a, b in zip(pairs[::2], pairs[1::2], strict=True)
        ),
    ))  # fmt: skip
    assert isinstance(week, Week2)
    return week


def _worked(day: int) -> bool:
    return day % 7 != 6


def _crew(rng: random.Random, name: str, yard: str, days: int) -> Crew2:
    on = [d for d in range(days) if d % 7 < 5 and rng.random() < 0.97]
    small = rng.random() < 0.4
    return Crew2(
        id=name, yard=yard, hands=2, skills=tuple(s for s in SKILLS if rng.random() < 0.8),
        shifts=tuple(
            Shift(d, start := rng.choice((420, 450, 450, 480)), start + rng.choice((480, 510, 540)),
                  rng.choice((0, 60, 60, 90)))
            for d in on
        ),
        vehicle=Vehicle(rng.choice((130, 180)) if small else rng.choice((450, 600, 900)),
                        rng.choice((5200, 6400, 7900, 7900)), 1 if small else rng.choice((1, 3, 4))),
        onboard={"stepladder-8": 2, "ladder-24": rng.choice((0, 0, 1, 2))},
        day_cents=rng.choice((6_000, 8_000)), minute_cents=(minute := rng.choice((110, 110, 120, 135))),
        overtime_minute_cents=65, km_cents=rng.choice((55, 65, 80)),
        weekly=Weekly(rng.choice((1920, 2160, 2400, 2400)), minute // 2) if rng.random() < 0.7 else None,
    )  # fmt: skip


def _job(rng: random.Random, n: int, yard: str | None, days: int, wet: dict[int, tuple[int, int]]) -> Job2:
    short = rng.random() < SHORT_SHARE
    length = 1469 if short else rng.choice(BOXES_MM)
    boxes = 0 if short else 2 if rng.random() < 0.05 else 1
    if short:
        minutes = rng.choice((30, 40, 45, 45, 60, 75, 90, 120))
    elif rng.random() < 0.3:  # a repair or a service with a part on the rack
        minutes = rng.choice((60, 60, 75, 90, 105, 120, 120))
    else:
        minutes = max(150, min(415, 5 * round((110 + length / 36 + rng.gauss(0, 35) + 60 * (boxes - 1)) / 5)))
    wall = "" if short else rng.choices(("", "stucco", "masonry", "roof-mount"), (50, 20, 20, 10))[0]
    skills = tuple(s for s in (wall, "motor-setup") if s and (s == wall or rng.random() < 0.3))
    if short:
        equipment = {"stepladder-8": 1} if rng.random() < 0.8 else {"ladder-24": 1}
        parts = {"sealant": 1} if rng.random() < 0.5 else {}
    else:
        equipment = {rng.choices(("stepladder-8", "ladder-24", "ladder-32"), (52, 34, 14))[0]: 2}
        equipment |= {"hammer-drill": 1} if wall == "masonry" else {}
        equipment |= {"material-lift": 1} if length > 5500 and rng.random() < 0.3 else {}
        screws = 8 if length < 5000 else rng.choice((8, 10, 12))
        lag = {rng.choice(("lag-3/8x5", "lag-3/8x5", "lag-3/8x4")): screws, "sealant": 1}
        parts = {"anchor-1/2": screws, "sleeve-kit": 1, "sealant": 1} if wall == "masonry" else lag
    ready = rng.choices((0, rng.randrange(days - 1), None), (28, 70, 2))[0]
    share = WINDOW_SHARE * rng.uniform(0.6, 1.2)
    windows = tuple(w for d in range(days) if _worked(d) and rng.random() < share for w in _windows(rng, d, wet))
    due = ready + rng.choice((3, 5, 7, 7, 10, 14)) if ready is not None and rng.random() < 0.8 else None
    assist = None
    if length > HEAVY_MM and minutes >= 200 and rng.random() < HEAVY_SHARE:
        first = rng.choice((45, 75))
        assist = Assist(LIFT_MIN, first, first + rng.choice((20, 45, 60)), 2,
                        ("lift-operator",) if rng.random() < 0.2 else ())  # fmt: skip
    skip = rng.choice((40_000, 55_000, 80_000) if short else (50_000, 80_000, 110_000, 160_000))
    return Job2(
        id=f"job-{n:04}", place=f"p{n:04}", yard=yard, minutes=minutes, hands=3 if length > 7000 else 2,
        weight_kg=rng.randint(0, 25) if short else max(5, round(length / 75 + rng.gauss(0, 8))),
        box_mm=length, boxes=boxes, skills=skills, equipment=equipment, parts=parts, ready_day=ready,
        windows=windows, due_day=due,
        late_cents=rng.choice((2_500, 5_000, 8_000)), skip_cents=skip if assist is None else 8 * skip // 5,
        booked=None, pausable=rng.random() < 0.6, assist=assist,
    )  # fmt: skip


def _windows(rng: random.Random, day: int, wet: dict[int, tuple[int, int]]) -> list[Window]:
    """The customer's hours, on a wet day as far as they are dry."""
    start, end = rng.choice(SPANS)
    if day in wet:
        start, end = max(start, wet[day][0]), min(end, wet[day][1])
        return [Window(day, start, end, STORM_CENTS)] if end - start >= 60 else []
    return [Window(day, start, end, rng.choice((0, 0, 500, 1_500)))]


def _booking(rng: random.Random, job: Job2, team: list[Crew2], taken: set[tuple[str, int]]) -> Booking | None:
    """A time inside a window, with a crew of the yard that can do the job and has no other booking that day."""
    fit = [
        (w, crew)
        for w in job.windows
        if job.ready_day is not None and w.day >= job.ready_day and w.end - w.start >= job.minutes
        for crew in team
        if job.yard in (None, crew.yard) and set(job.skills) <= set(crew.skills) and (crew.id, w.day) not in taken
        and job.box_mm <= crew.vehicle.rack_mm and job.weight_kg <= crew.vehicle.payload_kg
        and any(s.day == w.day and s.start + 60 <= w.start and w.end <= s.end + 30 for s in crew.shifts)
    ]  # fmt: skip
    if not fit:
        return None
    window, crew = rng.choice(fit)
    taken.add((crew.id, window.day))
    start = 5 * rng.randint(-(-window.start // 5), (window.end - job.minutes) // 5)
    return Booking(crew.id, window.day, start, rng.choices(("firm", "day", "soft"), (1, 3, 8))[0], 12_000, 2_500, 1_500)


def _equipment(rng: random.Random, yards: list[str], crews: float, days: int) -> tuple[Equipment, ...]:
    shares = {"ladder-24": 0.95, "ladder-32": 0.45, "material-lift": 0.3, "hammer-drill": 0.55}
    return tuple(
        Equipment(item, y, tuple(max(1, most - (rng.random() < 0.3)) for _ in range(days)))
        for y in yards for item, share in shares.items() for most in [max(1, round(share * crews))]
    )  # fmt: skip


def _stock(rng: random.Random, yards: list[str], jobs: list[Job2], days: int) -> tuple[Stock, ...]:
    """About a third of what a yard's share of the jobs would use on hand, the rest and a little more week by week."""
    use: Counter[str] = Counter()
    for job in jobs:
        use.update(job.parts)
    made = []
    for part, n in sorted(use.items()):
        for y in yards:
            share, each = n / len(yards), max(1, days // 7)
            arrivals = [
                Arrival(min(days - 1, 7 * w + rng.randrange(7)), round(share * rng.uniform(0.6, 0.8) / each))
                for w in range(each)
            ]
            made.append(Stock(part, y, round(share * rng.uniform(0.35, 0.5)), tuple(arrivals)))
    return tuple(made)


def main() -> None:
    parser = argparse.ArgumentParser(description="Invent a horizon for timing the planner.")
    for name in ("jobs", "crews", "days", "yards"):
        parser.add_argument(name, type=int)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    given.out.write_bytes(encode(make_horizon(given.jobs, given.crews, given.days, given.yards, given.seed)))


if __name__ == "__main__":
    main()
