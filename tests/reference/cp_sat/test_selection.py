"""The engine's proven cost against CP-SAT over every route. See source.md."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from scheduler import build, plan_week
from scheduler.engine.master.enumeration import Listed
from scheduler.engine.master.rows import Rows
from scheduler.engine.pricing.crew_day import Day
from scheduler.week import Week, read_week
from tests.weeks import small_week

WEEKS = Path(__file__).parents[2] / "data" / "weeks"


def cheapest(week: Week) -> int:
    """Return the least cost of any choice among all routes of the week, by CP-SAT."""
    from ortools.sat.python import cp_model  # loads pandas

    model = build(week)
    rows = Rows(model)
    days = [Day(model, k) for k in range(len(model.crew_days))]
    lead = sorted(set(model.group.tolist()))
    listed = Listed(rows, days, lead, lambda: None)
    assert set(listed.span) == set(lead)
    program = cp_model.CpModel()
    taken = [program.new_bool_var("") for _ in range(len(listed.columns))]
    skipped = [program.new_bool_var("") for _ in range(rows.jobs)]
    parts: list[list[cp_model.LinearExprT]] = [[] for _ in rows.cap]
    for c, route in enumerate(taken):
        for n in range(listed.starts[c], listed.starts[c + 1]):
            parts[listed.index[n]].append(int(listed.value[n]) * route)
    for row, cap in enumerate(rows.cap):
        if row < rows.jobs:
            program.add(sum(parts[row]) + skipped[row] == 1)
        elif parts[row]:
            program.add(sum(parts[row]) <= int(cap))
    program.minimize(
        sum(int(cost) * route for cost, route in zip(listed.columns.cost, taken, strict=True))
        + sum(int(cost) * out for cost, out in zip(model.skip_cost, skipped, strict=True))
    )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(program) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", range(40))
def test_both_solvers_agree_on_small_weeks(seed: int) -> None:
    week = small_week(random.Random(9_000 + seed), jobs=9, crews=3, days=3)
    plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1)
    assert plan.cost.total == plan.bound == cheapest(week)


def test_both_solvers_agree_on_a_week_of_installs() -> None:
    week = read_week((WEEKS / "installs-45x4.week.json").read_bytes())
    plan = plan_week(week, seconds=None, clock=time.monotonic)
    assert plan.cost.total == plan.bound == cheapest(week)
