"""The whole backtest with the product's own planner, as the command runs it."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from api.forecast_backtest.observations import package_file, read_stations
from api.forecast_backtest.predict import Kind
from api.forecast_backtest.report import write_report
from api.forecast_backtest.run import backtest
from scheduler.engine import solve
from scheduler.plan import Plan
from scheduler.weather.default_limits import DEFAULT_LIMITS
from scheduler.week import Week


def run_and_report(
    out: Path,
    weeks: int,
    jobs: int,
    crews: int,
    any_day: float,
    seconds: float,
    seed: int,
    say: Callable[[str], None],
) -> str:
    """Plan `weeks` weeks of `jobs` jobs, at most `seconds` a plan, write the report to `out` and return its summary."""

    def planner(week: Week) -> Plan:
        return solve(week, seconds=seconds, seed=seed, clock=time.monotonic, workers=1)

    stations, notes = read_stations(package_file())
    for note in notes:
        say(note)
    kinds: tuple[Kind, ...] = ("blend", "service", "came")
    outcome = backtest(stations, DEFAULT_LIMITS, planner, kinds, weeks, jobs, crews, any_day, seed, say)
    return write_report(outcome, out, notes)
