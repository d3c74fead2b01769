"""The ways to go on with a day of the second format: second crews, loads and rests within, on random small weeks."""

from __future__ import annotations

import random
import time

import pytest
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.plan import Plan
from scheduler.price import outings, price, visits
from scheduler.under_way.calls import CrewUnderWay, in_order
from scheduler.under_way.expected import Expected, Taps, day_plan
from scheduler.under_way.expected_lifts import CrewNotes, expected_days
from scheduler.under_way.ways import TodayNow, ways
from scheduler.week import Assist, Booking, Reload, Vehicle, Week, read_week, week_document
from tests.seeds import some_now
from tests.weeks2 import small_week2

SEEDS = 40


def small_day(rng: random.Random) -> tuple[Week, Plan]:
    """A week of one day whose plan sends two crews out or more, one of which meets another or loads again."""
    while True:
        week = small_week2(rng, jobs=5, crews=3, days=1)
        jobs = []
        for n, job in enumerate(week.jobs):
            asked = Assist(30, 0, 60, 1, ()) if n == 0 and rng.random() < 0.7 else None
            plain = {"skills": (), "equipment": {}, "parts": {}, "ready_day": 0, "skip_cents": 90_000}
            hands = min(job.hands, 2)
            jobs.append(replace(job, minutes=max(90, job.minutes), boxes=1, hands=hands, assist=asked, **plain))
        crews = [
            replace(c, hands=max(2, c.hands), vehicle=Vehicle(5_000, 20_000, rng.choice((1, 2))), day_cents=0,
                    shifts=tuple(replace(s, overtime=s.overtime + 180) for s in c.shifts))
            for c in week.crews
        ]  # fmt: skip
        jobs = [
            replace(job, windows=tuple(replace(w, start=max(0, w.start - 120), end=w.end + 240) for w in job.windows))
            for job in jobs
        ]
        week = replace(week, jobs=tuple(jobs), crews=tuple(crews), reload=Reload(30))
        plan = plan_week(week, seconds=None, clock=time.monotonic)
        stops = [stop for route in plan.routes for stop in route.stops]
        if len(plan.routes) > 1 and any(stop.assist or stop.reload for stop in stops):
            return week, replace(plan, cost=price(week, plan.routes), bound=None)


def under_way(rng: random.Random, week: Week, plan: Plan) -> TodayNow:
    """The plan's day noted up to some minute by each of its crews, each of them late by some minutes."""
    now = rng.randrange(420, 1000, 10)
    noted: dict[str, CrewNotes] = {}
    lifts: dict[str, Taps] = {}
    for route in plan.routes:
        one = day_plan(week, route)
        assert one is not None
        late, number = rng.choice((0, 0, 20, 50)), 1
        taps, loads = dict[str, Taps](), dict[int, Taps]()
        for stop in route.stops:
            number += 1 if stop.reload else 0
            here, over = stop.start + late, stop.end + late - rng.choice((0, 0, 12))
            if here > now or rng.random() < (0.4 if stop.reload else 0.0):
                continue
            tap = Taps(here=here, over=over if over <= now else None)
            if stop.job:
                taps[stop.job] = tap
            elif stop.assist:
                lifts[stop.assist] = tap
            else:
                loads[number] = tap
        out = route.depart + late if route.depart + late <= now else None
        noted[route.crew] = CrewNotes(one, taps, out, None, loads)
    days = expected_days(noted, lifts, now)
    crews = {
        name: CrewUnderWay(one.plan, one.noted, one.out, None, days[name], one.loads) for name, one in noted.items()
    }
    spots = visits(outings(week, plan.routes))
    promised = {
        visit: Booking(spots[visit].crew, 0, spots[visit].start, rng.choice(("firm", "soft")), 700, 300, 100)
        for one in crews.values() for visit in one.ahead if rng.random() < 0.5
    }  # fmt: skip
    return TodayNow(week, plan, 0, crews, now, promised, lifts=lifts)


@pytest.mark.parametrize("seed", some_now(range(SEEDS), 12))
def test_every_way_keeps_every_rule_and_moves_neither_what_has_begun_nor_what_two_crews_meet_for(seed: int) -> None:
    rng = random.Random(seed)
    week, plan = small_day(rng)
    for _ in range(4):
        today = under_way(rng, week, plan)
        before = {one.job: (crew, one) for crew, r in today.crews.items() for one in r.day.visits}
        met = {stop.assist for route in plan.routes for stop in route.stops if stop.assist}
        for crew in today.crews:
            for way in ways(today, crew, most=99):
                assert way.week is not None
                assert way.plan is not None
                assert audit(way.week, way.plan).broken_rules == ()
                assert read_week(week_document(way.week)) == way.week  # it can be kept
                assert not met & {way.visit, way.other}
                after = {one.job: (name, one) for name, day in way.days.items() for one in day.visits}
                for visit, (name, one) in before.items():
                    if one.state in ("over", "there", "on the way") and name in way.days:
                        assert after[visit][0] == name
                        assert after[visit][1].start == one.start
                    if visit in met and name in way.days:
                        assert after[visit][0] == name
                for name, day in way.days.items():
                    _has_its_things(today.crews[name], in_order(day))
                lost = {way.visit} if way.kind == "put off" else set()
                assert visits(outings(way.week, way.plan.routes)).keys() | lost == before.keys()


def _has_its_things(running: CrewUnderWay, then: list[Expected]) -> None:
    """A visit whose load is still in the yard comes after a load that is still taken on, unless the crew is there."""
    waits = {
        one.job for n, one in enumerate(in_order(running.day))
        if one.kind == "visit" and any(o.kind == "load" and o.state == "ahead" for o in in_order(running.day)[:n])
    }  # fmt: skip
    loaded = not running.is_out
    for one in then:
        loaded = loaded or (one.kind == "load" and one.state == "ahead")
        assert loaded or one.job not in waits, one.job
