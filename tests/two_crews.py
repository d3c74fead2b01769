"""Weeks made of the tiny week's crews and roads, whose times can be worked out on paper.

Two crews from one yard, 10 minutes from everywhere (`scheduler.engine.tiny`); here each job takes 60 minutes, a crew's
day costs nothing and nobody rests. A minute of a crew costs 100 cents, a job left out 100,000; shifts are 8:00 to
16:00.
"""

from __future__ import annotations

from msgspec.structs import replace

from scheduler import plan_week, tiny_week
from scheduler.engine.tiny import all_alike
from scheduler.plan import Plan
from scheduler.week import Job, Place, Week, Window, checked

TINY = tiny_week()
DAYS = TINY.days


def job(name: str, **values: object) -> Job:
    plain = next(job for job in TINY.jobs if job.id == "elm")
    windows = tuple(Window(day, 480, 960, 0) for day in range(DAYS))
    return replace(plain, **{"id": name, "place": name, "windows": windows, "skip_cents": 100_000, **values})


def week_of(*jobs: Job) -> Week:
    places = ("yard", *(j.id for j in jobs))
    crews = tuple(replace(crew, day_cents=0) for crew in TINY.crews)
    return checked(
        replace(
            TINY,
            id="hand",
            places=tuple(Place(p, 40.0, -105.0) for p in places),
            travel=all_alike(len(places)),
            rest=None,
            crews=crews,
            equipment=(),
            jobs=jobs,
        )
    )


def planned(week: Week) -> Plan:
    return plan_week(week, seconds=None, clock=lambda: 0.0, workers=1)
