"""The cheapest plan of a tiny week with visits fixed, everything tried: `tests.brute` under the same restrictions."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np

from scheduler import Fixed
from scheduler.plan import Plan
from scheduler.week import Crew, Job, Shift, Week
from tests import brute
from tests.brute_day import NEVER, Day, Table

MUST = 10**9


def cheapest_with(week: Week, fixed: Fixed) -> Plan | None:
    """Return a plan of least cost that keeps what is fixed, None where there is none."""
    jobs = {j.id: j for j in week.jobs}
    place = {p.id: n for n, p in enumerate(week.places)}

    class Held(Day):
        def __init__(self, week: Week, crew: Crew, shift: Shift) -> None:
            here = [j for j, s in fixed.visits.items() if (s.crew, s.day) == (crew.id, shift.day)]
            self.begun = [j for j in here if j in fixed.begun]
            now = fixed.now
            if now is not None and shift.day == now[0] and not self.begun and shift.start < now[1]:
                over = min(0, shift.end + shift.overtime - now[1])  # a shift that is over by then takes no job
                shift = Shift(shift.day, now[1] + over, shift.end, shift.overtime)
            super().__init__(week, crew, shift)

        def _serving(self, job: Job) -> Table:
            cents = super()._serving(job)
            spot = fixed.visits.get(job.id)
            if spot is not None:
                here = (spot.crew, spot.day) == (self.crew.id, self.day)
                return np.where(here & (self.times == spot.start), cents, NEVER)
            if (self.crew.id, self.day) in fixed.closed:
                return np.full_like(cents, NEVER)
            if fixed.held.get(job.id, (self.crew.id, self.day)) != (self.crew.id, self.day):
                return np.full_like(cents, NEVER)
            if fixed.now is None or self.day > fixed.now[0]:
                return cents
            if self.day < fixed.now[0]:
                return np.full_like(cents, NEVER)
            earliest = fixed.now[1]
            ends = [(fixed.visits[j].start + jobs[j].minutes, place[jobs[j].place]) for j in self.begun]
            if ends and max(ends)[0] > earliest:
                earliest = max(ends)[0]
            elif ends:
                earliest += week.travel.minutes[max(ends)[1]][place[job.place]]
            return np.where(self.times >= earliest, cents, NEVER)

    def undone(week: Week, job: Job) -> int:
        return MUST if job.id in fixed.visits or job.id in fixed.held else plain(week, job)

    plain = brute._undone_cents
    with patch.object(brute, "Day", Held), patch.object(brute, "_undone_cents", undone):
        plan = brute.cheapest(week)
    return None if plan.cost.total >= MUST else plan
