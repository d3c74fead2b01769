"""A table of weeks: our cost, bound and gap, seconds and memory, beside routing libraries and one monolithic model.

Run from the project's root: `python -m tests.benchmarks.bench_weeks` (about four hours), with `--quick` for a
few seconds a week, `--weeks 45x4 mixed-160` for some, `--seeds 0 1 2` for several, `--alone` without the others;
`--like` is for days like the published ones too (`similar.py`).

The exchanged weeks and the published sets are read from ../shared/contract beside the project where it is there;
weeks of the same make (`make_weeks`) are always invented anew. Each solver runs in a process of its own, whose
compiled code is warm before the clock starts; its peak memory is that process's. "plain" is the week without shared
resources, rest, follows, bookings and overtime, second crews and second loads (`others.plain`), all that the
libraries can plan; beside PyVRP, which knows them, with second loads (`others.plain_with_loads`). The ratios are our
cost of the plain week by theirs, both timed, priced and audited by our own code, after the same seconds. Under 1 ours
is cheaper. The last cell is the command that measures a line again.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from scheduler import plan_week
from scheduler.reports.gap import gap
from scheduler.week import Week, read_week
from tests.benchmarks.make_horizon import make_horizon
from tests.benchmarks.make_weeks import Make, make_week
from tests.benchmarks.similar import similar

CONTRACT = Path(__file__).resolve().parents[2].parent / "shared" / "contract"
MOST_LIBRARY_JOBS = 700
MOST_MONOLITH_JOBS = 50

# name of the exchanged week, seconds
EXCHANGED = (
    ("installs-12x2", 3), ("installs-45x4", 5), ("mixed-45x4", 15), ("mixed-45x4", 120), ("installs-120x10", 30),
    ("mixed-160x10", 60), ("mixed-160x10", 180), ("installs-480x40", 120), ("installs-480x40", 300),
    ("mixed-640x40", 300), ("mixed-640x40", 1800),
    ("v2-tiny-1", 5), ("v2-tiny-2", 5), ("v2-tiny-3", 5), ("v2-tiny-4", 5), ("v2-tiny-5", 5), ("v2-tiny-6", 5),
    ("v2-installs-45x4", 60), ("v2-installs-45x4", 180), ("v2-mixed-60x5", 60), ("v2-mixed-60x5", 180),
    ("v2-horizon-160x6x18", 120), ("v2-horizon-300x10x24", 300),
)  # fmt: skip
# jobs, crews, days, yards, seconds
HORIZONS = ((900, 30, 24, 3, 600),)
# make, jobs, crews, yards, seconds
INVENTED: tuple[tuple[Make, int, int, int | None, int], ...] = (
    ("installs", 12, 2, None, 3), ("installs", 30, 3, None, 3), ("installs", 45, 4, None, 5),
    ("mixed", 45, 4, None, 15), ("installs", 120, 10, None, 30), ("mixed", 160, 10, None, 60),
    ("installs", 480, 40, None, 120),
    ("mixed", 640, 40, None, 300), ("installs", 2400, 200, 20, 600),
)  # fmt: skip
QUICK_S = 5.0
PUBLISHED_S = {"25": 10, "50": 60, "100": 120}


@dataclass(frozen=True)
class Case:
    """One line of the table; `compared`: the libraries are asked too."""

    name: str
    week: Week
    seconds: float
    compared: bool


@dataclass(frozen=True)
class Outcome:
    """What a solver came to; cents, seconds, megabytes; `problem`: why there is no cost."""

    cost: int | None
    bound: int | None
    first_s: float | None
    end_s: float
    peak_mb: int
    of_total: float | None = None
    of_influenced: float | None = None
    problem: str = ""


def cases(seeds: list[int], quick_s: float | None, like: bool) -> Iterator[Case]:
    """Yield the exchanged weeks, the published sets, with `like` days like them, then invented weeks of every seed."""

    def limit(seconds: float) -> float:
        return seconds if quick_s is None else min(seconds, quick_s)

    seen: set[tuple[str, float]] = set()
    for name, seconds in EXCHANGED:
        path = CONTRACT / "weeks" / f"{name}.week.json"
        if (name, limit(seconds)) in seen:
            continue
        seen.add((name, limit(seconds)))
        if path.exists():
            yield Case(name, read_week(path.read_bytes()), limit(seconds), True)
        else:
            print(f"{name}: skipped, {path.name} is not beside the project", flush=True)
    published = sorted((CONTRACT / "published").glob("*.week.json"))
    if not published:
        print("published sets: skipped, they are not beside the project", flush=True)
    for path in published:
        name, size = path.name.split(".")[:2]
        week = read_week(path.read_bytes())
        differ = name.startswith("technicians") and size == "100"
        yield Case(f"{name}.{size}", week, limit(PUBLISHED_S[size]), differ)
        if like and differ:
            for change, one in similar(week):
                yield Case(f"{name}.{size} {change}", one, limit(PUBLISHED_S[size]), False)
    for make, jobs, crews, yards, seconds in INVENTED:
        for seed in seeds:
            if quick_s is not None and jobs > 1000:
                continue
            week = make_week(make, jobs, crews, yards=yards, seed=seed)
            yield Case(f"{week.id} (invented)", week, limit(seconds), seed == seeds[0])
    for jobs, crews, days, horizon_yards, seconds in HORIZONS:
        if quick_s is None or quick_s > QUICK_S:
            horizon = make_horizon(jobs, crews, days, horizon_yards)
            yield Case(f"{horizon.id} (invented)", horizon, limit(seconds), False)


def measure(who: str, week: Week, seconds: float, seed: int, processor: bool = False) -> Outcome:
    """Run one solver here and now; meant for a process of its own.

    processor: all seconds, given and told, are the process's time on processors, its threads together (for ours and
    PyVRP): a machine that others use meanwhile changes nothing then.
    """
    from scheduler import Progress
    from tests.benchmarks.monolith import by_cp_sat
    from tests.benchmarks.others import by_ortools, by_pyvrp

    clock = time.process_time if processor else time.monotonic
    warm = make_week("installs", 12, 2)
    if who == "ours":
        plan_week(warm, seconds=None, clock=clock)
    nothing = sum(job.skip_cents for job in week.jobs)
    first: list[float] = []
    begun = clock()

    def report(progress: Progress) -> None:
        if not first and progress.cost is not None and progress.cost < nothing:
            first.append(clock() - begun)

    bound = None
    try:
        if who == "ours":
            plan = plan_week(week, seconds=seconds, seed=seed, clock=clock, report=report)
            bound = plan.bound
        elif who == "pyvrp":
            plan = by_pyvrp(week, seconds, seed, clock)
        elif who == "ortools":
            plan = by_ortools(week, seconds)
        else:
            plan, bound = by_cp_sat(week, seconds, seed)
    except ValueError as fault:
        return Outcome(None, None, None, clock() - begun, _peak_mb(), problem=str(fault))
    end = clock() - begun
    open_ = gap(week, plan) if who == "ours" else None
    return Outcome(
        plan.cost.total, bound, first[0] if first else end, end, _peak_mb(),
        open_.of_total if open_ else None, open_.of_influenced if open_ else None,
    )  # fmt: skip


def _peak_mb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def apart(who: str, week: Week, seconds: float, seed: int, processor: bool = False) -> Outcome:
    """Return what `measure` does, run in a new process."""
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=_quiet) as pool:
        return pool.submit(measure, who, week, seconds, seed, processor).result()


def _quiet() -> None:
    """Keep the solvers' own lines out of the table."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def compare(case: Case, seed: int) -> list[str]:
    """Return the cells of the plain week: our cost, then ours by each other's (by PyVRP's with second loads)."""
    from tests.benchmarks.others import plain, plain_with_loads

    week, loads = plain(case.week), plain_with_loads(case.week)
    if len(week.jobs) > MOST_LIBRARY_JOBS:
        return ["", "", "", ""]
    ours = apart("ours", week, case.seconds, seed)
    with_loads = ours if loads == week else apart("ours", loads, case.seconds, seed)
    cells = [_cents(ours.cost)]
    for who, asked, mine in (("pyvrp", loads, with_loads), ("ortools", week, ours), ("cp-sat", week, ours)):
        if who == "cp-sat" and len(week.jobs) > MOST_MONOLITH_JOBS:
            cells.append("")
            continue
        theirs = apart(who, asked, case.seconds, seed)
        if theirs.cost is None or mine.cost is None:
            cells.append("none")
            continue
        cell = f"{mine.cost / theirs.cost:.4f}"
        if theirs.bound is not None:
            cell += f" ({100 * (theirs.cost - max(0, theirs.bound)) / theirs.cost:.0f} % open)"
        cells.append(cell)
    return cells


