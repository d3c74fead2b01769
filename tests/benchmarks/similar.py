"""Days like a published one, one thing changed in each, so that nothing is tuned to the published day itself."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

from msgspec.structs import replace

from scheduler.week import Week


def shuffled(week: Week, rng: random.Random) -> Week:
    """Return the week whose jobs have changed skills and prices among them."""
    asked = [(job.skills, job.skip_cents) for job in week.jobs]
    rng.shuffle(asked)
    pairs = zip(week.jobs, asked, strict=True)
    return replace(week, jobs=tuple(replace(job, skills=skills, skip_cents=cents) for job, (skills, cents) in pairs))


def opened(week: Week, rng: random.Random) -> Week:
    """Return the week in which half of the jobs may be served at any minute of their days."""
    start, end = min(s.start for c in week.crews for s in c.shifts), max(s.end for c in week.crews for s in c.shifts)
    jobs = list(week.jobs)
    for n in rng.sample(range(len(jobs)), len(jobs) // 2):
        jobs[n] = replace(jobs[n], windows=tuple(replace(w, start=start, end=end) for w in jobs[n].windows))
    return replace(week, jobs=tuple(jobs))


def fewer(week: Week, rng: random.Random) -> Week:
    """Return the week with six in ten of its crews."""
    return replace(week, crews=tuple(rng.sample(week.crews, len(week.crews) * 6 // 10)))


CHANGES: tuple[Callable[[Week, random.Random], Week], ...] = (shuffled, opened, fewer)


def similar(week: Week, seed: int = 0) -> Iterator[tuple[str, Week]]:
    """Yield the weeks like this one, each with the name of what was changed."""
    for change in CHANGES:
        yield change.__name__, change(week, random.Random(seed))
