"""Every example week, planned for a few seconds, before the format's own judge. See source.md."""

from __future__ import annotations

import json
import time
from pathlib import Path
from types import ModuleType

import pytest

from scheduler import plan_week
from scheduler.documents import encode
from scheduler.week import read_week
from tests import contract

WEEKS = contract.weeks("week/1")
OURS = Path(__file__).parents[2] / "data" / "weeks"


@pytest.fixture(scope="module")
def judge() -> ModuleType:
    return contract.judge()


def test_the_weeks_that_the_tests_keep_are_the_formats_own() -> None:
    files = list(OURS.glob("*.week.json"))
    assert files
    for file in files:
        assert file.read_bytes() == contract.here(f"weeks/{file.name}").read_bytes(), file.name


@pytest.mark.skipif(not WEEKS, reason=contract.ABSENT)
@pytest.mark.parametrize("path", WEEKS, ids=lambda p: p.name.removesuffix(".week.json"))
def test_the_judge_finds_nothing(path: Path, judge: ModuleType) -> None:
    raw = path.read_bytes()
    plan = json.loads(encode(plan_week(read_week(raw), seconds=4 if len(raw) < 10**6 else 12, clock=time.monotonic)))
    week = json.loads(raw)
    assert judge.shape(week, plan) == []
    broken, cost = judge.audit(week, plan)
    assert broken == []
    assert plan["cost"] == cost
    assert plan["routes"]
    assert plan["bound"] is None or plan["bound"] <= cost["total"]
