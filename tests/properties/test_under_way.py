"""The ways to go on with a day, on random small weeks: against trying everything, and by the rules that they keep."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import pytest
from msgspec.structs import replace

from scheduler.audit import audit
from scheduler.plan import Plan, Skipped, Stop
from scheduler.price import RETIME_FROM_MIN, outings, price, visits
from scheduler.reports.odds import Doubts
from scheduler.under_way.calls import CrewUnderWay
from scheduler.under_way.chances import promise_chances
from scheduler.under_way.expected import day_plan, expected_day
from scheduler.under_way.frozen import frozen_week, plan_with
from scheduler.under_way.ways import PUT_OFF, DayCents, TodayNow, go_on, told_cents, ways
from scheduler.week import Booking, Job, Vehicle, Week
from tests.plans import good_plan
from tests.properties.test_expected import notes
from tests.seeds import some_now
from tests.weeks import small_week

SEEDS = 30


def small_day(rng: random.Random, *, rests: bool = True) -> tuple[Week, Plan]:
    """A week of one day whose plan sends two crews out or more, with room left for other ways once it is planned."""
    while True:
        week = small_week(rng, jobs=6, crews=3, days=1, yards=1, step=10)
        jobs = [
            replace(job, minutes=max(10, job.minutes), boxes=min(job.boxes, 1), hands=min(job.hands, 2), ready_day=0,
                    skills=(), skip_cents=90_000)
            for job in week.jobs
        ]  # fmt: skip
        crews = [replace(c, hands=max(2, c.hands), vehicle=Vehicle(5_000, 20_000, 9), day_cents=0) for c in week.crews]
        pool = tuple(replace(e, count=tuple(n + 2 for n in e.count)) for e in week.equipment)
        week = replace(week, jobs=tuple(jobs), crews=tuple(crews), equipment=pool, rest=week.rest if rests else None)
        plan = good_plan(week)
        if len(plan.routes) > 1 and any(len(route.stops) > 1 for route in plan.routes):
            break
    jobs = [
        replace(job, windows=tuple(replace(w, start=max(0, w.start - 120), end=w.end + 300) for w in job.windows))
        for job in week.jobs
    ]
    crews = [replace(c, shifts=tuple(replace(s, overtime=s.overtime + 240) for s in c.shifts)) for c in week.crews]
    week = replace(week, jobs=tuple(jobs), crews=tuple(crews))
    return week, replace(plan, cost=price(week, plan.routes), bound=None)


def under_way(rng: random.Random, week: Week, plan: Plan) -> TodayNow:
    """The plan's day noted so far by each of its crews, one of them late."""
    plans = {route.crew: one for route in plan.routes if (one := day_plan(week, route)) is not None}
    noted = {crew: notes(rng, one) for crew, one in plans.items()}
    now = max((m for one in noted.values() for t in one.values() for m in (t.on_way, t.here, t.over) if m), default=480)
    now += rng.randrange(90)
    crews = {}
    for crew, one in plans.items():
        out = one.route.depart if noted[crew] else None
        crews[crew] = CrewUnderWay(one, noted[crew], out, None, expected_day(one, noted[crew], now, out))
    ahead = [visit for running in crews.values() for visit in running.ahead]
    promised = {job.id: job.booked for job in week.jobs if job.booked is not None and job.booked.day == 0}
    spots = visits(outings(week, plan.routes))
    for visit in ahead:
        if visit not in promised and rng.random() < 0.6:
            hold = rng.choice(("firm", "soft"))
            promised[visit] = Booking(spots[visit].crew, 0, spots[visit].start, hold, 700, 300, 100)
    told = {visit for visit in ahead if rng.random() < 0.15}
    return TodayNow(week, plan, 0, crews, now, promised, told)


