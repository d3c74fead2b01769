"""The second format: our auditor against the format's own judge, and the engine against trying everything."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import read_plan
from scheduler.week import Week2, read_week, week_from_data
from tests import contract
from tests.brute2 import cheapest
from tests.plans2 import cases2
from tests.seeds import some_now
from tests.weeks import as_data
from tests.weeks2 import STEP, small_week2

WEEKS = Path(__file__).parents[1] / "data" / "weeks"
# what `weeks/README.md` of the format states: solved to proven optimality by one CP-SAT model of all the rules
OPTIMUM = {1: 323_262, 2: 471_732, 3: 679_722, 4: 815_697, 5: 372_620, 6: 1_010_219}


@pytest.mark.parametrize("seed", [5, 8])
@pytest.mark.usefixtures("compiled")
def test_agrees_with_the_judge_that_comes_with_the_format(seed: int) -> None:
    other = contract.judge()
    seen = set()
    for week, plan in cases2(seed, weeks=8, each=25):
        week_data, plan_data = as_data(week), as_data(plan)
        faults = other.shape(week_data, plan_data)
        bad, cost = other.audit(week_data, plan_data)
        verdict = audit(week, plan)
        ours = {b.rule for b in verdict.broken_rules}
        seen |= ours
        assert as_data(verdict.cost) == cost
        assert bool(faults) == ("same_week" in ours)
        assert bool(bad) == bool(ours - {"same_week", "cost", "bound"}), (bad, verdict.broken_rules)
        assert ("cost" in ours) == (plan_data["cost"] != cost)
    assert {"assist", "reload", "rest", "service", "travel"} <= seen


@pytest.mark.usefixtures("compiled")
def test_documents_of_the_second_format_come_back_as_they_were() -> None:
    for week, plan in cases2(seed=4, weeks=5, each=5):
        assert read_week(encode(week)) == week
        assert read_plan(encode(plan)) == plan


@pytest.mark.parametrize("seed", some_now(range(60), range(0, 60, 10)))
@pytest.mark.usefixtures("compiled")
def test_the_plan_of_a_small_week_is_as_cheap_as_trying_everything(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week2(rng, jobs=2, crews=2, days=rng.choice((1, 2)))
    _cheapest(week)


@pytest.mark.parametrize("seed", some_now(range(100, 140), range(100, 140, 10)))
@pytest.mark.usefixtures("compiled")
def test_so_it_is_where_no_crews_have_to_meet(seed: int) -> None:
    """Rests within a service, reloads and weekly minutes: the search by routes, proven by its own bound."""
    rng = random.Random(seed)
    data = as_data(small_week2(rng, jobs=rng.choice((3, 3, 4)), crews=2, days=rng.choice((1, 2))))
    for job in data["jobs"]:
        job["assist"] = None
    for crew in data["crews"] if seed % 4 == 0 else ():  # one minute free of charge is no "one route at most"
        crew["weekly"] = {"minutes": 1, "cents": 40}
    week = week_from_data(data)
    assert isinstance(week, Week2)
    _cheapest(week)


def _cheapest(week: Week2) -> None:
    plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1)
    assert not audit(week, plan).broken_rules
    assert plan.cost.total == cheapest(week, STEP).cost.total
    assert plan.bound == plan.cost.total


@pytest.mark.parametrize("number", some_now(OPTIMUM, 4))
@pytest.mark.usefixtures("compiled")
def test_tiny_weeks_are_bounded_rightly_and_planned_by_the_rules(number: int) -> None:
    week = read_week((WEEKS / f"v2-tiny-{number}.week.json").read_bytes())
    plan = plan_week(week, seconds=4.0, clock=time.process_time)
    assert not audit(week, plan).broken_rules
    assert plan.cost.total >= OPTIMUM[number]
    assert plan.bound is not None
    assert plan.bound <= OPTIMUM[number]
