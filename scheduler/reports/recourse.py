"""What a route is to be expected to cost beyond its plan: late arrivals, jobs put off, overtime and hours at the yard.

The second stage of a two-stage stochastic program with simple recourse (J. R. Birge, F. Louveaux: Introduction to
Stochastic Programming): what is planned is fixed, the day is played, and what it then costs more is the recourse. As
crews that do not meet share nothing of it, the recourse of a plan is the sum over its routes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from scheduler.plan import Route
from scheduler.price import Visit, outings
from scheduler.reports.odds import LATE_MIN, Doubts, lost_cents, play_day
from scheduler.week import Week


@dataclass(frozen=True)
class Recourse:
    """A function of a route of `week`: cents to be expected beyond its plan, below 0 where the day ends sooner.

    doubts: of times and drives; those of weather and kits are left out: the plan weighs the weather already.
    late_cents: what it costs to begin more than `odds.LATE_MIN` after the planned minute where the customer holds a
    soft promise or none yet; a firm one costs the week's `broken_cents`, a promise of the day alone nothing.
    pace: by crew by what its times on site are multiplied, 1 where it is not named.

    Every route is played `plays` times, each of its stops by the same draws wherever it stands in whichever route: two
    routes differ by what is planned, not by chance.
    """

    week: Week
    doubts: Doubts
    late_cents: int
    pace: Mapping[str, float] = field(default_factory=dict)
    plays: int = 200
    seed: int = 1
    _of_crew: Mapping[str, Doubts] = field(init=False, repr=False, compare=False)
    _sky: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "_of_crew", {crew.id: self._paced(self.pace.get(crew.id, 1.0)) for crew in self.week.crews}
        )
        object.__setattr__(self, "_sky", np.ones(self.plays))  # of chances of weather none is drawn

    def _paced(self, pace: float) -> Doubts:
        usual = self.doubts.median_min
        minutes = {job.id: usual.get(job.id, float(job.minutes)) * pace for job in self.week.jobs}
        return replace(self.doubts, median_min=minutes, lost={}, kit_late={})

    def __call__(self, route: Route) -> float:
        """Return the cents; 0.0 for a route with stops at which crews meet, which cannot be played by itself."""
        out = outings(self.week, (route,))
        if not out or out[0].assists or any(job.assist is not None for _, job in out[0].stops):
            return 0.0
        (outing,) = out
        day = play_day(self.week.rest, outing, self._of_crew[route.crew], self._sky, np.random.default_rng(self.seed))
        crew, end = outing.crew, outing.shift.end
        over = float(np.maximum(0.0, day.back - end).mean()) - max(0, route.back - end)
        cents = crew.minute_cents * (float(day.back.mean()) - route.back) + crew.overtime_minute_cents * over
        for (stop, job), begun, done in zip(outing.stops, day.begun, day.done, strict=True):
            visit = Visit(route.crew, route.day, stop.start, stop.end)
            cents += lost_cents(self.week, outing, job, visit) * float((~done).mean())
            booked = job.booked
            late = self.late_cents
            if booked is not None and booked.hold != "soft":
                late = self.week.broken_cents if booked.hold == "firm" and stop.start == booked.start else 0
            cents += late * float((done & (begun > stop.start + LATE_MIN)).mean())
        return cents