@pytest.mark.parametrize("seed", some_now(range(SEEDS), 12))
def test_the_day_as_it_goes_keeps_the_rules_of_its_frozen_week(seed: int) -> None:
    rng = random.Random(seed)
    week, plan = small_day(rng)
    today = under_way(rng, week, plan)
    frozen, routes = frozen_week(week, 0, today.crews)
    as_it_goes = plan_with(frozen, plan, routes, [(crew, 0) for crew in today.crews])
    assert [breach.sentence for breach in audit(frozen, as_it_goes).broken_rules] == []


@pytest.mark.parametrize("seed", some_now(range(SEEDS), 12))
def test_no_way_touches_what_has_begun_or_was_told_and_each_keeps_every_rule(seed: int) -> None:
    rng = random.Random(seed)
    week, plan = small_day(rng)
    today = under_way(rng, week, plan)
    before = {one.job: (crew, one) for crew, r in today.crews.items() for one in r.day.visits}
    for crew in today.crews:
        for way in ways(today, crew, most=99):
            assert way.week is not None
            assert way.plan is not None
            assert audit(way.week, way.plan).broken_rules == ()
            after = {one.job: (name, one) for name, day in way.days.items() for one in day.visits}
            for visit, (name, one) in before.items():
                if one.state in ("over", "there", "on the way") and name in way.days:
                    assert after[visit] == (name, one)
                if visit in today.told and name in way.days:
                    assert after[visit][0] == name
                    assert after[visit][1].start <= one.start
            done = visits(outings(way.week, way.plan.routes))
            lost = {way.visit} if way.kind == "put off" else set()
            assert done.keys() | lost == visits(outings(week, plan.routes)).keys()


