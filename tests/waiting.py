"""Waiting for what another thread or process brings about."""

from __future__ import annotations

import time
from collections.abc import Callable

# It comes in a moment. A machine that has another suite to run too gives a process that gives way to all others little
# of its time: only a failure takes as long as this.
PATIENCE_S = 300.0
PAUSE_S = 0.02
# A question takes time from whoever is to bring about the answer: pauses are so many times as long as it.
REST = 8
LONGEST_PAUSE_S = 0.4


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds; raises `AssertionError` where that does not come about."""
    end = time.monotonic() + PATIENCE_S
    while True:
        asked = time.monotonic()
        if holds():
            return
        assert asked < end, "waited in vain"
        time.sleep(min(max(PAUSE_S, REST * (time.monotonic() - asked)), LONGEST_PAUSE_S))
