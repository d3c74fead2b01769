"""A search in a thread of its own, so that the time given and the wish to stop are kept."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.pricing.elsewhere import Elsewhere
from scheduler.engine.search.expected import Recourse
from scheduler.engine.search.phases import Search, search

POLL_S = 0.05
FIRST_S = 60.0  # that a first plan may take longer than the time given: reading compiled loops alone may take all of it
LET_GO_S = 0.4  # given to the search to end by itself


@dataclass(frozen=True)
class SearchTime:
    """When a search ends, in seconds.

    clock: seconds from any fixed moment; begun: what it showed at the start. seconds: given in all, None: no limit.
    last: of them, kept back for what comes after the search; expected: kept back for the choice by what is to be
    expected, the search's own end.
    """

    clock: Callable[[], float]
    begun: float
    seconds: float | None
    last: float
    expected: float

    def gone(self) -> float:
        """Return the seconds since the start."""
        return self.clock() - self.begun

    def left(self) -> float:
        """Return the seconds until the plan as planned has to be found; below 0 once they are gone."""
        if self.seconds is None:
            return math.inf
        return self.begun + self.seconds - self.last - self.expected - self.clock()


class SearchInTime:
    """One search, run beside the caller's thread, which looks after the time.

    The solvers let go only now and then: waited for in the caller's thread, they would keep neither the time nor the
    wish to stop. A solver that has not let go when the plan is returned is waited for at the end of the process: cut
    off in the middle of it, the process would end with a crash.
    """

    def __init__(
        self,
        best: Best,
        time: SearchTime,
        *,
        seed: int,
        workers: int,
        start: Routes,
        elsewhere: Elsewhere | None,
        recourse: Recourse | None,
    ) -> None:
        self.best, self.time, self.recourse = best, time, recourse
        self.seed, self.workers, self.start, self.elsewhere = seed, workers, start, elsewhere
        self.ended = threading.Event()
        self.fault: BaseException | None = None  # that ended the search

    def run(self, stop: Callable[[], bool] | None, look: Callable[[], None]) -> None:
        """Search until the plan is proven, the time is over, or `stop` is true; `look` is called now and then.

        What the search raises is in `fault` afterwards.
        """
        thread = threading.Thread(target=self._search, name="search", daemon=False)
        thread.start()
        while thread.is_alive() and not self._over(self.time.expected) and not (stop and stop()):
            left = self.time.left() + self.time.expected
            thread.join(min(POLL_S, left) if left > 0 else POLL_S)
            look()
        self.ended.set()
        thread.join(LET_GO_S)

    def _search(self) -> None:
        try:
            search(
                self.best.model,
                self.best,
                self.seed,
                self.time.left,
                self._check,
                self.workers,
                self.start,
                self.elsewhere,
                self._weigh,
            )
        except BaseException as fault:  # handed to the caller's thread
            self.fault = fault

    def _over(self, more: float = 0.0) -> bool:
        """Return whether the time with `more` seconds is gone; a first plan is waited for."""
        return self.time.left() + more <= (0 if self.best.first.is_set() else -FIRST_S)

    def _check(self) -> None:
        if self.ended.is_set() or self._over():
            raise Stopped

    def _weigh(self, made: Search) -> None:
        """Choose by what is to be expected, in the time kept back for it."""
        if self.recourse is not None and not self.ended.is_set():
            more = self.time.expected
            made.expected(self.recourse, more, lambda: self.ended.is_set() or self._over(more))
