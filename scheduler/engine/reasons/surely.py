"""A week planned again by the prices of its routes, where moving jobs about may miss what several moves at once save.

Without a clock, so that it is the same each time: the linear program over all routes, the plan that its solution leads
to, and integer programs of so many nodes over the cheapest routes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from msgspec.structs import replace

from scheduler.engine.incumbent import Best
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.reasons.anew import DEAR, Again, Anew, rounds_each
from scheduler.engine.search.phases import Search
from scheduler.week import Week

MOST_SURE = 24_000  # jobs times crew days, of all questions of a plan that are asked so; about a second for each 6,000
MOST_PAIRS = 6_000  # of a week above which even one takes too long
_SEED, _NODES = 1, 300
_RICH = 10**7  # cents that no visit costs: leaving a job out is out of the question


class Sure:
    """Questions of a plan's week and of weeks like it, in the first format, the first ones asked most surely."""

    def __init__(self, model: Model) -> None:
        pairs = max(1, len(model.week.jobs) * len(model.crew_days))
        self.left = MOST_SURE // pairs if pairs <= MOST_PAIRS else 0

    def cheapest(self, again: Again, rounds: int, j: int, cents: int) -> Anew:
        """Return the cheapest plan found where leaving job j out costs so much more, as of `Again.cheapest`."""
        found = again.cheapest(rounds, {j: cents})
        if self.left <= 0:
            return found
        self.left -= 1
        return _by_prices(again.week, j, cents, found)


def _by_prices(week: Week, j: int, cents: int, found: Anew) -> Anew:
    """Return a plan at most as dear as `found`, which was found at these prices."""
    most = 2 * sum(job.skip_cents for job in week.jobs) + _RICH
    jobs = list(week.jobs)
    jobs[j] = replace(jobs[j], skip_cents=jobs[j].skip_cents + min(cents, most))
    model = build(replace(week, jobs=tuple(jobs)))
    if not model.crew_days:
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
