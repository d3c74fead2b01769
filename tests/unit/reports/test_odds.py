"""A played week against closed forms, and against the same day played one visit at a time in plain Python."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

import pytest
from msgspec.structs import replace

from scheduler import plan_week, tiny_week
from scheduler.plan import Plan, Route, Stop
from scheduler.price import price
from scheduler.reports.odds import LATE_MIN, Z80, Doubts, Odds, odds
from scheduler.week import Booking
from tests.brute import cheapest
from tests.played import played_one_by_one
from tests.weeks import small_week

SURE = Doubts(median_min={}, p80_factor={}, drive_p80_factor=1.0, lost={}, kit_late={})
PLAYS = 20_000
THREE_SIGMA = 3 * 0.5 / math.sqrt(PLAYS)


def one_route(*stops: Stop, depart: int, back: int) -> Plan:
    """The tiny week's first crew on Monday; the rest waits."""
    route = Route("north", 0, depart, back, 0, None, stops)
    week = tiny_week()
    return Plan("plan/1", week.id, "by hand", 0.0, (route,), (), (), price(week, (route,)), None)


def test_without_any_spread_the_week_goes_as_planned() -> None:
    week = tiny_week()
    plan = plan_week(week, seconds=None, clock=lambda: 0.0)
    played = odds(week, plan, SURE, plays=50, seed=1)
    assert all(visit.kept == visit.done == 1.0 for visit in played.visits.values())
    assert {(day.overtime, day.past) for day in played.days.values()} == {(0.0, 0.0)}
    for route in plan.routes:
        assert played.days[route.crew, route.day].back_p80 <= route.back
    without_risk = plan.cost.total - plan.cost.risk
    assert played.p10_cents == played.mean_cents == played.p90_cents == without_risk


def test_the_chance_of_overtime_is_that_of_the_long_normal_tail() -> None:
    """One visit of a median of 180 minutes, back at 960 if it takes 400: a tail that can be worked out."""
    week = tiny_week()
    crews = tuple(replace(c, shifts=(replace(c.shifts[0], end=720), *c.shifts[1:])) for c in week.crews)
    week = replace(week, crews=crews)
    plan = one_route(Stop("cedar", 490, 670), depart=480, back=680)
    spread = uncertain(p80_factor={"cedar": 1.25})
    day = odds(week, plan, spread, plays=PLAYS, seed=2).days["north", 0]
    sigma = math.log(1.25) / Z80
    assert day.overtime == pytest.approx(
        1 - NormalDist().cdf(math.log((720 - 10 - 490) / 180) / sigma), abs=THREE_SIGMA
    )
    assert day.back_p80 == pytest.approx(490 + 180 * 1.25 + 10, abs=3)
    assert pytest.approx(NormalDist().inv_cdf(0.8), abs=1e-12) == Z80


def test_the_weather_takes_the_likelier_visits_of_a_day_together() -> None:
    week = tiny_week()
    plan = one_route(Stop("elm", 490, 550), Stop("fir", 560, 620), depart=480, back=630)
    rainy = uncertain(lost={"elm": 0.3, "fir": 0.3})
    played = odds(week, plan, rainy, plays=PLAYS, seed=3)
    assert played.visits["elm"].done == played.visits["fir"].done == pytest.approx(0.7, abs=THREE_SIGMA)
    # Both or neither: either all as planned, or both prices of leaving a job out less two hours of work.
    lost_cents = 2 * 50_000 - 2 * 60 * 100
    whole = plan.cost.total - plan.cost.risk
    assert (played.p10_cents, played.p90_cents) == (whole, whole + lost_cents)
    assert played.mean_cents == pytest.approx(whole + 0.3 * lost_cents, abs=THREE_SIGMA * lost_cents)


def test_a_firm_time_is_kept_when_begun_half_an_hour_late_at_most_and_its_price_is_paid_else() -> None:
    week = tiny_week()
    booked = Booking(crew="north", day=0, start=560, hold="firm", move_cents=0, retime_cents=0, recrew_cents=0)
    jobs = tuple(replace(job, booked=booked) if job.id == "fir" else job for job in week.jobs)
    week = replace(week, jobs=jobs, broken_cents=70_000)
    plan = one_route(Stop("elm", 490, 550), Stop("fir", 560, 620), depart=480, back=630)
    played = odds(week, plan, uncertain(p80_factor={"elm": 1.5}), plays=PLAYS, seed=4)
    sigma = math.log(1.5) / Z80
    kept = NormalDist().cdf(math.log((560 + LATE_MIN - 10 - 490) / 60) / sigma)
    assert played.visits["fir"].kept == pytest.approx(kept, abs=THREE_SIGMA)
    assert played.visits["fir"].done == 1.0
    assert played.visits["elm"].kept == 1.0  # nobody was told a time


@pytest.mark.parametrize("seed", range(12))
def test_every_visit_has_the_odds_of_the_day_played_one_visit_at_a_time(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week(rng, jobs=6, crews=2, days=2)
    plan = cheapest(week)
    names = [stop.job for route in plan.routes for stop in route.stops]
    spread = Doubts(
        median_min={name: 20 + 60 * rng.random() for name in names},
        p80_factor={name: 1 + rng.random() for name in names},
        drive_p80_factor=1.4,
        lost={name: 0.3 * rng.random() for name in names},
        kit_late={name: 0.2 * rng.random() for name in names},
    )
    plays = 3_000
    found = odds(week, plan, spread, plays=plays, seed=seed)
    done, kept, overtime = played_one_by_one(week, plan, spread, plays, random.Random(seed))
    near = 4 * 0.5 * math.sqrt(2 / plays)  # two samples of the same thing
    for name in names:
        assert found.visits[name].done == pytest.approx(done[name] / plays, abs=near)
        assert found.visits[name].kept == pytest.approx(kept[name] / plays, abs=near)
    for day, n in overtime.items():
        assert found.days[day].overtime == pytest.approx(n / plays, abs=near)


def uncertain(**parts: dict[str, float]) -> Doubts:
    """Nothing uncertain but `parts`."""
    given: dict[str, dict[str, float]] = {"median_min": {}, "p80_factor": {}, "lost": {}, "kit_late": {}} | parts
    return Doubts(drive_p80_factor=1.0, **given)


def test_the_same_seed_gives_the_same_odds() -> None:
    week = tiny_week()
    plan = plan_week(week, seconds=None, clock=lambda: 0.0)
    spread = Doubts({}, dict.fromkeys((job.id for job in week.jobs), 1.3), 1.2, {}, {})

    def once(seed: int) -> Odds:
        return odds(week, plan, spread, plays=200, seed=seed)

    assert once(5) == once(5)
    assert once(5) != once(6)