@dataclass
class _Naive:
    """Everything that can be done, timed by walking from place to place and priced by adding up; without rests."""

    today: TodayNow
    crew: str

    def __post_init__(self) -> None:
        week = self.today.week
        self.jobs = {job.id: job for job in week.jobs}
        self.place = {place.id: n for n, place in enumerate(week.places)}
        self.yard = self.place[week.yards[0].place]

    def drive(self, a: int, b: int) -> int:
        return self.today.week.travel.minutes[a][b]

    def walk(
        self, crew: str, order: Sequence[str], visit: str = "", meet: tuple[int, int, int | None] | None = None
    ) -> tuple[dict[str, tuple[int, int, bool]], int] | None:
        """Return begin, end and whether a window holds it of each visit, and the return; None where nobody is met."""
        running = self.today.crews[crew]
        times = {one.job: (one.start, one.end, True) for one in running.day.visits if one.job in running.begun}
        here, free = self.yard, max(self.today.now, running.plan.route.depart if running.out is None else running.out)
        if running.begun:
            here = self.place[self.jobs[running.begun[-1]].place]
            free = max(self.today.now, times[running.begun[-1]][1])
        for name in order:
            job, there = self.jobs[name], self.place[self.jobs[name].place]
            ready, early = free + self.drive(here, there), 0
            if name == visit and meet is not None:
                via, since, until = meet
                if until is not None and free + self.drive(here, via) > until:
                    return None
                early = since + self.drive(via, there)
                ready = max(free + self.drive(here, via) + self.drive(via, there), 0)
            told = self.today.promised.get(name)
            if told is not None:
                early = max(early, told.start - (0 if told.hold == "firm" else 30))
            begin = next((m for m in range(max(ready, early), 2_500) if _held(job, m, early)), None)
            start = ready if begin is None else begin
            times[name] = (start, start + job.minutes, begin is not None)
            free, here = times[name][1], there
        return times, max(free, self.today.now) + self.drive(here, self.yard)

    def cents(self, crew_id: str, order: Sequence[str], times: Mapping[str, tuple[int, int, bool]], back: int,
              visit: str = "", via: int | None = None) -> DayCents:  # fmt: skip
        running, week = self.today.crews[crew_id], self.today.week
        crew = next(one for one in week.crews if one.id == crew_id)
        names = [*running.begun, *order]
        if not names:
            return DayCents()
        stops = [self.yard]
        for name in names:
            stops += [via] if name == visit and via is not None else []
            stops.append(self.place[self.jobs[name].place])
        metres = sum(week.travel.metres[a][b] for a, b in zip(stops, [*stops[1:], self.yard], strict=True))
        left = running.plan.route.depart if running.out is None else running.out
        drive = crew.minute_cents * (back - left) + (crew.km_cents * metres + 500) // 1000
        late, lost, other = 0, 0, 0
        for name in names:
            if (told := self.today.promised.get(name)) is not None:
                by = times[name][0] - told.start
                gone = (told.hold == "firm" and by > 30) or (told.hold != "soft" and not times[name][2])
                lost += week.broken_cents if gone else 0
                calls = abs(by) > 30 or (told.hold == "firm" and by > 10)
                late += told.retime_cents if calls and not gone else 0
                other += told.recrew_cents if told.crew != crew_id else 0
        return DayCents(crew.overtime_minute_cents * max(0, back - running.plan.shift.end), drive, late, lost, other)

    def all(self) -> dict[str, DayCents]:
        """Return the cheapest price of each way that keeps the rules."""
        today, found = self.today, dict[str, DayCents]()
        mine = today.crews[self.crew]
        free = [visit for visit in mine.ahead if visit not in today.told]
        for a, b in combinations(free, 2):
            order = [b if name == a else a if name == b else name for name in mine.ahead]
            self._try(found, f"swap:{a}:{b}", {self.crew: order})
        for visit in free:
            left = [name for name in mine.ahead if name != visit]
            self._try(found, f"put-off:{visit}:", {self.crew: left}, lost=visit)
            for other, running in today.crews.items():
                if other == self.crew:
                    continue
                for place in range(len(running.ahead) + 1):
                    order = [*running.ahead[:place], visit, *running.ahead[place:]]
                    for meet in self._meets(visit, other, left):
                        self._try(found, f"hand-over:{visit}:{other}", {self.crew: left, other: order}, visit, meet)
        return found

    def _meets(self, visit: str, other: str, left: Sequence[str]) -> list[tuple[int, int, int | None] | None]:
        job, giving, taking = self.jobs[visit], self.today.crews[self.crew], self.today.crews[other]
        receiver = next(one for one in self.today.week.crews if one.id == other)
        own = [self.jobs[stop.job] for stop in taking.plan.route.stops]
        has = {item: max([receiver.onboard.get(item, 0), *(j.equipment.get(item, 0) for j in own)]) for item in
               job.equipment}  # fmt: skip
        if not (job.boxes or job.parts or job.weight_kg or any(n > has[item] for item, n in job.equipment.items())):
            return [None]
        if not (giving.out is not None or giving.begun):
            return [(self.yard, 0, None) if taking.out is not None or taking.begun else None]
        walked = self.walk(self.crew, left)
        assert walked is not None
        times, back = walked
        over = {one.job for one in giving.day.visits if one.state == "over"}
        meets: list[tuple[int, int, int | None] | None] = [
            (self.place[self.jobs[name].place], max(times[name][0], self.today.now), times[name][1])
            for name in [*giving.begun, *left]
            if name not in over
        ]
        return [*meets, (self.yard, max(back, self.today.now), None)]

    def _try(self, found: dict[str, DayCents], key: str, orders: Mapping[str, Sequence[str]], visit: str = "",
             meet: tuple[int, int, int | None] | None = None, lost: str = "") -> None:  # fmt: skip
        today, stay = self.today, go_on(self.today, self.crew)
        cents, routes = stay.cents, []
        frozen, as_is = frozen_week(today.week, 0, {crew: today.crews[crew] for crew in orders})
        for crew, order in orders.items():
            mine = meet if visit in order else None
            walked = self.walk(crew, order, visit, mine)
            if walked is None:
                return
            times, back = walked
            before = {one.job: one for one in today.crews[crew].day.visits}
            if any(n in today.told and times[n][0] > before[n].start for n in order if n in before):
                return
            now = today.crews[crew].day
            was = {one.job: (one.start, one.end, one.in_window) for one in now.visits}
            cents = cents.plus(self.cents(crew, order, times, back, visit, mine[0] if mine else None))
            cents = cents.plus(self.cents(crew, today.crews[crew].ahead, was, now.back), -1)
            [old] = [route for route in as_is if route.crew == crew]
            frozen_stops = [stop for stop in old.stops if stop.job in today.crews[crew].begun]
            stops = (*frozen_stops, *(Stop(name, *times[name][:2]) for name in order))
            if stops:
                leaves = stops[0].start - self.drive(self.yard, self.place[self.jobs[stops[0].job].place])
                depart = leaves if today.crews[crew].out is None else min(leaves, old.depart)
                routes.append(replace(old, stops=stops, back=back, depart=depart))
        if lost and (told := today.promised.get(lost)) is not None:
            cents = cents.plus(DayCents(lost=told.move_cents if told.hold == "soft" else today.week.broken_cents))
        plan = today.plan
        if lost:
            plan = replace(plan, skipped=(*plan.skipped, Skipped(lost, (PUT_OFF,))))
        plan = plan_with(frozen, plan, routes, [(crew, 0) for crew in orders])
        if not audit(frozen, plan).broken_rules and (key not in found or cents.total < found[key].total):
            found[key] = cents


