"""A week planned again for a moment, from a plan with a job put in: whether the job stays, and what it costs at most.

The search is the same each time: so many rounds, no clock.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

from scheduler.engine.model.arrays import Model
from scheduler.engine.search.incumbent import Routes
from scheduler.engine.search.route_cost import Arrays
from scheduler.engine.search.ruin_recreate import Ruin
from scheduler.engine.search.state import empty

ROUNDS = 6_000  # of taking jobs out and putting them back, for all questions of a plan together
MOST_ROUNDS, LEAST_ROUNDS = 1_200, 60  # for one of them
_SEED = 1
HEATS = (0.1, 1.0)  # of what a stop costs, where the search from each beginning starts
_COLD = 0.01  # of that, where it ends


class Again:
    """The search, for one set of crew days and jobs."""

    def __init__(self, model: Model) -> None:
        self.ruin = Ruin(model, _SEED)

    def search(
        self, model: Model, arrays: Arrays, begins: Sequence[Mapping[int, Sequence[int]]], rounds: int
    ) -> tuple[int, Routes]:
        """Return cost and routes of the cheapest plan found from each of the routes `begins`.

        arrays: of the model, with the numbers as they are now; rounds: for all of them together.
        """
        ruin = self.ruin
        ruin.week = arrays
        ruin.now, ruin.best, ruin.trial = (empty(dataclasses.replace(model, skip_cost=arrays.skip)) for _ in range(3))
        ruin.room.cache_version[:] = -1
        each = max(1, rounds // len(begins))
        for begin, hot in zip(begins, HEATS, strict=False):
            ruin.begin_from({k: list(jobs) for k, jobs in begin.items() if jobs})
            ruin.run(each, max(1.0, hot * ruin.stop_cents), _COLD ** (1 / each))
        return ruin.cost, ruin.routes()


def rounds_each(questions: int) -> int:
    """Return the rounds for each of so many questions."""
    return max(LEAST_ROUNDS, min(MOST_ROUNDS, ROUNDS // max(1, questions)))


def extra_anew(
    model: Model, arrays: Arrays, present: int, asked: Iterable[tuple[int, Mapping[int, Sequence[int]]]]
) -> dict[int, int]:
    """Return by job what the cheapest plan found with it costs more than `present`, in cents, negative where it saves.

    asked: each job with routes that hold it, to search from.
    """
    todo, found = list(asked), dict[int, int]()
    again = Again(model) if todo else None
    for j, begin in todo:
        assert again is not None
        skip = arrays.skip.copy()
        skip[j] += skip.sum() + present + 1  # leaving the job out is out of the question
        cost, routes = again.search(model, arrays._replace(skip=skip), (begin, begin), rounds_each(len(todo)))
        if any(j in jobs for jobs in routes.values()):
            found[j] = cost - present
    return found
