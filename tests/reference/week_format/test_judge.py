"""Every example week, planned for a few seconds, before the format's own judge. See source.md."""

from __future__ import annotations

import importlib.util
import json
import time
from pathlib import Path
from types import ModuleType

import pytest

from scheduler import plan_week
from scheduler.documents import encode
from scheduler.week import read_week

FOLDER = Path(__file__).parents[4] / "shared" / "contract"
WEEKS = [
    path
    for path in sorted([*FOLDER.glob("weeks/*.week.json"), *FOLDER.glob("published/*.week.json")])
    if b'"week/1"' in path.read_bytes()  # the second format is not planned yet
]


@pytest.fixture(scope="module")
def judge() -> ModuleType:
    path = FOLDER / "audit.py"
    spec = importlib.util.spec_from_file_location("judge", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.skipif(not WEEKS, reason=f"the format's example weeks are not here: {FOLDER}")
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
