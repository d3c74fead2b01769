"""The week as arrays: crew days, the jobs that each could take, and the start intervals with what they cost.

Everything about one stop that does not depend on its neighbors is folded into *options*: start intervals (lo, hi) with
an integer cost, which holds the weather's risk, lateness and the price of a changed booking. A job may have several
options on one crew day; the cheapest that holds the start counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scheduler.engine.model.soonest import MOST_ITEMS, soonest
from scheduler.plan import Plan, Route
from scheduler.week import Shift, Week

Ints = NDArray[np.int64]
FAR = 1 << 40  # later than any time, more than any number of days
MOST = 5  # from which column of a follow on the most days later stand, by the day of its first job


@dataclass(frozen=True)
class CrewDay:
    """One crew on one day; `jobs` are indices of the jobs it could take, ascending."""

    crew: int
    day: int
    yard: int
    shift: Shift
    jobs: list[int]
    options: list[list[tuple[int, int, int, int]]]


@dataclass
class Model:
    """Arrays of a week; lengths: J items, K crew days, I equipment items, Q stock items, P places.

    The items are the jobs, by number, and after them the assists of those that need one: a stop of a second crew.

    `cand_ptr[k] : cand_ptr[k + 1]` are the places of crew day k in `cand_job`; `opt_ptr` runs over those places.
    `helper_row[k]`, `pool_row[k, i]` index `helper_cap`, `pool_cap`, or are -1 where there is no such pool (cap 0).
    """

    week: Week
    crew_days: list[CrewDay]
    minutes: Ints  # (P, P)
    metres: Ints  # (P, P)
    job_place: Ints
    service: Ints
    job_hands: Ints
    weight: Ints
    boxes: Ints
    skip_cost: Ints  # with the price of a booking not kept
    need: Ints  # (J, I)
    uses: Ints  # (J, Q)
    cand_ptr: Ints
    cand_job: Ints
    local: NDArray[np.int32]  # (K, J): place in cand_job, -1 where the crew day cannot take the job
    opt_ptr: Ints
    opt_lo: Ints
    opt_hi: Ints
    opt_cost: Ints
    opt_pause: Ints  # 1: the rest falls within the service, which lasts that much longer
    crew_of: Ints
    day_of: Ints
    yard_of: Ints
    yard_place: Ints  # per crew day
    start: Ints
    end: Ints
    latest: Ints  # end + overtime
    day_cents: Ints
    minute_cents: Ints
    overtime_cents: Ints
    km_cents: Ints
    payload: Ints
    max_boxes: Ints
    hands: Ints
    helper_row: Ints
    helper_cap: Ints
    helper_cents: Ints
    onboard: Ints  # (K, I)
    pool_row: Ints  # (K, I)
    pool_cap: Ints
    stock_cap: Ints  # (yards, Q, days), what has been on the shelf by then, taken away or not
    rest: Ints  # (K, 4): after, length, earliest, latest; after = FAR where no rest can be due
    reload: Ints  # (K,): minutes of a reload at the yard, -1 where none can be of use
    weekly_row: Ints  # (K,): of the crew's seven days, -1 where minutes out cost nothing on top
    weekly_cap: Ints  # by row: minutes out that cost nothing on top
    weekly_cents: Ints  # by row: what each further minute costs
    assist_of: Ints  # by item: the item of the job's assist, -1 where it needs none
    helped_job: Ints  # by item: the job that this item is the assist of, -1 for jobs
    row_of: Ints  # by item: its row in the master: its own number, or that of the item of `copied` that it is a copy of
    assist_from: Ints  # by assist item from the first: minutes after the job's start
    assist_to: Ints
    follow: Ints  # (F, MOST + days): first, then, min_days, max_days (FAR: any), same_crew; most by day of `first`
    items: list[str]
    stock_items: list[str]
    group: Ints  # (K,): the crew day that stands for all that differ in nothing but the crew's name
    planless: list[int] = field(default_factory=list)  # jobs that no crew day can take
    must: dict[int, int] = field(default_factory=dict)  # jobs never left out: what `skip_cost` holds too much for that
    copied: Model | None = None  # the week whose items these are copies of (`intervals.by_intervals`)

    @property
    def whole(self) -> Model:
        """The model with each job once: this one, or the one whose items it has copies of."""
        return self.copied or self

    def missing(self, routes: Mapping[int, Sequence[int]]) -> list[int]:
        """Return the jobs that no plan may leave out and these routes do."""
        planned = {j for jobs in routes.values() for j in jobs} if self.must else set()
        return [j for j in self.must if j not in planned]

    @cached_property
    def soonest(self) -> Ints | None:
        """How soon each item can follow each (`soonest.soonest`); None where there are too many to say."""
        if len(self.service) > MOST_ITEMS:
            return None
        places = np.ix_(self.job_place, self.job_place)
        return cast(Ints, soonest(self.minutes[places].astype(np.int64), self.service.astype(np.int64)))

    @cached_property
    def number(self) -> dict[str, int]:
        """The number of each job by its id."""
        return {job.id: n for n, job in enumerate(self.week.jobs)}

    @cached_property
    def crew_day(self) -> dict[tuple[str, int], int]:
        """The number of each crew day by crew id and day."""
        return {(self.week.crews[k.crew].id, k.day): n for n, k in enumerate(self.crew_days)}

    def routes_of(self, plan: Plan) -> dict[int, list[int]]:
        """Return the plan's routes as crew day -> items in order; raises `KeyError` for what this week has not."""
        return {self.crew_day[r.crew, r.day]: self.items_of(r) for r in plan.routes}

    def items_of(self, route: Route) -> list[int]:
        """Return the items of a route in order; raises `KeyError` for what this week does not have."""
        return [
            int(self.assist_of[self.number[s.assist]]) if s.assist else self.number[s.job]
            for s in route.stops
            if not s.reload
        ]

    def starts_of(self, plan: Plan) -> dict[int, int]:
        """Return the starts of the plan's jobs that have an assist."""
        return {
            n: stop.start
            for route in plan.routes
            for stop in route.jobs
            if (n := self.number[stop.job]) >= 0 and self.assist_of[n] >= 0
        }

    def assist_span(self, job: int, start: int) -> tuple[int, int, bool]:
        """Return when the assist of a job begun at `start` can begin, and whether the job's crew may rest within it.

        Where it may, the assist comes before the rest: one that comes after it is left to the model of the whole week.
        """
        one, rest = self.week.jobs[job], self.week.rest
        if (rule := one.assist) is None:
            return 0, FAR, True
        first, last = start + rule.from_min, start + min(rule.to_min, one.minutes - rule.minutes)
        if rest is not None and rest.within and one.pausable:
            before = min(start + one.minutes - 1, rest.latest) - rule.minutes
            if before >= first:
                return first, min(last, before), True
        return first, last, False

    def helpers_for(self, k: int, jobs: Sequence[int]) -> int:
        """Return how many helpers crew day k needs for the job that wants most hands."""
        return max(0, max(int(self.job_hands[j]) for j in jobs) - int(self.hands[k]))

    def options_of(self, k: int, j: int) -> slice:
        """Return where the options of job j on crew day k stand; empty where the crew day cannot take it."""
        place = int(self.local[k, j])
        return slice(int(self.opt_ptr[place]), int(self.opt_ptr[place + 1])) if place >= 0 else slice(0, 0)
