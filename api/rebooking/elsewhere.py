"""The searches of rebooking as tasks: of plain values, so that a cluster can do them.

What has been searched through is kept by whoever did it, in that process; another one does it again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.cluster import RunLine
from scheduler.plan import Plan
from scheduler.week import Week

if TYPE_CHECKING:
    from scheduler import Fixed, Offer, Warm

_WARM_KEPT = 3
_lock = threading.Lock()
_warm: dict[str, Warm] = {}

Clock = Callable[[], float]


@dataclass(frozen=True)
class SearchTask:
    """A week as it stands for a search; what is fixed in it, the plan to start from, and the line that stops it.

    clock: None: that of whoever does it.
    """

    week: Week
    fixed: Fixed
    start: Plan
    line: RunLine
    clock: Clock | None = field(default=None, repr=False)


def solved(asked: SearchTask, seconds: float) -> Plan:
    """Return the best plan found in `seconds`, without reasons."""
    from scheduler import plan_week

    return plan_week(
        asked.week, seconds=seconds, clock=asked.clock or time.monotonic, workers=1, fixed=asked.fixed,
        start=asked.start, with_because=False, stop=asked.line.stopped,
    )  # fmt: skip


def searched_through(
    asked: SearchTask, key: str, visit_id: str, best: int, prove: float, seconds: float
) -> list[Offer] | None:
    """Return the cheapest times of a visit with others moving; None where that takes longer than it may.

    key: names the week as it stands; prove, seconds: for the best plan, and then for all routes that could matter.
    """
    from scheduler import offer as offers
    from scheduler import warm

    with _lock:
        kept = _warm.get(key)
    if kept is None:
        made = solved(asked, prove)
        unproven = made.bound != made.cost.total  # keeping it warm would take minutes
        if unproven or asked.week.format != "week/1" or asked.line.stopped():
            return None
        kept = warm(
            asked.week, clock=asked.clock or time.monotonic, seconds=seconds, workers=1, fixed=asked.fixed,
            stopped=asked.line.stopped,
        )  # fmt: skip
        with _lock:
            _warm[key] = kept
            while len(_warm) > _WARM_KEPT:
                del _warm[next(iter(_warm))]
    if not (kept.ready and kept.best.proven):
        return None
    return offers(asked.week, asked.start, visit_id, best=best, others_may_move=True, kept=kept)
