"""One small week, whose times can be worked out on paper.

Two crews from one yard, 10 minutes from everywhere; each job takes 60 minutes; shifts 8:00 to 16:00. A minute of a
crew costs 100 cents, a crew's day nothing, a job left out 100,000.
"""

from __future__ import annotations

import datetime

from msgspec.structs import replace

from scheduler import plan_week
from scheduler.plan import Plan
from scheduler.week import Crew, Job, Place, Shift, Travel, Vehicle, Week, Window, Yard, checked

DAYS = 2


def job(name: str, **values: object) -> Job:
    windows = tuple(Window(day, 480, 960, 0) for day in range(DAYS))
    plain = Job(
        id=name, place=name, yard=None, minutes=60, hands=2, weight_kg=0, box_mm=0, boxes=0, skills=(), equipment={},
        parts={}, ready_day=0, windows=windows, due_day=None, late_cents=0, skip_cents=100_000, booked=None,
    )  # fmt: skip
    return replace(plain, **values)


def crew(name: str) -> Crew:
    shifts = tuple(Shift(day, 480, 960, 0) for day in range(DAYS))
    return Crew(
        id=name, yard="yard", hands=2, skills=(), shifts=shifts, vehicle=Vehicle(500, 8000, 4), onboard={}, day_cents=0,
        minute_cents=100, overtime_minute_cents=0, km_cents=0,
    )  # fmt: skip


def week_of(*jobs: Job) -> Week:
    places = ("yard", *(j.id for j in jobs))
    minutes = tuple(tuple(0 if a == b else 10 for b in places) for a in places)
    return checked(
        Week(
            format="week/1", id="hand", start_date=datetime.date(2027, 4, 5), days=DAYS, timezone="UTC",
            places=tuple(Place(p, 40.0, -105.0) for p in places), travel=Travel(minutes, minutes), rest=None,
            yards=(Yard("yard", "yard"),), crews=(crew("north"), crew("south")), helpers=(), equipment=(), stock=(),
            jobs=jobs, follows=(), broken_cents=50_000,
        )
    )  # fmt: skip


def planned(week: Week) -> Plan:
    return plan_week(week, seconds=None, clock=lambda: 0.0, workers=1)
