"""Compile the engine's loops once, so that the first real week need not wait: `python -m scheduler.engine.ready`.

numba keeps what it compiled beside the modules (or in the user's cache where that cannot be written).
"""

from __future__ import annotations

import time

from scheduler.engine.planning import plan_week
from scheduler.engine.tiny import tiny_week

if __name__ == "__main__":
    began = time.monotonic()
    plan = plan_week(tiny_week(), seconds=None, clock=time.monotonic)
    print(f"engine ready after {time.monotonic() - began:.0f} s (a tiny week costs {plan.cost.total / 100:.2f})")
