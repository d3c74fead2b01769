"""Weeks whose crews meet, the starts of what they meet for cut into intervals: the bound holds, and so do plans."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from scheduler.audit import audit
from scheduler.engine.incumbent import Best
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.master import relaxation
from scheduler.engine.master.integer import cost_of, select
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.model.build import build
from scheduler.engine.model.intervals import by_intervals
from scheduler.engine.model.plans import plan_of
from scheduler.engine.pricing.columns import columns_of_routes
from scheduler.engine.search.by_interval import ByInterval, every_set
from scheduler.engine.search.choosing import Choosing
from scheduler.engine.search.neighborhood import Polish
from scheduler.week import read_week
from tests.brute2 import cheapest
from tests.seeds import some_now
from tests.weeks2 import STEP, small_week2

pytestmark = pytest.mark.slow

WEEKS = Path(__file__).parents[3] / "data" / "weeks"
OPTIMUM = {2: 471_732, 4: 815_697, 6: 1_010_219}  # as `weeks/README.md` of the format states


def nothing() -> None:
    """Never stop."""


@pytest.mark.parametrize("seed", some_now([1, 4, *range(7, 60)], 2))
@pytest.mark.usefixtures("compiled")
def test_no_bound_of_copies_passes_the_cheapest_plan(seed: int) -> None:
    week = small_week2(random.Random(seed), jobs=2, crews=2, days=1)
    best = cheapest(week, STEP).cost.total
    model = build(week)
    if not model.crew_days:
        return
    for pieces in (1, 3):
        relax = Relaxation(by_intervals(model, pieces).model, 0, nothing, None)
        relax.run()
        assert relax.bound <= best + 0.01


@pytest.mark.parametrize("seed", [4, 41, 48, 59])
@pytest.mark.usefixtures("compiled")
def test_no_list_of_sets_lacks_one_of_the_cheapest_plan(seed: int) -> None:
    week = small_week2(random.Random(seed), jobs=2, crews=2, days=1)
    model, plan = build(week), cheapest(week, STEP)
    assert any(stop.assist for route in plan.routes for stop in route.stops)
    best = Best(model)
    best.cost = plan.cost.total + 2_000  # as if the cheapest plan were still to be found
    plain, dives = Relaxation(model, 0, nothing, None), ByInterval(best, 0, nothing, None)
    plain.run()
    dives.bound()
    one, other = every_set(plain, best, 1_000), dives.sets(1_000)
    assert one is not None
    assert other is not None
    for route in plan.routes:
        jobs = {model.number[stop.job] for stop in route.jobs}
        assists = {int(model.assist_of[model.number[stop.assist]]) for stop in route.stops if stop.assist}
        for sets in (one, other):
            assert frozenset(jobs | assists) in sets[model.crew_day[route.crew, route.day]]
    assert best.bound <= plan.cost.total


@pytest.mark.usefixtures("compiled")
def test_routes_met_while_very_many_crew_days_are_priced_come_in(monkeypatch: pytest.MonkeyPatch) -> None:
    week = read_week((WEEKS / "v2-tiny-4.week.json").read_bytes())
    best = Best(build(week))
    ruin = Ruin(best.model, 0)
    ruin.start()
    ruin.run(500, ruin.stop_cents)
    monkeypatch.setattr(relaxation, "VERY_MANY_DAYS", 1)
    dives = ByInterval(best, 0, nothing, None)
    met = dives.nearly.columns(ruin.best)
    waiting = [met]
    dives.bound(lambda: [waiting.pop()] if waiting else [])
    assert not waiting
    assert all(dives.relax.pool.find(int(k), met.jobs_of(c), int(met.out[c])) >= 0 for c, k in enumerate(met.crew_day))
    assert best.bound <= OPTIMUM[4]


@pytest.mark.slow
# The second takes twice as long as all others, which hold the same.
@pytest.mark.parametrize("tiny", [pytest.param(n, marks=pytest.mark.long) if n == 2 else n for n in OPTIMUM])
@pytest.mark.usefixtures("compiled")
def test_finer_intervals_raise_the_bound_and_their_dives_keep_every_rule(tiny: int) -> None:
    week = read_week((WEEKS / f"v2-tiny-{tiny}.week.json").read_bytes())
    best = Best(build(week))
    plain = Relaxation(best.model, 0, nothing, None)
    plain.run()
    skipping_all = best.cost
    dives = ByInterval(best, 0, nothing, None)
    dives.bound()
    assert plain.bound - 0.01 <= best.bound <= OPTIMUM[tiny]
    dives.dive()
    dives.again()
    while dives.tighten():
        pass
    assert best.bound <= OPTIMUM[tiny] <= best.cost < skipping_all
    assert best.refused == 0
    routes, starts = best.plan_now()
    plan = plan_of(best.model, routes, seconds=0.0, bound=None, starts=starts, times=best.times)
    assert not audit(week, plan).broken_rules


@pytest.mark.parametrize("tiny", [2, 4])  # of the sixth too many routes are listed
@pytest.mark.usefixtures("compiled")
def test_the_means_over_copies_make_plans_of_the_week_and_bounds_on_it(tiny: int) -> None:
    week = read_week((WEEKS / f"v2-tiny-{tiny}.week.json").read_bytes())
    best = Best(build(week))
    ruin, plain = Ruin(best.model, 0), Relaxation(best.model, 0, nothing, None)
    ruin.start()
    ruin.run(500, ruin.stop_cents)
    best.offer(ruin.routes(), ruin.cost, ruin.starts())
    plain.run()
    dives = ByInterval(best, 0, nothing, None)
    dives.take(plain.pool.columns())
    dives.bound()
    choosing = Choosing(
        dives.nearly, dives.relax, 0, lambda: math.inf, nothing, lambda: [dives.nearly.columns(ruin.now)]
    )
    choosing.take_in()
    for means in (
        choosing.dive,
        choosing.narrow,
        choosing.dive_on,
        choosing.tighten,
        choosing.divide,
        choosing.list_all,
    ):
        means()
    assert choosing.complete
    choosing.settle()
    assert best.bound <= OPTIMUM[tiny] <= best.cost
    assert best.refused == 0
    routes, starts = best.plan_now()
    plan = plan_of(best.model, routes, seconds=0.0, bound=None, starts=starts, times=best.times)
    assert plan.cost.total == best.cost
    assert not audit(week, plan).broken_rules


@pytest.mark.usefixtures("compiled")
def test_every_item_of_a_plan_has_a_copy_that_can_start_when_it_does() -> None:
    week = read_week((WEEKS / "v2-tiny-4.week.json").read_bytes())
    model = build(week)
    copies = by_intervals(model, 4)
    for k, crew_day in enumerate(model.crew_days):
        for item, options in zip(crew_day.jobs, crew_day.options, strict=True):
            if model.assist_of[item] < 0:
                continue
            for start in {options[0][0], options[0][1]}:
                copy = copies.of(item, {item: start})
                mine = copies.model.options_of(k, copy)
                spans = zip(copies.model.opt_lo[mine], copies.model.opt_hi[mine], strict=True)
                assert any(lo <= start <= hi for lo, hi in spans)


@pytest.mark.usefixtures("compiled")
def test_only_crews_that_meet_are_timed_together() -> None:
    best = Best(build(read_week((WEEKS / "v2-tiny-4.week.json").read_bytes())))
    ruin = Ruin(best.model, 0)
    ruin.start()
    ruin.run(500, ruin.stop_cents)
    best.offer(ruin.routes(), ruin.cost, ruin.starts())
    nearly, model = ByInterval(best, 0, nothing, None).nearly, best.model
    planned = nearly.planned(nearly.state()[0], {})
    assert planned is not None
    assert nearly.known
    for crews in nearly.known:
        met = [k for k, items in crews if items & nearly.meets]
        assert sorted(met) == sorted(k for k, _ in crews)
        assert len({int(model.day_of[k]) for k in met}) == 1
        for k, items in crews:  # whoever is met is among them
            jobs = {int(model.helped_job[i]) if model.helped_job[i] >= 0 else i for i in items & nearly.meets}
            other = set().union(*(them for crew_day, them in crews if crew_day != k))
            assert all(j in other or int(model.assist_of[j]) in other for j in jobs)
    before = best.cost
    nearly.take(planned)
    assert best.cost <= before == ruin.cost
    assert sum(times.cost for _, times in planned.values()) <= sum(ruin.best.cost)
    assert best.refused == 0


@pytest.mark.parametrize("tiny", [2, 6])
@pytest.mark.usefixtures("compiled")
def test_a_selection_of_copies_costs_no_more_than_its_plan_and_can_be_begun_from(tiny: int) -> None:
    best = Best(build(read_week((WEEKS / f"v2-tiny-{tiny}.week.json").read_bytes())))
    ruin = Ruin(best.model, 0)
    ruin.start()
    ruin.run(500, ruin.stop_cents)
    best.offer(ruin.routes(), ruin.cost, ruin.starts())
    dives = ByInterval(best, 0, nothing, None)
    columns = columns_of_routes(dives.model, dives.nearly.state()[0])
    dives.relax.add(columns)
    chosen = list(range(len(dives.relax.pool)))
    model = best.model
    assert any((model.assist_of[items] >= 0).any() for items in best.routes.values())  # of these there are copies
    cost = cost_of(dives.relax.pool, chosen)
    skipped = [j for j in range(len(model.week.jobs)) if all(j not in items for items in best.routes.values())]
    assert model.skip_cost[skipped].sum() + columns.cost.sum() <= cost <= best.cost
    answer = select(dives.relax.pool, chosen, seconds=None, start=chosen, nodes=0, heuristics=False)
    assert answer.columns == chosen
    assert answer.cost == cost


@pytest.mark.usefixtures("compiled")
def test_a_neighborhood_has_no_copy_of_a_job_that_stays_where_it_is() -> None:
    best = Best(build(read_week((WEEKS / "v2-tiny-6.week.json").read_bytes())))
    ruin = Ruin(best.model, 0)
    ruin.start()
    ruin.run(500, ruin.stop_cents)
    best.offer(ruin.routes(), ruin.cost, ruin.starts())
    dives = ByInterval(best, 0, nothing, None)
    dives.bound()
    choosing = Choosing(dives.nearly, dives.relax, 0, lambda: math.inf, nothing, lambda: [])
    routes, model, pool = choosing.take_in(), dives.model, dives.relax.pool
    assert len(set(model.row_of.tolist())) < len(model.row_of)
    for _ in range(12):
        polish = Polish(model, pool, 0)
        polish.size = 2
        free = polish.free_days(routes)
        fixed, chosen, _ = polish.columns(
            routes, choosing.column_of, free, model.group, dives.relax.dual, float(best.cost)
        )
        held = {row for c in fixed for row in model.row_of[pool.jobs[c]].tolist()}
        assert held
        assert not any(held & set(model.row_of[pool.jobs[c]].tolist()) for c in chosen)
