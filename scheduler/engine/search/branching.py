"""Branching on jobs left out: plans that skip one are bounded apart from those that do not.

Where parts on the shelf, hands or hours are short, the linear program leaves out a little of many jobs, and no cut over
routes says that a job goes or does not. Either way pricing stays as it is: only what skipping costs changes.
"""

from __future__ import annotations

import contextlib
import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scheduler.engine.incumbent import Best
from scheduler.engine.master.relaxation import BEAMS, Relaxation
from scheduler.engine.search.diving import Dives
from scheduler.engine.search.nearly import Nearly

WHOLE = 0.01  # a part of a job under which it counts as whole
NODE_BEAMS = BEAMS[0], 0  # of a node, whose prices differ little from those before: the steps between win no time
NEAR = 0.05  # of the gap: how far a node's bound may be from its linear program
DEAR = 2.0  # gaps that skipping costs on top, where a job is to go


@dataclass(order=True)
class Node:
    """Plans that skip the jobs where `low` is 1, and none where `more` is positive; none costs less than `bound`."""

    bound: float
    number: int
    low: Any = field(compare=False)
    more: Any = field(compare=False)
    skipped: Any = field(compare=False)  # by job, of the program's solution

    @property
    def parts(self) -> Any:
        """The jobs that are skipped in part and may still be decided."""
        free = (self.low == 0) & (self.more == 0)
        return np.nonzero(free & (self.skipped > WHOLE) & (self.skipped < 1 - WHOLE))[0]


class _Near(Exception):
    """The bound of a node is good enough."""


class Branching:
    """The tree; its least bound is one on every plan."""

    def __init__(self, relax: Relaxation, best: Best | Nearly, offer: Callable[[list[int]], None]) -> None:
        """`offer`: takes columns that make a plan."""
        self.relax, self.best, self.offer = relax, best, offer
        none = np.zeros(relax.rows.skips)
        self.open = [Node(relax.bound, 0, none, none, relax.skipped())]
        self.numbers = 0

    @property
    def able(self) -> bool:
        """Whether the node of least bound can be divided."""
        return bool(self.open) and len(self.open[0].parts) > 0

    def divide(self) -> None:
        """Divide the node of least bound at the job that is least decided, and raise the bound."""
        relax, node = self.relax, heapq.heappop(self.open)
        root, value, dual, primal = relax.bound, relax.value, relax.dual, relax.primal
        parts = node.parts
        undecided = np.minimum(node.skipped[parts], 1 - node.skipped[parts]) * relax.rows.base.skip_cost[parts]
        job = parts[np.argmax(undecided)]
        least = node.bound
        try:
            for skip in (False, True):
                low, more = node.low.copy(), node.more.copy()
                if skip:
                    low[job] = 1.0
                else:
                    more[job] = DEAR * (self.best.cost - root) + relax.rows.base.skip_cost[job]
                if (child := self._solved(low, more, least)) is not None:
                    heapq.heappush(self.open, child)
        finally:
            none = np.zeros(relax.rows.skips)
            relax.lean(none, none)
            relax.bound, relax.value, relax.primal = root, value, primal
            relax.dual = np.append(dual, np.zeros(len(relax.rows.cap) - len(dual)))  # what was cut meanwhile is free
        while self.open and self.open[0].bound >= self.best.cost:
            heapq.heappop(self.open)
        self.best.prove(self.open[0].bound if self.open else float(self.best.cost))

    def _solved(self, low: Any, more: Any, least: float) -> Node | None:
        """Return a node, priced; None where no plan of it costs less than the best. A dive makes a plan of it."""
        relax = self.relax
        relax.lean(low, more)
        relax.bound, relax.level = -np.inf, 0
        with contextlib.suppress(_Near):
            relax.run(self._look, NODE_BEAMS)
        if relax.bound >= self.best.cost:
            return None
        self.numbers += 1
        node = Node(max(least, relax.bound), self.numbers, low, more, relax.skipped())
        self.offer(Dives(relax, 0).next(np.inf))
        return node

    def _look(self) -> None:
        """End the pricing of a node once its bound is near what more of it could come to, or at what the best costs."""
        relax, cost = self.relax, self.best.cost
        if relax.bound >= cost or relax.value - relax.bound < NEAR * (cost - relax.bound):
            raise _Near
