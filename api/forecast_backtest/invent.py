"""Invented jobs of a week around three stations: whose weather a job has is known, its customer is nobody."""

from __future__ import annotations

import datetime
import math
from typing import NamedTuple

import numpy as np

from scheduler.weather.limits import Kind, WeatherWork
from scheduler.weather.windows import SitePoint, Span
from scheduler.week import Crew, Job, Place, Shift, Travel, Vehicle, Week, Window, Yard

DAYS = 5
SITES = (
    SitePoint(40.69, -74.17),
    SitePoint(40.64, -73.78),
    SitePoint(40.78, -73.87),
)  # the stations', in the order of their names
YARD = SitePoint(40.72, -73.95)
MINUTE_CENTS = 110  # two people and a van on the road
KM_CENTS = 70
REBOOK_CENTS = 30_000  # a lost visit: calls, goodwill, a later date
WAIT_CENTS = 80_000  # a job that is not even planned this week: its place in the plan is worth that much
_DRIVE_CENTS = 3_000
_KINDS: tuple[Kind, ...] = ("install", "repair", "survey")


class Ask(NamedTuple):
    """A job: what work, at which station's weather, when its customer is at home."""

    id: str
    work: WeatherWork
    station: int
    site: SitePoint
    hours: tuple[Span, ...]

    @property
    def again_cents(self) -> int:
        """What doing the job at another time costs anyhow: the work and a drive."""
        return self.work.minutes * MINUTE_CENTS + _DRIVE_CENTS

    @property
    def visit_cents(self) -> int:
        """The price of a visit lost on the spot: the job is to be done again, and a new day to be found."""
        return self.again_cents + REBOOK_CENTS

    @property
    def skip_cents(self) -> int:
        return self.again_cents + WAIT_CENTS


def asks(seed: int, week: int, jobs: int, any_day: float) -> list[Ask]:
    """Return the jobs of a week: installs, repairs and surveys, some with a tall ladder, some of large awnings.

    `any_day` is the share of customers who can be visited on any day; the others name two to four days, some only half
    days.
    """
    rng = np.random.default_rng((seed, week))
    found = []
    for n in range(jobs):
        kind = _KINDS[int(np.searchsorted((0.57, 0.80), rng.random()))]
        minutes = (
            int({"install": rng.integers(10, 17), "repair": rng.integers(4, 9), "survey": rng.integers(3, 5)}[kind])
            * 15
        )
        is_install = kind == "install"
        tall, large, sealant = (bool(chance) for chance in rng.random(3) < (0.15, 0.25, 0.3))
        work = WeatherWork(kind, minutes, tall, is_install and large, is_install and sealant)
        station = int(rng.integers(len(SITES)))
        site = SitePoint(*(round(float(c + rng.normal(0, 0.04)), 4) for c in SITES[station]))
        days = sorted(int(d) for d in rng.choice(DAYS, size=int(rng.integers(2, 5)), replace=False))
        shapes = ((480, 1020), (480, 1020), (480, 780), (720, 1020))
        hours = tuple(Span(day, *shapes[int(rng.integers(len(shapes)))]) for day in days)
        if rng.random() < any_day:
            hours = tuple(Span(day, 480, 1020) for day in range(DAYS))
        found.append(Ask(f"{kind}-{n + 1:02}", work, station, site, hours))
    return found


def week_of(
    name: str,
    monday: datetime.date,
    timezone: str,
    found: list[Ask],
    windows: dict[str, tuple[Window, ...]],
    crews: int,
) -> Week:
    """Return the week document of these jobs with these windows."""
    sites = [YARD, *(ask.site for ask in found)]
    metres = [[_metres(a, b) for b in sites] for a in sites]
    minutes = [[0 if m == 0 else 4 + round(m / 1000 / 38 * 60) for m in row] for row in metres]
    return Week(
        format="week/1",
        id=name,
        start_date=monday,
        days=DAYS,
        timezone=timezone,
        places=tuple(Place(f"p{n}", *site) for n, site in enumerate(sites)),
        travel=Travel(tuple(tuple(r) for r in minutes), tuple(tuple(r) for r in metres)),
        rest=None,
        yards=(Yard("yard", "p0"),),
        crews=tuple(_crew(n) for n in range(crews)),
        helpers=(),
        equipment=(),
        stock=(),
        jobs=tuple(
            Job(
                id=ask.id, place=f"p{n + 1}", yard=None, minutes=ask.work.minutes, hands=2, weight_kg=0, box_mm=0,
                boxes=0, skills=(), equipment={}, parts={}, ready_day=0, windows=windows[ask.id], due_day=None,
                late_cents=0, skip_cents=ask.skip_cents, booked=None,
            )
            for n, ask in enumerate(found)
        ),
        follows=(),
        broken_cents=0,
    )  # fmt: skip


def _crew(n: int) -> Crew:
    return Crew(
        id=f"crew-{n + 1}", yard="yard", hands=2, skills=(), shifts=tuple(Shift(d, 450, 1020, 60) for d in range(DAYS)),
        vehicle=Vehicle(1000, 6000, 8), onboard={}, day_cents=8_000, minute_cents=MINUTE_CENTS,
        overtime_minute_cents=60, km_cents=KM_CENTS,
    )  # fmt: skip


def _metres(a: SitePoint, b: SitePoint) -> int:
    """Great circle (haversine, mean radius 6371.0088 km) times 1.3 for streets."""
    if a == b:
        return 0
    lat_a, lat_b, lon = math.radians(a.lat), math.radians(b.lat), math.radians(b.lon - a.lon)
    h = math.sin((lat_b - lat_a) / 2) ** 2 + math.cos(lat_a) * math.cos(lat_b) * math.sin(lon / 2) ** 2
    return round(1.3 * 2 * 6_371_008.8 * math.asin(math.sqrt(h)))
