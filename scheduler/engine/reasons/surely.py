"""A week planned again by the prices of its routes, where moving jobs about may miss what several moves at once save.

Without a clock, so that it is the same each time: the linear program over all routes, the plan that its solution leads
to, and integer programs of so many nodes over the cheapest routes.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec.structs import replace

from scheduler.engine.incumbent import Best
from scheduler.engine.model.arrays import FAR, Model
from scheduler.engine.model.build import build
from scheduler.engine.reasons.anew import DEAR, Again, Anew, rounds_each
from scheduler.engine.search.phases import Search
from scheduler.week import Week

MOST_ROUTES = 1_000_000  # that a week may have, about, above which its linear program takes too long
MOST_SURE = 3_000_000  # of the weeks of all questions of a plan together
MOST_ASKED = 20  # questions, which take about a tenth of a second each
_SEED, _NODES = 1, 300
_RICH = 10**7  # cents that no visit costs: leaving a job out is out of the question


class Sure:
    """Questions of a plan's week and of weeks like it, in the first format, the first ones asked most surely."""

    def __init__(self, model: Model) -> None:
        routes = max(1, many_routes(model))
        self.left = min(MOST_ASKED, MOST_SURE // routes) if routes <= MOST_ROUTES else 0

    def cheapest(self, again: Again, rounds: int, j: int, cents: int) -> Anew:
        """Return the cheapest plan found where leaving job j out costs so much more, as of `Again.cheapest`."""
        found = again.cheapest(rounds, {j: cents})
        if self.left <= 0:
            return found
        self.left -= 1
        try:
            return _by_prices(again.week, j, cents, found)
        except Exception as fault:  # a plan is in hand: its reasons are what was found, and what went wrong is said
            self.left = 0
            warnings.warn(f"the search for a reason ended early: {fault!r}", RuntimeWarning, stacklevel=2)
            return found


def many_routes(model: Model) -> int:
    """Return about how many routes a week has: of each crew day, every set of so many jobs as fit in at the most.

    As many fit in as would by their service and the shortest way to each, the quickest first.
    """
    total = 0
    for k in range(len(model.crew_days)):
        jobs = np.nonzero(model.local[k] >= 0)[0]
        places = np.concatenate([model.job_place[jobs], [model.yard_place[k]]])
        ways = model.minutes[np.ix_(places, model.job_place[jobs])].astype(np.int64)
        ways[np.arange(len(jobs)), np.arange(len(jobs))] = FAR
        needs = np.cumsum(np.sort(model.service[jobs] + ways.min(axis=0, initial=FAR)))
        fit = int(np.searchsorted(needs, model.latest[k] - model.start[k], side="right"))
        total += sum(math.comb(len(jobs), size) for size in range(1, fit + 1))
    return total


def _by_prices(week: Week, j: int, cents: int, found: Anew) -> Anew:
    """Return a plan at most as dear as `found`, which was found at these prices."""
    most = 2 * sum(job.skip_cents for job in week.jobs) + _RICH
    jobs = list(week.jobs)
    jobs[j] = replace(jobs[j], skip_cents=jobs[j].skip_cents + min(cents, most))
    model = build(replace(week, jobs=tuple(jobs)))
    if not model.crew_days or many_routes(model) > 2 * MOST_ROUTES:  # with a longer day there may be far more
        return found
    best = Best(model)
    start = {model.crew_day[at]: list(route) for at, route in found.routes.items()}
    best.offer(start, found.cost)
    choosing = Search(best, _SEED, lambda: math.inf, lambda: None, None, start).choosing
    choosing.price()
    if not best.proven:
        choosing.dive()
        choosing.narrow()
    if not best.proven and choosing.few_left():
        choosing.integer(choosing.within(choosing.gap()), _NODES)
    if best.cost >= found.cost:
        return found
    days = model.crew_days
    routes = {(week.crews[days[k].crew].id, days[k].day): items for k, items in best.routes.items() if items}
    return Anew(best.cost, routes, frozenset(week.jobs[i].id for items in routes.values() for i in items))


def extra_anew(
    model: Model, present: int, asked: Iterable[tuple[int, Mapping[int, Sequence[int]]]], sure: Sure
) -> dict[int, int]:
    """Return by job what the cheapest plan found with it costs more than `present`, in cents, negative where it saves.

    asked: each job with routes that hold it, to search from.
    """
    todo, found = list(asked), dict[int, int]()
    for j, begin in todo:
        again = Again(model.week, [lambda _, begin=begin: (begin, {})] * 2, model)  # type: ignore[misc]
        anew = sure.cheapest(again, rounds_each(len(todo)), j, DEAR)
        if model.week.jobs[j].id in anew.jobs:
            found[j] = anew.cost - present
    return found
