"""The cheapest plan of a tiny week of the second format with visits fixed, everything tried, as `tests.brute2` does."""

from __future__ import annotations

from collections.abc import Callable
from unittest.mock import patch

from scheduler import Fixed
from scheduler.plan import Plan
from scheduler.week import Crew, Job, Shift, Week2
from tests import brute2
from tests.routes2 import Stand, Way, ways_of

MUST = 10**9
Fits = Callable[[tuple[Stand, ...]], bool]


def cheapest_with(week: Week2, fixed: Fixed, step: int) -> Plan | None:
    """Return a plan of least cost that keeps what is fixed, None where there is none."""
    every, plain = ways_of, brute2.undone

    def ways(week: Week2, crew: Crew, shift: Shift, step: int) -> list[Way]:
        here = (crew.id, shift.day)
        done = [(s.start + _minutes(week, j), j) for j, s in fixed.visits.items() if s[:2] == here and j in fixed.begun]
        done += [(s.start + _lift(week, j), j) for j, s in fixed.assists.items() if s[:2] == here]
        now = fixed.now
        closed = here in fixed.closed or (now is not None and shift.day < now[0])
        if now is not None and shift.day == now[0] and not done and shift.start < now[1]:
            if now[1] >= shift.end + shift.overtime:
                return []
            shift = Shift(shift.day, now[1], shift.end, shift.overtime)

        def earliest(job: Job) -> int:
            if now is None or shift.day != now[0]:
                return 0
            if not done or max(done)[0] > now[1]:
                return max([now[1], *(end for end, _ in done)])
            places = {p.id: n for n, p in enumerate(week.places)}
            last = next(j for j in week.jobs if j.id == max(done)[1])
            return now[1] + week.travel.minutes[places[last.place]][places[job.place]]

        def kept(stand: Stand) -> bool:
            job = week.jobs[stand.job]
            spot = (fixed.assists if stand.assist else fixed.visits).get(job.id)
            if spot is not None:
                return (*here, stand.start) == spot
            if not stand.assist and fixed.held.get(job.id, here) != here:
                return False
            return not closed and stand.start >= earliest(job)

        def fits(stands: tuple[Stand, ...]) -> bool:
            return all(map(kept, stands))

        return every(week, crew, shift, step, fits, fits)

    def undone(week: Week2, job: Job) -> int:
        return MUST if job.id in fixed.visits or job.id in fixed.held else plain(week, job)

    with patch.object(brute2, "ways_of", ways), patch.object(brute2, "undone", undone):
        plan = brute2.cheapest(week, step)
    return None if plan.cost.total >= MUST else plan


def _minutes(week: Week2, name: str) -> int:
    return next(j.minutes for j in week.jobs if j.id == name)


def _lift(week: Week2, name: str) -> int:
    return next(j.assist.minutes for j in week.jobs if j.id == name and j.assist is not None)
