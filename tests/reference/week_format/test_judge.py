"""Every example week, planned shortly and at length, before the format's own judge. See source.md."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from scheduler import plan_week
from scheduler.documents import encode
from scheduler.week import read_week
from tests import contract

WEEKS = contract.weeks("week/1")
# The others take as long as a dozen of these; all are judged, after a longer search, by the test below in ops/long.
SLOW = ("installs-120x10", "mixed-160x10", "technicians-R101-5x4-reduced.100")
SMALLER = [path for path in WEEKS if path.stat().st_size < 10**6 and path.name.removesuffix(".week.json") not in SLOW]
OURS = Path(__file__).parents[2] / "data" / "weeks"


@pytest.fixture(scope="module")
def judge(compiled: None) -> ModuleType:
    return contract.judge()


def test_the_weeks_that_the_tests_keep_are_the_formats_own() -> None:
    files = list(OURS.glob("*.week.json"))
    assert files
    for file in files:
        assert file.read_bytes() == contract.here(f"weeks/{file.name}").read_bytes(), file.name


@pytest.mark.skipif(not WEEKS, reason=contract.ABSENT)
@pytest.mark.parametrize("path", SMALLER, ids=lambda p: p.name.removesuffix(".week.json"))
def test_the_judge_finds_nothing(path: Path, judge: ModuleType) -> None:
    # Of the processor's time, so that a busy machine's plans come as far as an idle one's.
    judged(judge, path, seconds=1.0, clock=time.process_time)


@pytest.mark.long
@pytest.mark.skipif(not WEEKS, reason=contract.ABSENT)
@pytest.mark.parametrize("path", WEEKS, ids=lambda p: p.name.removesuffix(".week.json"))
def test_the_judge_finds_nothing_in_plans_sought_longer(path: Path, judge: ModuleType) -> None:
    judged(judge, path, seconds=4 if path.stat().st_size < 10**6 else 12, clock=time.monotonic)


def judged(judge: ModuleType, path: Path, seconds: float, clock: Callable[[], float]) -> None:
    """Plan the week of a file for so many seconds by a clock, and have the plan judged."""
    raw = path.read_bytes()
    plan = json.loads(encode(plan_week(read_week(raw), seconds=seconds, clock=clock)))
    week = json.loads(raw)
    assert judge.shape(week, plan) == []
    broken, cost = judge.audit(week, plan)
    assert broken == []
    assert plan["cost"] == cost
    assert plan["routes"]
    assert plan["bound"] is None or plan["bound"] <= cost["total"]
