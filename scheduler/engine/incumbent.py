"""The best plan so far, shared between the search and whoever waits for it."""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping, Sequence

from scheduler.audit import audit
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import Known, plan_of, whole_bound
from scheduler.engine.model.timing import Timed
from scheduler.plan import Plan

Routes = dict[int, list[int]]
MOST_KNOWN = 20_000  # timings of routes that are kept


class Best:
    """Cheapest audited routes, highest proven bound, and what the search is doing; safe between threads."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.lock = threading.Lock()
        self.routes: Routes = {}
        self.starts: dict[int, int] = {}  # of jobs that have an assist
        self.times: dict[int, Timed] | None = None  # None: the best that `starts` allow
        self.plan: Plan | None = None  # the audited plan of `routes`, its reasons not yet asked
        self.cost = int(model.skip_cost.sum())
        self.bound = -math.inf
        self.phase = "reading the week"
        self.refused = 0
        self.first = threading.Event()  # set once a first plan was made
        self.known: Known = {}  # most routes of a plan are those of the one before

    def offer(
        self,
        routes: Mapping[int, Sequence[int]],
        cost: float,
        starts: Mapping[int, int] | None = None,
        times: Mapping[int, Timed] | None = None,
    ) -> bool:
        """Take `routes` if they are cheaper and keep every rule; return whether they were taken.

        `starts`: of jobs that have an assist, when they begin. `times`: of every route, None: the best that they allow.

        Every plan is audited before anyone sees it: an engine that errs loses the plan, not the customer's trust.
        """
        if cost >= self.cost:
            return False
        if len(self.known) > MOST_KNOWN:
            self.known = {}
        plan = plan_of(self.model, routes, seconds=0.0, bound=None, starts=starts, times=times, known=self.known)
        total = plan.cost.total + sum(self.model.must[j] for j in self.model.missing(routes))
        if audit(self.model.week, plan).broken_rules or total >= self.cost:
            self.refused += 1
            return False
        with self.lock:
            self.routes = {k: list(jobs) for k, jobs in routes.items()}
            self.starts = dict(starts or {})
            self.times = None if times is None else dict(times)
            self.plan = plan
            self.cost = total
        return True

    def prefer(self, routes: Mapping[int, Sequence[int]]) -> bool:
        """Take `routes`, dearer as planned, for what is not in the plan's cost, if they keep every rule; say whether.

        To be asked when the search is over: from here on the best plan is this one.
        """
        plan = plan_of(self.model, routes, seconds=0.0, bound=None)
        if self.model.missing(routes) or audit(self.model.week, plan).broken_rules:
            self.refused += 1
            return False
        with self.lock:
            self.routes = {k: list(jobs) for k, jobs in routes.items()}
            self.starts, self.times, self.plan, self.cost = {}, None, plan, plan.cost.total
        return True

    def plan_now(self) -> tuple[Routes, dict[int, int]]:
        """Return the routes, and the starts of jobs that have an assist, of one moment."""
        with self.lock:
            return self.routes, self.starts

    def prove(self, bound: float) -> None:
        """Raise the bound; it never passes the cost of a plan that exists."""
        with self.lock:
            self.bound = max(self.bound, min(bound, float(self.cost)))

    def tell(self, phase: str) -> None:
        """Say what the search is doing, in one line of words."""
        self.phase = phase

    def state(self) -> tuple[Routes, int, int | None, str, Plan | None]:
        """Return routes, cost, bound in whole cents, phase and plan (None: the one that skips all), of one moment."""
        with self.lock:
            bound = whole_bound(self.bound)
            return self.routes, self.cost, None if bound is None else min(bound, self.cost), self.phase, self.plan

    @property
    def proven(self) -> bool:
        """Whether nothing cheaper can exist."""
        bound = whole_bound(self.bound)
        return bound is not None and bound >= self.cost
