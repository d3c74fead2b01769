"""The yardstick is measured first: its plans keep the rules, and no other plan that was tried is cheaper."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence

import msgspec
import pytest

from scheduler.audit import audit
from scheduler.plan import Because, Plan, Route, Skipped, Stop
from scheduler.price import price
from scheduler.week import Job, Week
from tests.brute import cheapest
from tests.seeds import some_now
from tests.weeks import small_week


@pytest.mark.parametrize("seed", some_now(range(60), 30))
def test_its_plan_keeps_every_rule_and_costs_what_it_says(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week(rng, rng.randint(1, 7), rng.choice((1, 2, 3)), rng.choice((1, 1, 2)))
    plan = cheapest(week)
    real = price(week, plan.routes)
    assert plan.cost.total == real.total
    assert audit(week, msgspec.structs.replace(plan, cost=real)).broken_rules == ()


@pytest.mark.parametrize(
    "seed", some_now(range(30), [n for n in range(10) if n != 8])
)  # which takes as long as the others
def test_no_plan_on_a_coarse_clock_is_cheaper(seed: int) -> None:
    """All times of these weeks are half hours, so a best plan is among the plans at half hours."""
    week = small_week(random.Random(seed), jobs=2, crews=1, days=1, step=30)
    least = cheapest(week).cost.total
    cheaper = [plan for plan in _all_plans(week) if plan.cost.total < least]
    assert [plan for plan in cheaper if audit(week, plan).ok] == []


def _all_plans(week: Week) -> Iterator[Plan]:
    """Yield every plan at half hours, but for those with too little time to drive or outside windows."""
    place = {p.id: n for n, p in enumerate(week.places)}
    yield _plan(week, ())
    for crew in week.crews:
        for shift in crew.shifts:
            clock = range(shift.start, shift.end + shift.overtime + 1, 30)
            helpers = max((h.count for h in week.helpers), default=0)
            rests: list[int | None] = [None]
            if week.rest:
                rests += range(week.rest.earliest, week.rest.latest + 1, 30)
            for n in (1, 2):
                for jobs in itertools.permutations(week.jobs, n):
                    stands = [place[next(y.place for y in week.yards if y.id == crew.yard)]]
                    stands += [place[j.place] for j in jobs] + stands
                    lags = [week.travel.minutes[a][b] for a, b in itertools.pairwise(stands)]
                    for k, job in enumerate(jobs):
                        lags[k + 1] += job.minutes
                    hours = [[t for t in clock if _in_window(job, shift.day, t)] for job in jobs]
                    for depart, *starts, back in _moments([clock, *hours, clock], lags):
                        stops = tuple(Stop(j.id, s, s + j.minutes) for j, s in zip(jobs, starts, strict=True))
                        for rest in rests:
                            for more in range(helpers + 1):
                                yield _plan(week, (Route(crew.id, shift.day, depart, back, more, rest, stops),))


def _in_window(job: Job, day: int, start: int) -> bool:
    return any(w.day == day and w.start <= start and start + job.minutes <= w.end for w in job.windows)


def _moments(clocks: Sequence[Sequence[int]], lags: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Yield one moment of each clock, each at least its lag after the one before."""
    if not lags:
        yield from ((t,) for t in clocks[0])
        return
    for head in _moments(clocks[:-1], lags[:-1]):
        yield from ((*head, t) for t in clocks[-1] if t >= head[-1] + lags[-1])


def _plan(week: Week, routes: tuple[Route, ...]) -> Plan:
    """Return the plan of `routes` with its true cost and its true list of broken bookings."""
    at = {s.job: (r.crew, r.day, s.start) for r in routes for s in r.stops}
    broken = []
    for job in week.jobs:
        if (b := job.booked) and b.hold != "soft":
            there = at.get(job.id, ("", -1, -1))
            kept = there == (b.crew, b.day, b.start) if b.hold == "firm" else there[1] == b.day
            broken += [] if kept else [job.id]
    skipped = tuple(Skipped(j.id, (Because("left", "left out"),)) for j in week.jobs if j.id not in at)
    return Plan("plan/1", week.id, "tried", 0.0, routes, skipped, tuple(broken), price(week, routes), None)
