"""Ruin and recreate that goes on in a thread of its own while routes are priced and chosen among.

It anneals in cycles, each from the best plan that anyone has found, by turns hot (a plan that leaves out other jobs)
and cool (other orders and crews); the kind that has won most so far has every other turn, and each lasts longer than
those before it. Once it is told how much of each job the linear program leaves out, cycles are cool, and every other
one leans towards that. Its plans are audited as all are, and its routes wait here until the search takes them into the
master.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from typing import Any

from scheduler.engine.incumbent import Best
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.local_search.state import State
from scheduler.engine.pricing.columns import Columns

HEATS = (0.3, 1.0, 0.1, 3.0)  # of what a stop costs: where the cycles begin, by turns
COOLER = (0.03, 0.1)  # the same once it is known what the linear program leaves out
COLD = 0.002  # of the same, where they end
LEAN = 0.3  # of what leaving a job out costs: so much more where the program does all of it, so much less where nothing
FIRST_SHARE, MOST_SHARE = 0.02, 0.2  # of the time given: the first cycle, and the longest
LONGER = 1.3  # each by the one before
SLICE_S = 0.05  # between two looks at the clock
IDLE, MOST_IDLE = 0.5, 2.0  # of a cycle: how much longer it rests after each that wins nothing, and at most
OFFERS, KEEPS = 10, 5  # times as long as a plan takes to be audited until the next is, or its routes to be listed
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
        self.left_out: Any = None  # by job how much of it the linear program leaves out, once that is known
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
            won = dict.fromkeys([(heat, False) for heat in HEATS], 0.0)  # cents a second; whether a cycle leans
            while not self._over():
                if self.left_out is not None and (COOLER[0], True) not in won:
                    turn, won = 0, dict.fromkeys([(heat, leans) for heat in COOLER for leans in (True, False)], 0.0)
                if turn < len(won):
                    kind = list(won)[turn]
                else:
                    kind = list(won)[turn // 2 % len(won)] if turn % 2 else max(won, key=won.__getitem__)
                seconds = share * self.given
                gain = self._cycle(*kind, seconds)
                idle = 0.0 if gain else min(MOST_IDLE, idle + IDLE)
                self._pause(idle * seconds)
                won[kind] = 0.5 * won[kind] + gain / seconds
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

    def _cycle(self, hot: float, leaning: bool, seconds: float) -> int:
        """Anneal once from the best plan; return by how many cents that bettered it."""
        ruin = self.ruin
        ruin.lean(LEAN * (1.0 - 2.0 * self.left_out) if leaning else None)
        ruin.begin_from(*self.best.plan_now(), afresh=True)
        stop = ruin.stop_cents
        begun, gain = self.left(), 0
        due = keep_due = begun
        while not self._over() and (done := (begun - self.left()) / seconds) < 1:
            heat = stop * hot * math.pow(COLD / hot, done)
            ruin.run(self.slice, heat)
            if ruin.cost < self.best.cost and self.left() <= due:
                asked = self.left()
                gain += self._offer()
                due = self.left() - OFFERS * (asked - self.left())
            if heat < COOL * stop and self.left() <= keep_due:
                asked = self.left()
                self._keep(ruin.now)
                keep_due = self.left() - KEEPS * (asked - self.left())
        self._keep(ruin.best)
        return gain + self._offer()

    def _offer(self) -> int:
        """Offer the best plan of the cycle; return by how many cents it is better than any before."""
        ruin, before = self.ruin, self.best.cost
        if ruin.cost < before:  # what it costs without leaning
            self.best.offer(ruin.routes(), ruin.cost, ruin.starts())
        return max(0, before - ruin.cost)

    def _keep(self, state: State) -> None:
        made = self.columns
        kept = made, made(state)
        with self.lock:
            self.waiting = [*self.waiting[-MOST_WAITING:], kept]
