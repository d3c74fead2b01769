"""Small weeks of the second format, drawn from a seed: those of `tests.weeks` with rests within, assists, reloads."""

from __future__ import annotations

import random

import msgspec

from scheduler.week import Assist, Crew2, Job, Job2, Reload, RestRule, RestRule2, Week2, Weekly, checked
from tests.weeks import SKILLS, small_week

STEP = 30


def small_week2(rng: random.Random, jobs: int = 3, crews: int = 2, days: int = 2) -> Week2:
    """Return a valid week of the second format in which its rules often bind; all times are multiples of `STEP`."""
    base = small_week(rng, jobs=jobs, crews=crews, days=days, step=STEP)
    parts = {name: getattr(base, name) for name in base.__struct_fields__}
    rest = None if base.rest is None else RestRule2(*msgspec.structs.astuple(base.rest), rng.random() < 0.7)  # type: ignore[call-arg]
    skip = rng.choice((1, 3))  # now and then all is worth planning
    parts |= {
        "format": "week/2",
        "rest": rest,
        "crews": tuple(
            Crew2(
                **msgspec.structs.asdict(crew)
                | {
                    "vehicle": msgspec.structs.replace(
                        crew.vehicle, payload_kg=rng.randint(60, 200), boxes=rng.randint(1, 3)
                    )
                },
                weekly=Weekly(STEP * rng.randint(2, 12), rng.randint(10, 150)) if rng.random() < 0.6 else None,
            )
            for crew in base.crews
        ),
        "jobs": tuple(_job(rng, job, rest, skip) for job in base.jobs),
        "reload": Reload(STEP * rng.randint(0, 1)) if rng.random() < 0.7 else None,
    }
    week = checked(Week2(**parts))
    assert isinstance(week, Week2)
    return week


def wide_week2(rng: random.Random, jobs: int = 2, crews: int = 2) -> Week2:
    """Return such a week of nine days, a horizon of two weeks, on two of which crews work: one in each week."""
    week = small_week2(rng, jobs=jobs, crews=crews, days=9)
    kept = {rng.randrange(7), rng.randrange(7, 9)}
    return msgspec.structs.replace(
        week,
        crews=tuple(
            msgspec.structs.replace(crew, shifts=tuple(s for s in crew.shifts if s.day in kept)) for crew in week.crews
        ),
    )


def _job(rng: random.Random, job: Job, rest: RestRule | None, skip: int) -> Job2:
    pausable = rng.random() < 0.6
    longest = job.minutes + (rest.length if rest is not None and rest.within and pausable else 0)
    assist = None
    if longest >= STEP and rng.random() < 0.45:
        minutes = STEP * rng.randint(1, longest // STEP)
        last = rng.randrange(0, longest - minutes + 1, STEP)
        first = rng.randrange(0, last + 1, STEP)
        assist = Assist(minutes, first, last, rng.randint(0, 3), tuple(s for s in SKILLS if rng.random() < 0.05))
    parts = msgspec.structs.asdict(job) | {"skip_cents": skip * job.skip_cents}
    if rng.random() < 0.5:  # by hands and shelf more can be planned, so that the rules of the second format bind
        parts |= {"parts": {}, "equipment": {}, "ready_day": 0, "hands": min(1, job.hands)}
    return Job2(**parts, pausable=pausable, assist=assist)
