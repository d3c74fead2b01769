"""Weeks of many kinds beside PyVRP, and the worst of them named: python -m tests.benchmarks.bench_kinds [--weeks 60].

Each week draws its kind: few or many crew days, crews alike or each with skills of its own, one to twelve stops a day,
windows tight or loose, leaving a job out cheap or dear. All is plain, so that PyVRP can express it. Both get the same
seconds, one after the other, each in a process of its own; our plans are audited, theirs too. The last line names the
week with the greatest ratio of our cost to theirs. On a machine that others use meanwhile, `--processor` counts seconds
on processors, of all threads together: ours then has half of what it has of the same seconds on two free cores.
"""

from __future__ import annotations

import argparse
import datetime
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from scheduler.week import Crew, Job, Place, Shift, Travel, Vehicle, Week, Window, Yard, checked
from tests.benchmarks.bench_weeks import Outcome, apart

START, END = 8 * 60, 17 * 60
KM_H, HALF_WAY_KM = 50, 25.0
SKILLS = tuple("abcdef")
MOST_JOBS = 160


@dataclass(frozen=True)
class Made:
    """A week and in words what kind it is."""

    kind: str
    week: Week


def made(seed: int) -> Made:
    """Return the week of a seed."""
    rng = random.Random(seed)
    crews, days = rng.choice(((2, 1), (3, 2), (5, 1), (5, 4), (8, 3), (10, 1), (12, 5), (25, 1)))
    stops = min(rng.randint(1, 12), MOST_JOBS // (crews * days)) or 1
    differ, tight, dear = rng.random() < 0.5, rng.random() < 0.5, rng.random() < 0.5
    fill = rng.choice((0.7, 0.9, 1.2))
    count = max(3, round(crews * days * stops * fill))
    places = [Place(id="yard", lat=40.0, lon=-100.0)] + [_place(rng, f"p{n}") for n in range(count)]
    minutes = max(5, round((END - START) / stops * 0.6))
    words = (
        f"{crews * days} crew days, {count} jobs, some {stops} a day, crews {'differ' if differ else 'alike'}, windows "
        f"{'tight' if tight else 'loose'}, leaving out {'dear' if dear else 'cheap'}"
    )
    week = Week(
        format="week/1", id=f"kinds-{seed}", start_date=datetime.date(2027, 3, 1), days=days, timezone="UTC",
        places=tuple(places), travel=_travel(places), rest=None, yards=(Yard(id="yard", place="yard"),),
        crews=tuple(_crew(rng, n, days, differ) for n in range(crews)), helpers=(), equipment=(), stock=(),
        jobs=tuple(_job(rng, n, days, minutes, differ, tight, dear) for n in range(count)), follows=(), broken_cents=0,
    )  # fmt: skip
    return Made(words, checked(week))


def _place(rng: random.Random, name: str) -> Place:
    return Place(id=name, lat=40 + rng.uniform(-0.2, 0.2), lon=-100 + rng.uniform(-0.25, 0.25))


def _travel(places: list[Place]) -> Travel:
    def metres(a: Place, b: Place) -> int:
        north, east = (a.lat - b.lat) * 111.2, (a.lon - b.lon) * 85.2
        return round(1300 * math.hypot(north, east))

    rows = tuple(tuple(metres(a, b) for b in places) for a in places)
    return Travel(minutes=tuple(tuple(-(-m * 60 // (KM_H * 1000)) for m in row) for row in rows), metres=rows)


def _crew(rng: random.Random, n: int, days: int, differ: bool) -> Crew:
    skills = tuple(s for s in SKILLS if not differ or rng.random() < 0.55)
    return Crew(
        id=f"crew-{n}", yard="yard", hands=2, skills=skills,
        shifts=tuple(Shift(day=d, start=START, end=END, overtime=0) for d in range(days)),
        vehicle=Vehicle(payload_kg=1000, rack_mm=8000, boxes=30), onboard={}, day_cents=rng.choice((0, 10_000)),
        minute_cents=50, overtime_minute_cents=0, km_cents=60,
    )  # fmt: skip


def _job(rng: random.Random, n: int, days: int, minutes: int, differ: bool, tight: bool, dear: bool) -> Job:
    service = max(5, round(minutes * rng.uniform(0.5, 1.5)))
    own_days = sorted(rng.sample(range(days), rng.randint(1, days)))

    def window(day: int) -> Window:
        width = service + rng.randint(20, 90) if tight else END - START
        start = rng.randint(START, max(START, END - width))
        return Window(day=day, start=start, end=min(END, start + width), risk_cents=0)

    return Job(
        id=f"job-{n:03}", place=f"p{n}", yard=None, minutes=service, hands=0, weight_kg=rng.randint(5, 80), box_mm=1000,
        boxes=1, skills=(rng.choice(SKILLS),) if differ else (), equipment={}, parts={}, ready_day=0,
        windows=tuple(window(day) for day in own_days), due_day=None, late_cents=0,
        skip_cents=rng.randint(60_000, 90_000) if dear else rng.randint(2_000, 9_000), booked=None,
    )  # fmt: skip


def compare(seeds: Iterator[int], seconds: float, processor: bool) -> None:
    """Print one line a week as it comes, then the table's worst and what all come to."""
    told: list[tuple[float, int, str]] = []
    for seed in seeds:
        one = made(seed)
        ours, theirs = (apart(who, one.week, seconds, 0, processor) for who in ("ours", "pyvrp"))
        ratio = _ratio(ours, theirs)
        told.append((ratio, seed, one.kind))
        open_ = "proven" if ours.cost == ours.bound else f"{ours.of_total or 0:.2f} % open"
        print(f"{seed:3}  {ours.cost!s:>12} {theirs.cost!s:>12}  {ratio:7.4f}  {open_:>13}  {one.kind}", flush=True)
    worst = max(told)
    dearer = sum(ratio > 1.005 for ratio, _, _ in told)
    print(f"{len(told)} weeks, {dearer} more than 0.5 % dearer; the worst, {worst[0]:.4f}: week {worst[1]}, {worst[2]}")


def _ratio(ours: Outcome, theirs: Outcome) -> float:
    if ours.cost is None:
        return math.inf
    return ours.cost / theirs.cost if theirs.cost else 0.0


def main() -> None:
    parser: Any = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--seconds", type=float, default=15)
    parser.add_argument("--processor", action="store_true", help="seconds on processors, all threads together")
    given = parser.parse_args()
    compare(iter(range(given.first, given.first + given.weeks)), given.seconds, given.processor)


if __name__ == "__main__":
    main()