def _held(job: Job, begin: int, early: int) -> bool:
    return any(w.day == 0 and max(w.start, early) <= begin and begin + job.minutes <= w.end for w in job.windows)


@pytest.mark.parametrize("seed", some_now(range(SEEDS), 12))
def test_the_ways_and_their_prices_are_those_found_by_trying_everything(seed: int) -> None:
    rng = random.Random(seed)
    week, plan = small_day(rng, rests=False)
    today = under_way(rng, week, plan)
    for crew in today.crews:
        found = {way.key: way.cents for way in ways(today, crew, most=999)}
        wanted = _Naive(today, crew).all()
        assert {key: cents.total for key, cents in found.items()} == {key: c.total for key, c in wanted.items()}
        assert found == wanted


def test_a_promise_is_lost_past_half_an_hour_and_costs_a_call_before() -> None:
    week = small_week(random.Random(1), jobs=1)
    firm = Booking("crew-1", 0, 600, "firm", 700, 300, 100)
    soft = replace(firm, hold="soft")
    assert [told_cents(week, firm, 600 + late) for late in (10, 11, 30, 31)] == [
        (0, 0), (300, 0), (300, 0), (0, week.broken_cents),
    ]  # fmt: skip
    assert [told_cents(week, soft, 600 + late) for late in (30, 31, 300)] == [(0, 0), (300, 0), (300, 0)]
    assert told_cents(week, firm, 600, in_window=False) == (0, week.broken_cents)


@pytest.mark.parametrize("seed", some_now(range(SEEDS), 12))
def test_promises_are_as_likely_as_the_day_is_certain(seed: int) -> None:
    """Without a doubt a promise is kept or not as the day is expected to go; with some it is less sure than that."""
    rng = random.Random(seed)
    week, plan = small_day(rng)
    today = under_way(rng, week, plan)
    names = [job.id for job in week.jobs]
    sure, unsure = (Doubts({}, dict.fromkeys(names, p80), p80, {}, {}) for p80 in (1.0, 2.0))
    for crew in today.crews:
        for way in (go_on(today, crew), *ways(today, crew, most=9)):
            expected = {one.job: one for day in way.days.values() for one in day.visits}
            certain = promise_chances(today, way, sure, plays=20, seed=1)
            for visit, chance in certain.items():
                late = expected[visit].start - today.promised[visit].start
                if late <= RETIME_FROM_MIN:
                    assert chance == 1.0, (way.key, visit)
                elif late > 2 * RETIME_FROM_MIN:  # it may begin half an hour before it is expected to
                    assert chance == 0.0, (way.key, visit)
            for visit, chance in promise_chances(today, way, unsure, plays=400, seed=1).items():
                assert chance <= 1.0
                assert certain[visit] == 0.0 or chance > 0.0
