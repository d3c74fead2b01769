"""The tiny week that the engine's README works out by hand; tests and the first compilation use it too.

One yard, two crews of two who can both do everything, Monday and Tuesday. Every drive takes 10 minutes. A crew's day
costs 5,000 cents when it goes out and each minute of it 100; out for more than 360 minutes, it rests for 30.

    job     minutes  ladder  left out    On Tuesday the weather is expected to cost 300 for each job. There is one
    alder   120      1       50,000      ladder, which stays with the crew that takes it out for the day.
    birch   120      1       50,000
    cedar   180              50,000      A best plan: on Monday one crew takes the ladder to alder and birch, the other
    elm     60               50,000      does cedar, elm and fir; gorse waits. It costs 72,000.
    fir     60               50,000
    gorse   60               1,000
"""

from __future__ import annotations

import datetime

from scheduler.week import Crew, Equipment, Job, Place, RestRule, Shift, Travel, Vehicle, Week, Window, Yard, checked

MINUTES = {"alder": 120, "birch": 120, "cedar": 180, "elm": 60, "fir": 60, "gorse": 60}
DRIVE_MIN, DRIVE_M = 10, 5_000
BEST_CENTS = 72_000


def tiny_week() -> Week:
    """Return the week; its best plan costs `BEST_CENTS`."""
    names = ("yard", *MINUTES)
    shifts = tuple(Shift(day, 480, 960, 0) for day in range(2))
    return checked(
        Week(
            format="week/1",
            id="tiny",
            start_date=datetime.date(2027, 4, 5),
            days=2,
            timezone="UTC",
            places=tuple(Place(name, 40.0 + 0.01 * n, -105.0) for n, name in enumerate(names)),
            travel=all_alike(len(names)),
            rest=RestRule(360, 30, 660, 840),
            yards=(Yard("yard", "yard"),),
            crews=tuple(
                Crew(name, "yard", 2, (), shifts, Vehicle(500, 8000, 4), {}, 5_000, 100, 0, 0)
                for name in ("north", "south")
            ),
            helpers=(),
            equipment=(Equipment("ladder", "yard", (1, 1)),),
            stock=(),
            jobs=tuple(_job(name) for name in MINUTES),
            follows=(),
            broken_cents=50_000,
        )
    )


def all_alike(places: int) -> Travel:
    """Return the way between so many places of which each is as far from any other."""
    away = [[int(a != b) for b in range(places)] for a in range(places)]
    minutes, metres = (tuple(tuple(far * n for n in row) for row in away) for far in (DRIVE_MIN, DRIVE_M))
    return Travel(minutes, metres)


def _job(name: str) -> Job:
    return Job(
        id=name,
        place=name,
        yard=None,
        minutes=MINUTES[name],
        hands=2,
        weight_kg=0,
        box_mm=0,
        boxes=0,
        skills=(),
        equipment={"ladder": 1} if name in ("alder", "birch") else {},
        parts={},
        ready_day=0,
        windows=(Window(0, 480, 960, 0), Window(1, 480, 960, 300)),
        due_day=None,
        late_cents=0,
        skip_cents=1_000 if name == "gorse" else 50_000,
        booked=None,
    )
