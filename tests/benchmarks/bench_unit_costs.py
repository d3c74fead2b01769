"""What planning a crew day and a job cost: processor seconds and memory.

    .venv/bin/python -m tests.benchmarks.bench_unit_costs --seconds 15 --weeks installs-120x10 mixed-160x10

Seconds are those of the processor, so that they do not depend on what else the machine does. Each week is planned in a
process of its own, which is given at most `--seconds` of them. Its memory is the most that it held, less what it held
with the engine loaded.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import time
from pathlib import Path

from scheduler import plan_week, tiny_week
from scheduler.week import read_week

NAMES = ("installs-12x2", "installs-45x4", "installs-120x10", "mixed-45x4", "mixed-160x10", "v2-mixed-60x5")
WEEKS = Path(__file__).parents[1] / "data" / "weeks"


def planned(name: str, seconds: float) -> tuple[int, int, float, float, float]:
    """Return jobs, crew days, processor seconds, MB held and the gap in percent of planning a week of the examples."""
    week = read_week((WEEKS / f"{name}.week.json").read_bytes())
    plan_week(tiny_week(), seconds=None, clock=time.monotonic)
    held, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    plan = plan_week(week, seconds=seconds, clock=time.process_time)
    took = time.process_time() - began
    more = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held) / 1024
    gap = 100.0 if plan.bound is None else 100 * (plan.cost.total - plan.bound) / plan.cost.total
    return len(week.jobs), sum(len(crew.shifts) for crew in week.crews), took, more, gap


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--weeks", nargs="+", default=NAMES)
    given = parser.parse_args()
    print("| week | jobs | crew days | s | s a crew day | MB | MB a crew day | gap |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name in given.weeks:
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            jobs, days, took, more, gap = pool.apply(planned, (name, given.seconds))
        each = (f"{took:.1f}", f"{took / days:.2f}", f"{more:.0f}", f"{more / days:.1f}", f"{gap:.2f} %")
        cells = (name, jobs, days, *each)
        print(f"| {' | '.join(map(str, cells))} |", flush=True)


if __name__ == "__main__":
    main()
