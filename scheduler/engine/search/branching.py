"""Branching on jobs left out and on how many crew days go out: plans of either kind are bounded apart.

Where parts on the shelf, hands or hours are short, the linear program leaves out a little of many jobs; where a crew's
day costs something, it sends out three crews and a half. No cut over routes says that a job or a crew goes or does not.
Either way pricing stays as it is (`master/decided.py`). What holds in all that is left open is kept for good.
"""

from __future__ import annotations

import contextlib
import heapq
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from scheduler.engine.incumbent import Best
from scheduler.engine.master.decided import Decided
from scheduler.engine.master.relaxation import BEAMS, Relaxation
from scheduler.engine.search.diving import Dives
from scheduler.engine.search.nearly import Nearly

WHOLE = 0.01  # a part of a job, or of a crew day, under which it counts as whole
NODE_BEAMS = BEAMS[0], 0  # of a node, whose prices differ little from those before: the steps between win no time
NEAR = 0.05  # of the gap: how far a node's bound may be from its linear program
DEAR = 2.0  # gaps that it costs on top to skip a job that is to go, or to have a crew day idle that is to go out


@dataclass(order=True)
class Node:
    """Plans that keep to what is decided; none costs less than `bound`."""

    bound: float
    number: int
    decided: Decided = field(compare=False)
    skipped: Any = field(compare=False)  # by job, of the program's solution
    idle: Any = field(compare=False)  # by fleet

    @property
    def parts(self) -> Any:
        """The jobs that are skipped in part and may still be decided."""
        free = (self.decided.skipped == 0) & (self.decided.more == 0)
        return np.nonzero(free & (self.skipped > WHOLE) & (self.skipped < 1 - WHOLE))[0]

    @property
    def fleets(self) -> Any:
        """The fleets of which no whole number of crew days goes out, and may still be decided."""
        part = self.idle - np.floor(self.idle)
        within = (self.idle > self.decided.least) & (self.idle < self.decided.most)
        return np.nonzero(within & (part > WHOLE) & (part < 1 - WHOLE))[0]


class _Near(Exception):
    """The bound of a node is good enough."""


class Branching:
    """The tree; its least bound is one on every plan."""

    def __init__(self, relax: Relaxation, best: Best | Nearly, offer: Callable[[list[int]], None]) -> None:
        """`offer`: takes columns that make a plan. What `relax` keeps to holds for all nodes."""
        self.relax, self.best, self.offer = relax, best, offer
        self.root = relax.decided
        self.open = [Node(relax.bound, 0, self.root, relax.skipped(), relax.idle())]
        self.numbers = 0
        self.out_cents = _out_cents(relax)

    @property
    def able(self) -> bool:
        """Whether the node of least bound can be divided."""
        return bool(self.open) and len(self.open[0].parts) + len(self.open[0].fleets) > 0

    @property
    def settled(self) -> Decided | None:
        """What every plan that is cheaper than the best keeps to, where that is more than what the root does."""
        if len(self.open) == 1 and self.open[0].decided is not self.root:
            return self.open[0].decided
        return None

    def divide(self) -> None:
        """Divide the node of least bound where it is least decided, and raise the bound."""
        relax, node = self.relax, heapq.heappop(self.open)
        root, value, dual, primal = relax.bound, relax.value, relax.dual, relax.primal
        least = node.bound
        try:
            for decided in self._halves(node, DEAR * (self.best.cost - root)):
                if (child := self._solved(decided, least)) is not None:
                    heapq.heappush(self.open, child)
        finally:
            relax.lean(self.root)
            relax.bound, relax.value, relax.primal = root, value, primal
            relax.dual = np.append(dual, np.zeros(len(relax.rows.cap) - len(dual)))  # what was cut meanwhile is free
        self.open = [one for one in self.open if one.bound < self.best.cost]
        heapq.heapify(self.open)
        self.best.prove(self.open[0].bound if self.open else float(self.best.cost))

    def _halves(self, node: Node, dear: float) -> tuple[Decided, Decided]:
        """Return what is decided in each half of a node, by the job or the fleet whose decision weighs most."""
        decided, parts, fleets = node.decided, node.parts, node.fleets
        jobs = np.minimum(node.skipped[parts], 1 - node.skipped[parts]) * self.relax.rows.base.skip_cost[parts]
        part = node.idle[fleets] - np.floor(node.idle[fleets])
        days = np.minimum(part, 1 - part) * self.out_cents[fleets]
        if len(days) and days.max() >= jobs.max(initial=0.0):
            fleet, cents = fleets[np.argmax(days)], max(dear, decided.short_cents)
            least, most = decided.least.copy(), decided.most.copy()
            most[fleet] = np.floor(node.idle[fleet])
            least[fleet] = most[fleet] + 1
            return replace(decided, most=most, short_cents=cents), replace(decided, least=least, short_cents=cents)
        skipped, more = decided.skipped.copy(), decided.more.copy()
        job = parts[np.argmax(jobs)]
        skipped[job] = 1.0
        more[job] = dear + self.relax.rows.base.skip_cost[job]
        return replace(decided, more=more), replace(decided, skipped=skipped)

    def _solved(self, decided: Decided, least: float) -> Node | None:
        """Return a node, priced; None where no plan of it costs less than the best. A dive makes a plan of it."""
        relax = self.relax
        relax.lean(decided)
        relax.bound, relax.level = -np.inf, 0
        with contextlib.suppress(_Near):
            relax.run(self._look, NODE_BEAMS)
        if relax.bound >= self.best.cost:
            return None
        self.numbers += 1
        node = Node(max(least, relax.bound), self.numbers, decided, relax.skipped(), relax.idle())
        self.offer(Dives(relax, 0).next(np.inf))
        return node

    def _look(self) -> None:
        """End the pricing of a node once its bound is near what more of it could come to, or at what the best costs."""
        relax, cost = self.relax, self.best.cost
        if relax.bound >= cost or relax.value - relax.bound < NEAR * (cost - relax.bound):
            raise _Near


def _out_cents(relax: Relaxation) -> Any:
    """Return by fleet what it costs about that one crew day more goes out: its day, and a way there and back."""
    model, rows = relax.model, relax.rows
    cents = np.zeros(len(model.crew_days))
    for k in rows.leads.tolist():
        places, yard = model.job_place[relax.days[k].jobs], model.yard_place[k]
        minutes = np.median(model.minutes[yard, places] + model.minutes[places, yard])
        metres = np.median(model.metres[yard, places] + model.metres[places, yard])
        cents[k] = model.day_cents[k] + minutes * model.minute_cents[k] + metres * model.km_cents[k] / 1000
    return np.array([cents[fleet].mean() for fleet in rows.fleets])
