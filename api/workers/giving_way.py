"""Processes in the background give way to the pages."""

from __future__ import annotations

import os
import sys


def give_way(steps: int = 10) -> None:
    """Have this process, and what it starts, get the processor only after others, where the system knows of that.

    steps: as of `nice`; Windows has no such thing, and there all are alike.
    """
    if sys.platform != "win32":
        os.nice(steps)
