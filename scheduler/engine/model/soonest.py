"""Compiled: how soon after one job any crew can be at another, whatever it does in between."""

from __future__ import annotations

from typing import Any

from scheduler.engine.model.compiled import compiled

MOST_ITEMS = 1_000  # the time grows by the third power: a second from here on


@compiled
def soonest(minutes: Any, service: Any) -> Any:
    """Return the least minutes from the end of each service to an arrival at each job, over any services between.

    minutes: (jobs, jobs) drives. They need keep no triangle inequality; a drive that does is returned as it is.
    """
    least, jobs = minutes.copy(), len(service)
    for k in range(jobs):
        for i in range(jobs):
            to = least[i, k] + service[k]
            for j in range(jobs):
                if to + least[k, j] < least[i, j]:
                    least[i, j] = to + least[k, j]
    return least
