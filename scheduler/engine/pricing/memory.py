"""Which jobs a label remembers to have served, and where: all, or few at first and more as jobs come twice."""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.pricing.problem import PricingProblem

REMEMBERED = 8  # jobs nearest to one, itself among them, that a forgetful label remembers there at first


class Memory:
    """Which jobs served a label remembers at each job, as masks of words: all of them in `whole`, few in `some`.

    R. Baldacci, A. Mingozzi, R. Roberti: New route relaxation and pricing strategies for the vehicle routing problem,
    Operations Research 59(5), 2011. A job that comes twice in a route found is remembered wherever that route went in
    between (G. Righini, M. Salani: New dynamic programming algorithms for the resource constrained elementary shortest
    path problem, Networks 51(3), 2008), so that in the end no job comes twice.
    """

    def __init__(self, problem: PricingProblem) -> None:
        follows, n = problem.follows, len(problem.stops.service)
        self.bit = follows.bit
        self.whole = np.full_like(follows.bit, ~np.uint64(0))
        ordered = np.bitwise_or.reduce(follows.forbidden, axis=0) | follows.firsts  # what order hangs on
        near = np.argsort(problem.stops.minutes[:n, :n], axis=1, kind="stable")[:, :REMEMBERED]
        self.some = np.bitwise_or.reduce(follows.bit[near], axis=1) | follows.bit | ordered

    def learn(self, flat: Any, ptr: Any) -> Any:
        """Return which routes hold no job twice, and remember from now on what the others forgot."""
        once = np.ones(len(ptr) - 1, np.bool_)
        for r in range(len(once)):
            route = flat[ptr[r] : ptr[r + 1]].tolist()
            last: dict[int, int] = {}
            for place, j in enumerate(route):
                if j in last:
                    once[r] = False
                    self.some[route[last[j] + 1 : place]] |= self.bit[j]
                last[j] = place
        return once
