"""The search by taking out and putting back: what it holds is a plan, at the cost that it says."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.audit import audit
from scheduler.engine.local_search.insertion import cheapest_place
from scheduler.engine.local_search.route_cost import NEVER, route_cost
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.model.plans import plan_of
from scheduler.week import Week
from tests.benchmarks.make_weeks import make_week

ROUNDS = 400
MIXED = make_week("mixed", 30, 3, seed=2)
INSTALLS = make_week("installs", 12, 2, seed=1)
NO_REST = replace(MIXED, rest=None)


def searched(week: Week, seed: int = 0) -> Ruin:
    ruin = Ruin(build(week), seed)
    ruin.start()
    ruin.run(ROUNDS, 1000.0, 0.99)
    return ruin


@pytest.mark.parametrize("week", [MIXED, INSTALLS, NO_REST], ids=["mixed", "installs", "no rest"])
def test_every_plan_it_holds_keeps_all_rules_at_its_cost(week: Week) -> None:
    ruin = searched(week)
    for state in (ruin.now, ruin.best):
        routes = {k: state.seq[k, : state.size[k]].tolist() for k in range(len(state.size)) if state.size[k]}
        plan = plan_of(ruin.model, routes, seconds=0.0, bound=None)
        assert not audit(week, plan).broken_rules
        assert plan.cost.total == int(state.total[0])


@pytest.mark.parametrize("week", [MIXED, NO_REST], ids=["mixed", "no rest"])
def test_the_cheapest_place_is_the_cheapest_of_all_places(week: Week) -> None:
    ruin = searched(week)
    w, s, model = ruin.week, ruin.best, ruin.model
    asked = 0
    for k in range(len(s.size)):
        route = s.seq[k, : s.size[k]].tolist()
        for j in set(model.crew_days[k].jobs) - set(route):
            helpers = model.helpers_for(k, [*route, j])
            if helpers and model.helper_row[k] < 0:
                continue
            costs = []
            for position in range(len(route) + 1):
                trial = np.array([*route[:position], j, *route[position:]], dtype=np.int64)
                costs.append(route_cost(w, k, trial, len(trial), helpers))
            added, position = cheapest_place(w, s, j, k, 0)
            least = min(costs)
            assert added == (NEVER if least == NEVER else least - s.cost[k])
            assert least == NEVER or costs[position] == least
            asked += least < NEVER
    assert asked > 10


def test_the_same_seed_gives_the_same_plan() -> None:
    one, other = searched(MIXED, 3), searched(MIXED, 3)
    assert (one.best.at == other.best.at).all()
    assert one.cost == other.cost


def test_it_goes_on_from_a_given_plan() -> None:
    held = searched(MIXED)
    routes = {k: held.best.seq[k, : held.best.size[k]].tolist() for k in range(len(held.best.size))}
    fresh = Ruin(held.model, 1)
    fresh.start()
    fresh.begin_from(routes)
    assert fresh.now.total[0] == fresh.best.total[0] == held.cost


def test_leaning_changes_what_is_left_out_and_not_what_a_plan_is_said_to_cost() -> None:
    ruin = searched(MIXED)
    plain = ruin.cost
    planned = np.nonzero(ruin.best.at >= 0)[0]
    more = np.zeros(len(MIXED.jobs))
    more[planned[0]] = -1.0  # leaving it out costs nothing
    ruin.lean(more)
    assert ruin.cost == plain
    ruin.run(ROUNDS, 1.0)
    assert ruin.best.at[planned[0]] < 0
    plan = plan_of(ruin.model, ruin.routes(), seconds=0.0, bound=None)
    assert plan.cost.total == ruin.cost
    ruin.lean(None)
    assert int(ruin.best.total[0]) == ruin.cost == plan.cost.total
    assert (ruin.week.skip == ruin.model.skip_cost).all()
