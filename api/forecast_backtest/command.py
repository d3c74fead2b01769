"""The whole backtest with the product's own planner, as the command runs it."""

from __future__ import annotations

import datetime
import functools
import time
from collections.abc import Callable
from pathlib import Path

from api.cluster import ClusterDoor
from api.forecast_backtest.invent import asks, week_of
from api.forecast_backtest.observations import TIMEZONE, package_file, read_stations
from api.forecast_backtest.predict import Kind
from api.forecast_backtest.report import write_report
from api.forecast_backtest.run import backtest
from scheduler import plan_week as solve
from scheduler.plan import Plan
from scheduler.weather.limits import DEFAULT_LIMITS
from scheduler.week import Week, Window


def run_and_report(
    out: Path,
    weeks: int,
    jobs: int,
    crews: int,
    any_day: float,
    seconds: float,
    seed: int,
    say: Callable[[str], None],
    cluster: str = "",
) -> str:
    """Plan `weeks` weeks of `jobs` jobs, at most `seconds` a plan, write the report to `out` and return its summary.

    cluster: the address of one that plans the weeks; empty: they are planned here, one after another.
    """
    planner = functools.partial(_plan, seconds, seed)
    planner(_warm_up())
    stations, notes = read_stations(package_file())
    for note in notes:
        say(note)
    kinds: tuple[Kind, ...] = ("blend", "service", "came")
    with ClusterDoor(cluster, here=1) as door:
        door.begin()
        outcome = backtest(stations, DEFAULT_LIMITS, planner, kinds, weeks, jobs, crews, any_day, seed, say, door)
        if door.note:
            say(door.note)
    return write_report(outcome, out, notes)


def _plan(seconds: float, seed: int, week: Week) -> Plan:
    return solve(week, seconds=seconds, seed=seed, clock=time.monotonic, workers=1)


def _warm_up() -> Week:
    """Return a small week: the first plan of a process waits for compiled code, which no other should be judged by."""
    found = asks(0, 0, 8, 1.0)
    windows = {ask.id: tuple(Window(s.day, s.start, s.end, 0) for s in ask.hours) for ask in found}
    return week_of("warm-up", datetime.date(2013, 1, 7), TIMEZONE, found, windows, 2)
