"""Fairer plans: never dearer than allowed, and as fair as the best of all plans, found by trying everything."""

from __future__ import annotations

import itertools
import random
import time

import pytest
from msgspec.structs import replace

from scheduler import build, fair, plan_week
from scheduler.audit import audit
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import plan_of
from scheduler.engine.model.timing import time_route
from scheduler.engine.worth.fairness import burdens
from scheduler.week import Week, checked
from tests.weeks import small_week

Key = tuple[int, int, int, int]


def _week(seed: int) -> Week:
    """Short shifts with much cheap overtime, so that it is used."""
    week = small_week(random.Random(seed), jobs=4, crews=2, days=1 + seed % 2, yards=1)
    crews = tuple(
        replace(
            c,
            overtime_minute_cents=10,
            shifts=tuple(replace(s, end=s.start + 150, overtime=200) for s in c.shifts),
        )
        for c in week.crews
    )
    jobs = tuple(replace(j, booked=None, skills=(), skip_cents=j.skip_cents + 20_000) for j in week.jobs)
    return checked(replace(week, crews=crews, jobs=jobs))


def _cheapest_orders(model: Model, k: int) -> list[tuple[tuple[int, ...], list[int]]]:
    """Return each set of jobs of crew day k with those orders that are cheapest (several where they cost the same)."""
    found: list[tuple[tuple[int, ...], list[int]]] = [((), [])]
    jobs = model.crew_days[k].jobs
    pairs = [(int(first), int(then)) for first, then, *_ in model.follow]
    for n in range(1, len(jobs) + 1):
        for chosen in itertools.combinations(jobs, n):
            orders = [
                order
                for order in itertools.permutations(chosen)
                if all(order.index(a) < order.index(b) for a, b in pairs if a in order and b in order)
            ]
            timed = [(t.cost, order) for order in orders if (t := time_route(model, k, list(order)))]
            found += [(chosen, list(order)) for cost, order in timed if cost == min(c for c, _ in timed)]
    return found


def _fairest(week: Week, most_cents: int) -> tuple[Key, Key]:
    """Return what the fairest plan asks (largest overtime, most late returns, all overtime, cost).

    Twice: with each set of jobs in the kindest and in the unkindest of its cheapest orders.
    """
    model = build(week)
    options = [_cheapest_orders(model, k) for k in range(len(model.crew_days))]
    keys: dict[tuple[tuple[int, ...], ...], list[Key]] = {}
    for choice in itertools.product(*options):
        taken = [j for chosen, _ in choice for j in chosen]
        if len(taken) != len(set(taken)):
            continue
        plan = plan_of(model, {k: order for k, (_, order) in enumerate(choice) if order}, seconds=0.0, bound=None)
        if plan.cost.total > most_cents or not audit(week, plan).ok:
            continue
        asked = burdens(week, plan)
        key = (
            asked[0].overtime_min,
            max(b.late_returns for b in asked),
            sum(b.overtime_min for b in asked),
            plan.cost.total,
        )
        keys.setdefault(tuple(chosen for chosen, _ in choice), []).append(key)
    return min(min(k) for k in keys.values()), min(max(k) for k in keys.values())


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_within_the_cost_is_fairer(seed: int) -> None:
    week = _week(seed)
    best = plan_week(week, seconds=None, clock=time.monotonic)
    for extra in (0, 3_000, 30_000):
        found = fair(week, best, extra, seconds=None, clock=time.monotonic)
        assert audit(week, found.plan).ok
        assert found.plan.cost.total <= best.cost.total + extra
        assert found.burdens == burdens(week, found.plan)
        assert found.proven
        asked = found.burdens
        key = (
            asked[0].overtime_min,
            max(b.late_returns for b in asked),
            sum(b.overtime_min for b in asked),
            found.plan.cost.total,
        )
        kindest, unkindest = _fairest(week, best.cost.total + extra)
        if asked[0].overtime_min:
            assert kindest <= key <= unkindest
        else:
            assert kindest[0] == 0


def test_some_of_these_weeks_are_made_fairer() -> None:
    won = 0
    for seed in range(12):
        week = _week(seed)
        best = plan_week(week, seconds=None, clock=time.monotonic)
        found = fair(week, best, 30_000, seconds=None, clock=time.monotonic)
        won += found.burdens[0].overtime_min < burdens(week, best)[0].overtime_min
    assert won >= 2


@pytest.mark.parametrize(("seconds", "stopped"), [(0.0, False), (None, True)])
def test_without_time_or_when_stopped_the_plan_stays(seconds: float | None, stopped: bool) -> None:
    for seed in range(12):
        week = _week(seed)
        best = plan_week(week, seconds=None, clock=time.monotonic)
        if burdens(week, best)[0].overtime_min:
            found = fair(week, best, 30_000, seconds=seconds, clock=time.monotonic, stop=lambda: stopped)
            assert found.plan == best
            assert not found.proven
            return
    raise AssertionError("no week with overtime was drawn")
