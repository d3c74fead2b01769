"""Weeks invented for timing the planner, of the make of the exchanged examples and of any size, from a seed.

`installs`: every job sets up one or two boxed awnings, 150 to 380 minutes; `mixed`: half of the jobs are surveys and
repairs of half an hour to two hours. All figures (shares of skills, windows, stock for about three quarters of the
need, booked visits for one job in five) are invented to look like the examples; no outside source.

Run from the project's root: `python -m tests.benchmarks.make_weeks installs 30 3 --seed 7 --out week.json`.
"""

from __future__ import annotations

import argparse
import datetime
import math
import random
from collections import Counter
from pathlib import Path
from typing import Literal

from scheduler.documents import encode
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

Make = Literal["installs", "mixed"]
DAYS = 6
DETOUR = 1.32  # road to straight line
KM_A_DEGREE = 111.2
BOXES_MM = (2688, 3298, 3907, 4517, 5126, 5736, 6346, 7565)
SKILLS = ("masonry", "stucco", "roof-mount", "motor-setup", "lift-operator")
SPANS = ((480, 1020), (480, 720), (720, 1020), (540, 960))
STORM_CENTS = 9_000  # risk of an appointment on a stormy day
HOLDS: tuple[Literal["firm", "day", "soft"], ...] = ("soft", "soft", "soft", "soft", "soft", "day", "day", "firm")


