"""Ruin and recreate that goes on in a thread of its own while routes are priced and chosen among.

It anneals in cycles, each from the best plan that anyone has found, by turns hot (a plan that leaves out other jobs)
and cool (other orders and crews); the heat that has won most so far has every other turn, and each lasts longer than
those before it. Its plans are audited as all are, and its routes wait here until the search takes them into the master.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable

from scheduler.engine.pricing.columns import Columns
from scheduler.engine.search.incumbent import Best
from scheduler.engine.search.ruin_recreate import Ruin
from scheduler.engine.search.state import State

HEATS = (0.3, 1.0, 0.1, 3.0)  # of what a stop costs: where the cycles begin, by turns
COLD = 0.002  # of the same, where they end
FIRST_SHARE, MOST_SHARE, LONGER = (
    0.02,
    0.2,
    1.3,
)  # of the time given: the first cycle, the longest, each by the one before
SLICE_S = 0.05  # between two looks at the clock
IDLE, MOST_IDLE = 0.5, 2.0  # of a cycle: how much longer it rests after each that wins nothing, and at most
COOL = 0.05  # of what a stop costs: heat under which routes are kept for the master
MOST_WAITING = 40  # plans whose routes wait


class Roaming:
    """The search in the background; `taken` hands over its routes."""

    def __init__(self, ruin: Ruin, best: Best, left: Callable[[], float], rate: float) -> None:
        """`rate`: rounds a second, about; `left`: the seconds that remain."""
        self.ruin, self.best, self.left = ruin, best, left
        self.slice = max(1, int(rate * SLICE_S))
        self.given = left()
        self.lock = threading.Lock()
        self.waiting: list[tuple[Callable[[State], Columns], Columns]] = []
        self.ended = threading.Event()
        self.fault: BaseException | None = None
        self.columns: Callable[[State], Columns] = ruin.columns  # the routes of a plan, as the search has them
        self.thread = threading.Thread(target=self._work, name="roaming", daemon=True)
        self.thread.start()

    def taken(self) -> list[Columns]:
        """Return the routes of plans met since this was last asked; raises what went wrong in the thread."""
        if self.fault is not None:
            raise self.fault
        with self.lock:
            waiting, self.waiting = self.waiting, []
        return [columns for made, columns in waiting if made == self.columns]

    def end(self) -> None:
        """End the thread, and wait for it."""
        self.ended.set()
        self.thread.join()

    def _work(self) -> None:
        try:
            turn, share, idle = 0, FIRST_SHARE, 0.0
            won = dict.fromkeys(HEATS, 0.0)  # cents a second
            while not self._over():
                if turn < len(HEATS):
                    hot = HEATS[turn]
                else:
                    hot = HEATS[turn // 2 % len(HEATS)] if turn % 2 else max(HEATS, key=won.__getitem__)
                before, seconds = self.best.cost, share * self.given
                self._cycle(hot, seconds)
                idle = 0.0 if self.ruin.cost < before else min(MOST_IDLE, idle + IDLE)
                self._pause(idle * seconds)
                won[hot] = 0.5 * won[hot] + max(0, before - self.ruin.cost) / seconds
                turn, share = turn + 1, min(MOST_SHARE, share * LONGER)
        except BaseException as fault:  # handed to the search
            self.fault = fault

    def _pause(self, seconds: float) -> None:
        """Leave the processor to the others."""
        begun = self.left()
        while not self._over() and begun - self.left() < seconds:
            self.ended.wait(SLICE_S)

    def _over(self) -> bool:
        return self.ended.is_set() or self.left() <= 0 or self.best.proven

    def _cycle(self, hot: float, seconds: float) -> None:
        """Anneal once from the best plan."""
        ruin = self.ruin
        ruin.begin_from(*self.best.plan_now())
        stop = ruin.stop_cents
        begun = self.left()
        while not self._over() and (done := (begun - self.left()) / seconds) < 1:
            heat = stop * hot * math.pow(COLD / hot, done)
            ruin.run(self.slice, heat)
            if ruin.cost < self.best.cost:
                self.best.offer(ruin.routes(), ruin.cost, ruin.starts())
            if heat < COOL * stop:
                self._keep(ruin.now)
        self._keep(ruin.best)

    def _keep(self, state: State) -> None:
        made = self.columns
        kept = made, made(state)
        with self.lock:
            self.waiting = [*self.waiting[-MOST_WAITING:], kept]
