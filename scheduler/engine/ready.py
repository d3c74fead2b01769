"""Compile the engine's loops once, so that the first real week need not wait: `python -m scheduler.engine.ready`.

numba keeps what it compiled beside the modules (or in the user's cache where that cannot be written).
"""

from __future__ import annotations

import datetime
import time

from scheduler.engine.planning import plan_week
from scheduler.week import (
    Crew,
    Job,
    Place,
    RestRule,
    Shift,
    Travel,
    Vehicle,
    Week,
    Window,
    Yard,
    checked,
)


def tiny_week() -> Week:
    """Return a week in which every compiled loop has something to do: one of its six jobs is not worth going."""
    places = tuple(Place(f"p{n}", 40.0 + 0.01 * n, -105.0) for n in range(7))
    steps = tuple(tuple(0 if a == b else 5 + abs(a - b) for b in range(7)) for a in range(7))
    metres = tuple(tuple(1000 * m for m in row) for row in steps)
    jobs = tuple(
        Job(
            id=f"job-{n}",
            place=f"p{n}",
            yard=None,
            minutes=60 + 10 * n,
            hands=2,
            weight_kg=10,
            box_mm=0,
            boxes=0,
            skills=(),
            equipment={},
            parts={},
            ready_day=0,
            windows=(Window(0, 480, 960, 0), Window(1, 480, 720, 100)),
            due_day=None,
            late_cents=0,
            skip_cents=20_000 if n < 6 else 1,
            booked=None,
        )
        for n in range(1, 7)
    )
    crew = Crew(
        id="crew",
        yard="yard",
        hands=2,
        skills=(),
        shifts=(Shift(0, 450, 960, 30), Shift(1, 450, 960, 0)),
        vehicle=Vehicle(500, 8000, 4),
        onboard={},
        day_cents=5000,
        minute_cents=100,
        overtime_minute_cents=60,
        km_cents=50,
    )
    return checked(
        Week(
            format="week/1",
            id="warm",
            start_date=datetime.date(2027, 1, 4),
            days=2,
            timezone="UTC",
            places=places,
            travel=Travel(steps, metres),
            rest=RestRule(360, 30, 660, 840),
            yards=(Yard("yard", "p0"),),
            crews=(crew,),
            helpers=(),
            equipment=(),
            stock=(),
            jobs=jobs,
            follows=(),
            broken_cents=0,
        )
    )


if __name__ == "__main__":
    began = time.monotonic()
    plan = plan_week(tiny_week(), seconds=None, clock=time.monotonic)
    print(f"engine ready after {time.monotonic() - began:.0f} s (a tiny week costs {plan.cost.total / 100:.2f})")