def make_week(make: Make, jobs: int, crews: int, *, yards: int | None = None, seed: int = 0) -> Week:
    """Return a valid week; `yards`: None takes one for each eight crews."""
    rng = random.Random(f"{make} {jobs} {crews} {yards} {seed}")
    count = yards or max(1, round(crews / 8))
    spread = 0.3 + 0.12 * math.sqrt(count)
    yard_at = [(40 + rng.uniform(-spread, spread), -104 + rng.uniform(-spread, spread)) for _ in range(count)]
    yard_ids = [f"yard-{n + 1}" for n in range(count)]
    home = [n % count for n in range(crews)]
    team = [_crew(rng, f"crew-{n + 1:02}", yard_ids[home[n]]) for n in range(crews)]
    stormy = rng.sample(range(DAYS), rng.choice((1, 2, 3) if make == "installs" else (1, 1, 2)))
    dry = {d: rng.choice(((690, 1020), (720, 1020), (750, 1020), (480, 720), (480, 870), (480, 900))) for d in stormy}
    at: list[tuple[float, float]] = list(yard_at)
    made = []
    for n in range(jobs):
        near = rng.randrange(count)
        km, angle = abs(rng.gauss(0, 22)) + 0.5, rng.uniform(0, 2 * math.pi)
        lat, lon = yard_at[near]
        at.append((lat + km / KM_A_DEGREE * math.sin(angle), lon + km / (KM_A_DEGREE * 0.77) * math.cos(angle)))
        yard = yard_ids[near] if rng.random() < 0.79 else None
        made.append(
            _job(
                rng,
                f"job-{n + 1:04}",
                f"p{n + 1:04}",
                yard,
                make == "mixed" and n % 2 == 0,
                dry,
                team,
            )
        )
    rng.shuffle(made)
    ids = [*yard_ids, *(f"p{n + 1:04}" for n in range(jobs))]
    places = [Place(name, round(lat, 6), round(lon, 6)) for name, (lat, lon) in zip(ids, at, strict=True)]
    pairs = rng.sample(made, 2 * max(1, jobs // 50))
    return checked(Week(
        format="week/1", id=f"{make}-{jobs}x{crews}-{seed}", start_date=datetime.date(2027, 4, 5), days=DAYS,
        timezone="America/Denver", places=tuple(places), travel=roads(rng, at),
        rest=RestRule(360, 30, 660, 840), yards=tuple(Yard(y, y) for y in yard_ids), crews=tuple(team),
        helpers=tuple(
            Helpers(y, d, rng.randint(1, max(1, crews // count // 4)), 19_000)
            for y in yard_ids for d in range(DAYS) if rng.random() < 0.85
        ),
        equipment=_equipment(rng, yard_ids, crews / count), stock=_stock(rng, yard_ids, made),
        jobs=tuple(made), broken_cents=400_000,
        follows=tuple(
            Follow(a.id, b.id, 1, rng.choice((None, 2)), rng.random() < 0.4)
            for a, b in zip(pairs[::2], pairs[1::2], strict=True)
        ),
    ))  # fmt: skip


def _crew(rng: random.Random, name: str, yard: str) -> Crew:
    days = sorted(rng.sample(range(DAYS), rng.choice((4, 5, 5, 5, 6))))
    return Crew(
        id=name, yard=yard, hands=2, skills=tuple(s for s in SKILLS if rng.random() < 0.8),
        shifts=tuple(
            Shift(d, start := rng.choice((420, 450, 450, 480)), start + rng.choice((480, 510, 540)),
                  rng.choice((0, 60, 90)))
            for d in days
        ),
        vehicle=Vehicle(rng.choice((450, 600, 900)), rng.choice((5200, 6400, 7900)), rng.choice((2, 3, 3, 4))),
        onboard={"stepladder-8": 2, "ladder-24": rng.choice((0, 0, 1, 2))},
        day_cents=rng.choice((6_000, 8_000)), minute_cents=rng.choice((110, 110, 120, 135)),
        overtime_minute_cents=65, km_cents=rng.choice((55, 65, 80)),
    )  # fmt: skip


def _job(
    rng: random.Random, name: str, place: str, yard: str | None, short: bool, dry: dict[int, tuple[int, int]],
    team: list[Crew],
) -> Job:  # fmt: skip
    length = rng.choice(BOXES_MM[:-1] if rng.random() < 0.93 else BOXES_MM[-1:])
    boxes = 0 if short else 2 if rng.random() < 0.05 else 1
    if short:
        minutes = rng.choice((30, 40, 45, 60, 75, 90, 120))
    else:
        minutes = 5 * round((120 + length / 45 + rng.gauss(0, 32) + 60 * (boxes - 1)) / 5)
    minutes = max(30, min(400, minutes))
    wall = rng.choices(("", "stucco", "masonry", "roof-mount"), (45, 25, 18, 12))[0]
    skills = tuple(s for s in (wall, "motor-setup") if s and (s == wall or rng.random() < 0.3))
    if short:
        skills, equipment = (("motor-setup",) if rng.random() < 0.3 else ()), {"stepladder-8": 1}
        if rng.random() < 0.2:
            equipment = {"ladder-24": 1}
        parts = {"sealant": 1} if rng.random() < 0.45 else {}
    else:
        equipment = {rng.choices(("stepladder-8", "ladder-24", "ladder-32"), (50, 40, 10))[0]: 2}
        if wall == "masonry":
            equipment["hammer-drill"] = 1
        if length > 5500 and rng.random() < 0.3:
            equipment["material-lift"] = 1
        if rng.random() < 0.02:
            equipment["scaffold"] = 1
        screws = 8 if length < 5000 else rng.choice((8, 10, 12))
        if wall == "masonry":
            parts = {"anchor-1/2": screws, "sleeve-kit": 1, "sealant": 1}
        else:
            parts = {rng.choice(("lag-3/8x5", "lag-3/8x5", "lag-3/8x4")): screws, "sealant": 1}
    windows = tuple(w for d in range(DAYS) if rng.random() < 0.57 for w in _windows(rng, d, dry, short))
    ready = rng.choices((0, 1, 2, 3, None), (62, 15, 13, 6, 4))[0]
    return Job(
        id=name, place=place, yard=yard, minutes=minutes, hands=3 if length > 6000 and not short else 2,
        weight_kg=rng.randint(5, 25) if short else round(length / 75 + rng.gauss(0, 8)),
        box_mm=1469 if short else length, boxes=boxes, skills=skills, equipment=equipment, parts=parts,
        ready_day=ready, windows=windows, due_day=rng.choice((None, 1, 2, 3, 3, 4, 5, 5)),
        late_cents=rng.choice((2_500, 5_000, 8_000)),
        skip_cents=rng.choice((40_000, 55_000, 80_000) if short else (80_000, 110_000, 160_000)),
        booked=_booking(rng, ready, windows, minutes, yard, team) if rng.random() < 0.2 else None,
    )  # fmt: skip


def _windows(rng: random.Random, day: int, dry: dict[int, tuple[int, int]], short: bool) -> list[Window]:
    """The customer's hours, on a stormy day as far as they are dry; a shower may divide a day for small work."""
    start, end = rng.choice(SPANS)
    if day not in dry:
        return [Window(day, start, end, rng.choice((0, 0, 500, 1_500)))]
    if short and rng.random() < 0.2:
        return [Window(day, 480, 690, STORM_CENTS), Window(day, 870, 1020, STORM_CENTS)]
    start, end = max(start, dry[day][0]), min(end, dry[day][1])
    return [Window(day, start, end, STORM_CENTS)] if end - start >= 60 else []


def _booking(
    rng: random.Random, ready: int | None, windows: tuple[Window, ...], minutes: int, yard: str | None, team: list[Crew]
) -> Booking | None:
    """A time inside a window, mostly with a crew of the yard."""
    fit = [w for w in windows if ready is not None and w.day >= ready and w.end - w.start >= minutes]
    crews = [c for c in team if yard in (None, c.yard)]
    if not fit or not crews:
        return None
    window = rng.choice(fit)
    start = 5 * rng.randint(-(-window.start // 5), (window.end - minutes) // 5)
    return Booking(rng.choice(crews).id, window.day, start, rng.choice(HOLDS), 12_000, 2_500, 1_500)


def roads(rng: random.Random, at: list[tuple[float, float]]) -> Travel:
    """About 5 minutes and 0.78 more a road kilometre (32 km/h at 5 km, 64 at 35), a little different each way."""
    minutes, metres = [], []
    for n, (lat, lon) in enumerate(at):
        row = []
        for m, (lat_b, lon_b) in enumerate(at):
            km = math.hypot(lat - lat_b, (lon - lon_b) * 0.77) * KM_A_DEGREE * DETOUR
            row.append(0 if n == m else round(1000 * km))
        metres.append(tuple(row))
        minutes.append(tuple(
            0 if n == m else max(1, round((5 + 0.78 * d / 1000) * rng.uniform(0.95, 1.05))) for m, d in enumerate(row)
        ))  # fmt: skip
    return Travel(tuple(minutes), tuple(metres))


def _equipment(rng: random.Random, yards: list[str], crews: float) -> tuple[Equipment, ...]:
    shares = {"ladder-24": 0.95, "ladder-32": 0.45, "material-lift": 0.3, "hammer-drill": 0.55, "scaffold": 0.15}
    return tuple(
        Equipment(item, y, tuple(max(most - (rng.random() < 0.3), 0) for _ in range(DAYS)))
        for y in yards for item, share in shares.items() for most in [max(1, round(share * crews))]
    )  # fmt: skip


def _stock(rng: random.Random, yards: list[str], jobs: list[Job]) -> tuple[Stock, ...]:
    """About half of what a yard's share of the jobs would use on hand, a quarter arriving on some day."""
    use: Counter[str] = Counter()
    for job in jobs:
        use.update(job.parts)
    return tuple(
        Stock(part, y, round(n / len(yards) * rng.uniform(0.45, 0.65)),
              (Arrival(rng.randint(1, DAYS - 1), round(n / len(yards) * rng.uniform(0.2, 0.35))),))
        for part, n in sorted(use.items()) for y in yards
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Invent a week for timing the planner.")
    parser.add_argument("make", choices=("installs", "mixed"))
    parser.add_argument("jobs", type=int)
    parser.add_argument("crews", type=int)
    parser.add_argument("--yards", type=int, default=None)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    given.out.write_bytes(encode(make_week(given.make, given.jobs, given.crews, yards=given.yards, seed=given.seed)))


if __name__ == "__main__":
    main()
