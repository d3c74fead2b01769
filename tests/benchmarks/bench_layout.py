"""How long a layout takes. Run: .venv/bin/python -m tests.benchmarks.bench_layout

Milliseconds depend on the machine, so each figure is also given as a ratio to a yardstick that
runs beside it: sorting the same 20,000 numbers, the fastest of five.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Survey, survey_from_data
from scheduler.layout.placement.brackets import place_brackets
from tests.surveys import FOOT_MM, INCH_MM, PLAIN, random_survey

SURVEYS = 1000


def seconds(work: Callable[[], object], times: int) -> float:
    """Return the fastest of `times` runs, seconds of processor time (other programs do not count)."""
    best = float("inf")
    for _ in range(times):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def wide_survey() -> Survey:
    """A 24 ft awning with three arms on studs every 16 in, 12 in of slide: 49 shifts, six brackets."""
    width = 24 * FOOT_MM
    data = {
        **PLAIN,
        "awning": {**PLAIN["awning"], "width": width, "arms": [900, 3600, width - 900], "weight_kg": 90},
        "wall": {**PLAIN["wall"], "members": [100 + 16 * INCH_MM * n for n in range(21)]},
        "place": {"left_end": 400, "slide": 12 * INCH_MM, "height": 2900},
        "band": {"left": 0, "right": width + 800, "bottom": 2700, "top": 3000},
    }
    return survey_from_data(data)


def main() -> None:
    numbers = [random.Random(1).random() for _ in range(20_000)]
    yardstick = seconds(lambda: sorted(numbers), 5)
    wide, surveys = wide_survey(), [random_survey(random.Random(seed)) for seed in range(SURVEYS)]
    figures = {
        "placement, 24 ft on 16 in studs, 12 in slide": seconds(lambda: place_brackets(wide), 20),
        "layout, the same": seconds(lambda: lay_out(wide), 20),
        f"layout, mean of {SURVEYS} random surveys": seconds(lambda: [lay_out(s) for s in surveys], 1) / SURVEYS,
    }
    for name, took in figures.items():
        print(f"{name:50} {took * 1000:7.2f} ms {took / yardstick:7.2f} yardsticks")


if __name__ == "__main__":
    main()