def _cents(value: int | None) -> str:
    return "none" if value is None else f"{value:,}"


HEAD = ("week", "limit s", "seed", "cost", "bound", "gap %", "of influenced", "first s", "end s", "MB",
        "plain: ours", "by PyVRP", "by OR-Tools", "by CP-SAT", "command")  # fmt: skip
WIDTH = (30, 7, 4, 12, 12, 6, 13, 7, 7, 5, 12, 8, 11, 18, 0)
COMMAND = ".venv/bin/python -m tests.benchmarks.bench_weeks"


def _row(cells: list[str] | tuple[str, ...]) -> str:
    return "  ".join(c.ljust(w) if n == 0 else c.rjust(w) for n, (c, w) in enumerate(zip(cells, WIDTH, strict=True)))


def main() -> None:
    parser = argparse.ArgumentParser(description="Time the planner on weeks and print a table.")
    parser.add_argument("--weeks", nargs="*", default=[], help="only weeks whose name holds one of these")
    parser.add_argument("--seeds", nargs="*", type=int, default=[0])
    parser.add_argument("--quick", action="store_true", help="at most 5 seconds a week")
    parser.add_argument("--seconds", type=float, default=None, help="at most so many seconds a week")
    parser.add_argument("--alone", action="store_true", help="without the libraries and the monolithic model")
    parser.add_argument("--like", action="store_true", help="also days like the published ones of technicians")
    given = parser.parse_args()
    quick_s = given.seconds if given.seconds is not None else QUICK_S if given.quick else None
    print(_row(HEAD), flush=True)
    for case in cases(given.seeds, quick_s, given.like):
        if given.weeks and not any(wanted(case.name, part) for part in given.weeks):
            continue
        invented = case.name.endswith("(invented)")
        for seed in given.seeds[:1] if invented else given.seeds:
            ours = apart("ours", case.week, case.seconds, seed)
            cells = [case.name, f"{case.seconds:g}", str(seed), _cents(ours.cost), _cents(ours.bound)]
            cells += ["" if x is None else f"{x:.2f}" for x in (ours.of_total, ours.of_influenced)]
            cells += ["" if ours.first_s is None else f"{ours.first_s:.2f}", f"{ours.end_s:.1f}", str(ours.peak_mb)]
            with_others = case.compared and not given.alone and seed == given.seeds[0]
            cells += compare(case, seed) if with_others else [""] * 4
            cells.append(f"{COMMAND} --weeks {case.name.split()[0]} --seconds {case.seconds:g} --seeds {seed}")
            print(_row(cells), flush=True)


def wanted(name: str, part: str) -> bool:
    """Say whether a case is asked for by `part`: by its whole name where that is one, else by a part of it."""
    whole = name.split()[0]
    return part == whole if part in {exchanged for exchanged, _ in EXCHANGED} else part in whole


if __name__ == "__main__":
    main()
