"""Every reason of random weeks is put to the proof: its rule is undone in the document, and all is tried again."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping

import pytest

from scheduler.engine.model import Model, build
from scheduler.engine.reasons import CODES, Group, causes, reasons
from scheduler.plan import Plan
from scheduler.week import Week
from tests.brute import cheapest
from tests.undo import PRICES, can_go, dearer_to_skip, is_planned, price_of, undone
from tests.weeks import small_week


def routes_of(model: Model, plan: Plan) -> dict[int, list[int]]:
    crew_days = {(model.week.crews[k.crew].id, k.day): n for n, k in enumerate(model.crew_days)}
    number = {job.id: n for n, job in enumerate(model.week.jobs)}
    return {crew_days[r.crew, r.day]: [number[s.job] for s in r.stops] for r in plan.routes}


@pytest.mark.parametrize("seed", range(100))
def test_undoing_what_a_reason_names_frees_the_job(seed: int) -> None:
    week = small_week(random.Random(seed), jobs=5, crews=2, days=2)
    plan = cheapest(week)
    model = build(week)
    found = causes(model, routes_of(model, plan))
    assert {week.jobs[j].id for j in found} == {s.job for s in plan.skipped}
    for j, groups in found.items():
        job = week.jobs[j].id
        assert groups
        assert all(groups)
        possible = can_go(week, job)
        for group in groups:
            codes = [because.code for because in group]
            assert set(codes) <= set(CODES)
            assert "not_tried" not in codes  # nothing is cheaper than the cheapest plan
            if codes == ["no_crew"]:
                assert not any(crew.shifts for crew in week.crews)
            elif possible:
                check_in_plan(week, plan, job, group)
            else:
                check_alone(week, job, codes)


def check_in_plan(week: Week, plan: Plan, job: str, group: Group) -> None:
    """The job could go: with the group undone, and the price it names paid, planning it is no loss."""
    codes = [because.code for because in group]
    freed = undone(week, job, codes)
    if not set(codes) & set(PRICES):
        assert cheapest(freed).cost.total < plan.cost.total, group
        return
    price = sum(price_of(because) for because in group)
    raised = cheapest(dearer_to_skip(freed, job, price + 1))
    assert raised.cost.total <= plan.cost.total + price, group
    if freed == week:
        assert is_planned(raised, job), group


def check_alone(week: Week, job: str, codes: list[str]) -> None:
    """No plan holds the job; one does with the group undone, and none with less (but a job it follows may move)."""
    assert can_go(undone(week, job, codes), job), codes
    if not any(follow.then == job for follow in week.follows):
        for fewer in itertools.combinations(codes, len(codes) - 1):
            assert not can_go(undone(week, job, fewer), job), (codes, fewer)


@pytest.mark.parametrize("seed", range(100, 110))
def test_the_same_plan_has_the_same_reasons(seed: int) -> None:
    week = small_week(random.Random(seed), jobs=6, crews=2, days=2)
    model = build(week)
    routes = routes_of(model, cheapest(week))
    first = reasons(model, routes)
    backwards: Mapping[int, list[int]] = dict(reversed(routes.items()))
    assert reasons(build(week), backwards) == first
    assert all(because.detail.endswith(".") for told in first.values() for because in told)
