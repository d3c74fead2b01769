"""A week planned again for a moment, from a plan with a job put in: whether the job stays, and what it costs at most.

The search is the same each time: so many rounds, no clock.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from scheduler.engine.local_search.route_cost import Arrays, arrays
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.local_search.state import empty
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.week import Week

ROUNDS = 6_000  # of taking jobs out and putting them back, for all questions of a plan together
MOST_ROUNDS, LEAST_ROUNDS = 1_200, 60  # for one of them
MOST_PAIRS = 1_000_000  # jobs times crew days, of all plans made so: past that no more is asked
MOST_BUILT = 200_000  # the same of weeks that are other ones than the plan's: their models are made first
_SEED = 1
DEAR = 10**11  # cents: leaving a job out is out of the question
HEATS = (0.1, 1.0, 0.1)  # of what a stop costs, where the search from each beginning starts
_COLD = 0.01  # of that, where it ends


Routes = Mapping[tuple[str, int], Sequence[int]]
Begun = tuple[Mapping[int, Sequence[int]], Mapping[int, int]]
Begin = Callable[[Model], Begun]


class Anew(NamedTuple):
    """A plan found: cost in cents, routes by crew and day, and the jobs on them by id."""

    cost: int
    routes: dict[tuple[str, int], list[int]]
    jobs: frozenset[str]


class Again:
    """The search of one week, from plans: each is routes and the starts of jobs with an assist, of the week's model."""

    def __init__(self, week: Week, begins: Sequence[Begin], model: Model | None = None) -> None:
        self.week, self.model = week, model or build(week)
        self.arrays = arrays(self.model)
        self.begins = [begin(self.model) for begin in begins]
        self.ruin = Ruin(self.model, _SEED)

    def cheapest(self, rounds: int, dearer: Mapping[int, int]) -> Anew:
        """Return the cheapest plan found in about so many rounds where leaving jobs out costs so much more, in cents.

        Its cost counts what leaving them out then costs.

        Jobs go in one by one, and one that pays only by what follows it would not go by itself, nor does a planned one
        move for what follows it: where such wait, the search also begins from a plan found with these jobs dearer.
        """
        skip = self.arrays.skip.copy()
        for j, cents in dearer.items():
            skip[j] += cents
        now, begins = self.arrays._replace(skip=skip), self.begins
        pooled = self._pooled(now)
        if pooled is not None:
            _, together = self._search(pooled, begins, rounds)
            begins = [*begins, (together, self.ruin.starts())]
        cost, routes = self._search(now, begins, rounds)
        days, jobs = self.model.crew_days, self.week.jobs
        named = {(self.week.crews[days[k].crew].id, days[k].day): list(items) for k, items in routes.items() if items}
        return Anew(cost, named, frozenset(jobs[i].id for r in named.values() for i in r if i < len(jobs)))

    def _search(self, now: Arrays, begins: Sequence[Begun], rounds: int) -> tuple[int, Mapping[int, Sequence[int]]]:
        ruin = self.ruin
        ruin.week = now
        ruin.now, ruin.best, ruin.trial = (empty(dataclasses.replace(self.model, skip_cost=now.skip)) for _ in range(3))
        ruin.room.cache_version[:] = -1
        each = max(1, rounds // len(begins))
        for (routes, starts), hot in zip(begins, HEATS, strict=False):
            ruin.begin_from({k: list(jobs) for k, jobs in routes.items() if jobs}, starts)
            ruin.run(each, max(1.0, hot * ruin.stop_cents), _COLD ** (1 / each))
        return int(ruin.best.total[0]), ruin.routes()  # at the prices of `now`, and not at the model's own

    def _pooled(self, now: Arrays) -> Arrays | None:
        """Return the numbers with what follows a job added to its own price; None where no job that follows waits.

        One whose job before it is planned where it cannot follow is dearer than all: that one then makes way for it.
        """
        follow = now.follow[:, :2].tolist()
        planned = set[int]().union(*(jobs for routes, _ in self.begins for jobs in routes.values()))
        waiting = [(first, then) for first, then in follow if first not in planned and then not in planned]
        parted = {then for first, then in follow if first in planned and then not in planned}
        if not waiting and not parted:
            return None
        skip = now.skip.copy()
        skip[sorted(parted)] += int(now.skip.sum())
        for job in {first for first, _ in waiting}:
            after, todo = set[int](), [job]
            while todo:
                at = todo.pop()
                new = {then for first, then in waiting if first == at} - after
                after |= new
                todo += new
            skip[job] += int(now.skip[sorted(after)].sum())
        return now._replace(skip=skip)


def as_planned(routes: Routes) -> Begin:
    """Return routes of the first format to search from, those of crew days that are in the week that is planned."""

    def begin(model: Model) -> Begun:
        return {model.crew_day[at]: jobs for at, jobs in routes.items() if at in model.crew_day}, {}

    return begin


def most_questions(model: Model) -> int:
    """Return how many questions of a week may be asked so, by its size."""
    return MOST_PAIRS // max(1, len(model.week.jobs) * len(model.crew_days))


def most_built(model: Model) -> int:
    """Return how many weeks like this one may be made other ones and planned again, at least one."""
    return max(1, MOST_BUILT // max(1, len(model.week.jobs) * len(model.crew_days)))


def rounds_each(questions: int) -> int:
    """Return the rounds for each of so many questions."""
    return max(LEAST_ROUNDS, min(MOST_ROUNDS, ROUNDS // max(1, questions)))
