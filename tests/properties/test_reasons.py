"""Every reason of random weeks is put to the proof: its rule is undone in the document, and all is tried again."""

from __future__ import annotations

import itertools
import random
import re
from collections.abc import Mapping

import pytest
from msgspec.structs import replace

from scheduler import build
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import time_route
from scheduler.engine.reasons.room import places
from scheduler.engine.reasons.skipped import CODES, Group, causes, promise_reasons, reasons
from scheduler.engine.search.route_cost import arrays
from scheduler.engine.search.state import state_of
from scheduler.plan import Plan
from scheduler.week import Job, Week
from tests.brute import cheapest
from tests.undo import DEAR, PRICES, can_go, dearer_to_skip, is_planned, job_of, price_of, undone, with_job
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


@pytest.mark.parametrize("seed", range(200, 240))
def test_a_promise_is_broken_because_nothing_keeps_it_or_keeping_it_costs_more(seed: int) -> None:
    """The job is held to what it was promised, in the document: then no plan has it, or it costs no more than said."""
    week = small_week(random.Random(seed), jobs=5, crews=2, days=2)
    plan = cheapest(week)
    model = build(week)
    found = promise_reasons(model, routes_of(model, plan))
    assert [week.jobs[j].id for j in found] == list(plan.broken)
    for j, because in found.items():
        job = week.jobs[j].id
        held = kept_to_promise(week, job)
        assert f"booking of {job} " in because.detail
        assert "search was stopped" not in because.detail
        price = re.search(r"keeping it costs ([\d,]+)\.(\d\d) more", because.detail)
        if price is None:
            by_plan = "with" in because.detail and "more" in because.detail
            assert by_plan or "follows" in because.detail or not can_go(held, job), because
        elif "; " not in because.detail:  # nothing to undo but the price
            forced = cheapest(dearer_to_skip(held, job, DEAR))
            assert is_planned(forced, job), because
            assert forced.cost.total <= plan.cost.total + int(price[1].replace(",", "") + price[2]), because


def kept_to_promise(week: Week, job: str) -> Week:
    """Return `week` with no other day (firm: no other time or crew) open to the job than it was promised."""
    booked = job_of(week, job).booked
    assert booked is not None
    if booked.hold == "day":
        return with_job(week, job, lambda j: replace(j, windows=tuple(w for w in j.windows if w.day == booked.day)))

    def only_then(j: Job) -> Job:
        end = booked.start + j.minutes
        held = [w for w in j.windows if w.day == booked.day and w.start <= booked.start and end <= w.end]
        windows = tuple(replace(w, start=booked.start, end=end) for w in held)
        return replace(j, skills=(*j.skills, "promised"), windows=windows)

    crews = tuple(replace(c, skills=(*c.skills, "promised")) if c.id == booked.crew else c for c in week.crews)
    return with_job(replace(week, crews=crews), job, only_then)


@pytest.mark.parametrize("seed", range(300, 330))
def test_there_is_a_place_wherever_some_order_of_the_stops_has_one(seed: int) -> None:
    """Every order, timed by the plain reference; days are short of nothing but hours here."""
    week = replace(small_week(random.Random(seed), jobs=6, crews=2, days=2, yards=1), follows=())
    model = build(undone(week, "", ("van_full", "no_helper", "ladder_out", "stock_out")))
    compiled = arrays(model)
    routes = {k: list(jobs[:3]) for k, jobs in enumerate(k.jobs for k in model.crew_days)}
    routes = {k: jobs for k, jobs in routes.items() if time_route(model, k, jobs) is not None}
    taken = {j for jobs in routes.values() for j in jobs}
    for j in set(range(len(model.week.jobs))) - taken:
        for k, jobs in routes.items():
            if model.local[k, j] < 0:
                continue
            state = state_of(model, compiled, {k: jobs})
            found = [place for place in places(compiled, state, j, 0, 0, 0).tolist() if place[0] == k]
            every = [time_route(model, k, list(order)) for order in itertools.permutations([*jobs, j])]
            costs = [timed.cost for timed in every if timed is not None]
            assert bool(found) == bool(costs)
            if found:
                assert found[0][4] + state.cost[k] in costs
