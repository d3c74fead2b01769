"""Waiting for what another thread or process brings about."""

from __future__ import annotations

import time
from collections.abc import Callable

# It comes in a moment. A machine that has another suite to run too gives a process that gives way to all others little
# of its time: only a failure takes as long as this.
PATIENCE_S = 300.0
PAUSE_S = 0.02


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds; raises `AssertionError` where that does not come about."""
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(PAUSE_S)
