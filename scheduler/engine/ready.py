"""Compiling the engine's loops ahead of time, so that the first real week need not wait."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec.structs import replace
from numba.core import event

from scheduler.engine.planning import plan_week
from scheduler.engine.tiny import tiny_week
from scheduler.week import Week


class _Told(event.Listener):
    """Tells of each function that begins to be compiled."""

    def __init__(self, report: Callable[[int], None]) -> None:
        self._report, self._begun = report, 0

    def on_start(self, event: Any) -> None:
        self._begun += 1
        self._report(self._begun)

    def on_end(self, event: Any) -> None:
        pass


def make_ready(clock: Callable[[], float], report: Callable[[int], None]) -> float:
    """Plan the tiny week and the one short of ladders, which compiles each loop that is not compiled yet.

    Returns the seconds that it took. clock: a monotonic clock in seconds. report: told how many functions have been
    begun, 180 or so in all where none was compiled before and never where all were. What was compiled is kept where
    numba keeps it.
    """
    began = clock()
    with event.install_listener("numba:compile", _Told(report)):
        for week in (tiny_week(), _short()):
            plan_week(week, seconds=None, clock=clock)
    return clock() - began


def _short() -> Week:
    """Return the tiny week with all jobs wanting the ladder, there on Monday alone: what holds it is looked for."""
    week = tiny_week()
    ladder = replace(week.equipment[0], count=(1, 0))
    return replace(week, equipment=(ladder,), jobs=tuple(replace(job, equipment={ladder.id: 1}) for job in week.jobs))
