"""The engine on published routing sets: the reported optimum, proven. See source.md."""

from __future__ import annotations

import time

import pytest

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.week import read_week
from tests import contract

OPTIMA = {
    "R101.25": 617.1, "R104.25": 416.9, "R109.25": 441.3, "C101.25": 191.3, "C104.25": 186.9, "RC101.25": 461.1,
    "RC106.25": 345.5, "R101.50": 1044.0, "R105.50": 899.3, "C101.50": 362.4, "RC101.50": 944.0, "RC105.50": 855.3,
}  # fmt: skip


# Two of the sets of fifty take as long as all others, which prove the same: they are for ops/long.
LONG = ("RC101.50", "RC105.50")


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long) if name in LONG else name for name in OPTIMA]
)
def test_the_published_optimum_is_reached_and_proven(name: str) -> None:
    week = read_week(contract.here(f"published/{name}.week.json").read_bytes())
    plan = plan_week(week, seconds=None, clock=time.monotonic)
    assert not audit(week, plan).broken_rules
    assert plan.cost.total == plan.bound == round(10 * OPTIMA[name])
