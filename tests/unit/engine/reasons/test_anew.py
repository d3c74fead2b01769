"""A week planned again at other prices: what the plan found costs is told at those."""

from __future__ import annotations

import pytest

from scheduler import build
from scheduler.engine.reasons.anew import Again, as_planned
from tests.unit.engine.again.test_replan import AFTERNOON, MORNING, job, week_of


@pytest.mark.usefixtures("compiled")
@pytest.mark.parametrize("more", [0, 700, -5_000])
def test_a_job_left_out_counts_as_much_as_it_then_costs(more: int) -> None:
    """A and B want the one morning: one of them waits, at 50.00 and what that costs more; C goes in the afternoon."""
    week = week_of(
        job("A", (0, MORNING), skip=90_000, minutes=200),
        job("B", (0, MORNING), skip=5_000, minutes=200),
        job("C", (0, AFTERNOON)),
    )
    crew = week.crews[0]
    model = build(week)
    again = Again(week, [as_planned({(crew.id, 0): [0]})] * 2, model)
    usual = again.cheapest(200, {})
    assert usual.jobs == {"A", "C"}
    assert again.cheapest(200, {1: more}).cost == usual.cost + more
