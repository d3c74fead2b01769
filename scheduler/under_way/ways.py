"""What can be done for the rest of a crew's day when it goes otherwise than planned, each way with its price.

Two visits change places, one goes to another crew, or it is put off; or nothing is changed, and customers are told.
Nothing is moved that is done, under way, being driven to, or of which the customer has been told the new hour, and no
visit to which a second crew comes for the lift: that crew's day hangs on it too. Loads and lifts stay where they are
among the visits, and visits change places within a load: what is not on the van cannot be put up. Each way is timed as
the running day is (`expected`), and stands only where the auditor finds no fault with it in the day as it is frozen
(`frozen`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, fields
from itertools import combinations
from typing import Literal

from msgspec.structs import replace

from scheduler.audit import audit
from scheduler.plan import Because, Plan, Skipped
from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.calls import Call, CrewUnderWay, in_order, needed, places_of
from scheduler.under_way.expected import ExpectedDay, Taps
from scheduler.under_way.expected_lifts import who_meet
from scheduler.under_way.frozen import frozen_week, plan_with, route_in
from scheduler.under_way.retimed import Detour, TimedOn, retimed_days
from scheduler.week import Booking, Crew, Week

AT_RISK_MIN = 10  # a firm time that is missed by more is to be told; by more than RETIME_FROM_MIN it is lost
PUT_OFF = Because("not_tried", "Put off to another day, its crew ran late.")
Kind = Literal["go on", "swap", "hand over", "put off"]


@dataclass(frozen=True, slots=True)
class DayCents:
    """What the rest of a day costs beside the day as planned, in cents, by kind.

    `drive` is road and time out, `lateness` calls about later hours, `lost` promises not kept, `other_crew` the word
    that another crew comes.
    """

    overtime: int = 0
    drive: int = 0
    lateness: int = 0
    lost: int = 0
    other_crew: int = 0

    @property
    def total(self) -> int:
        """The sum of all kinds."""
        return sum(getattr(self, one.name) for one in fields(self))

    def plus(self, other: DayCents, sign: int = 1) -> DayCents:
        """Return both together, or the one less the other where `sign` is -1."""
        return DayCents(*(getattr(self, f.name) + sign * getattr(other, f.name) for f in fields(self)))


@dataclass(frozen=True, slots=True)
class VanChange:
    """What has to change vans for a visit: `boxes` of its kit and `equipment`, and where its new crew takes it on.

    `stop` is the visit of the first crew at which the two meet (None: at the yard), `at` when the new crew is there.
    `detour`: it comes by there on its way; False where it loads before it leaves the yard.
    """

    boxes: int
    equipment: Mapping[str, int]
    stop: str | None
    at: int
    detour: bool


@dataclass(frozen=True)
class DayWay:
    """One way to go on: what is changed, its price, and the day of each crew that it touches.

    `visit` and `other` change places in a swap; `visit` goes to `crew` in a hand-over, by `van`. `plan` is the whole
    plan in `week`, the day frozen (None where nothing is changed).
    """

    kind: Kind
    visit: str
    other: str
    crew: str
    cents: DayCents
    days: Mapping[str, ExpectedDay]
    van: VanChange | None = None
    week: Week | None = None
    plan: Plan | None = None

    @property
    def key(self) -> str:
        """What names this way among those of its crew."""
        return ":".join((self.kind, self.visit, self.other or self.crew)).replace(" ", "-")


@dataclass(frozen=True)
class TodayNow:
    """A running day: `plan`, whose rules hold in `week`, crews by id, and the minute `now`.

    `promised` are the bookings that customers know of; `told` the visits whose customers were told a later hour today:
    they keep crew and hour. `cannot` says of visits that cannot go as posted who cannot: "crew" the posted one alone,
    "visit" nobody today. Crews that are `away` take nothing on. `lifts` are what is noted of lifts, by visit.
    """

    week: Week
    plan: Plan
    day: int
    crews: Mapping[str, CrewUnderWay]
    now: int
    promised: Mapping[str, Booking]
    told: Collection[str] = ()
    cannot: Mapping[str, Literal["crew", "visit"]] = field(default_factory=dict)
    away: Collection[str] = ()
    lifts: Mapping[str, Taps] = field(default_factory=dict)

    @property
    def ground(self) -> TimedOn:
        """What other orders of the day are timed on."""
        return TimedOn(self.week, self.promised, self.lifts, self.now)

    def with_met(self, *crews: str) -> dict[str, CrewUnderWay]:
        """Return these crews and all whose day hangs on theirs by lifts."""
        met = who_meet({name: one.plan for name, one in self.crews.items()}, crews)
        return {name: one for name, one in self.crews.items() if name in met}

    def is_met(self, visit: str) -> bool:
        """Say whether a second crew comes to a visit for the lift."""
        return any(stop.assist == visit for one in self.crews.values() for stop in one.plan.route.stops)


def go_on(today: TodayNow, crew: str) -> DayWay:
    """Return what it comes to when nothing is changed, and customers are told."""
    running = today.crews[crew]
    cents = _cents(today, crew, running.day).plus(_as_planned(today, crew), -1)
    return DayWay("go on", "", "", "", cents, {crew: running.day})


def ways(today: TodayNow, crew: str, most: int = 6, only: str = "") -> tuple[DayWay, ...]:
    """Return at most `most` ways for the rest of the day of `crew`, the cheapest first; none where it has none left.

    Of the ways to hand a visit to the same crew the cheapest counts. only: the key of the one way that is asked for.
    """
    if _passed_by(today.crews[crew]):
        return ()
    stay = go_on(today, crew)
    tried = sorted(_tried(today, crew, stay), key=lambda way: (way.cents.total, way.key))
    found: dict[str, DayWay] = {}
    for way in tried:
        if way.key in found or len(found) >= most or (only and way.key != only):
            continue
        made = _judged(today, way)
        if made is not None:
            found[way.key] = made
    return tuple(found.values())


def _tried(today: TodayNow, crew: str, stay: DayWay) -> Iterator[DayWay]:
    """Yield every way, timed and priced, not judged."""
    running = today.crews[crew]
    ahead = list(running.calls_ahead)
    free = [
        call for call in ahead if call.kind == "visit" and call.job not in today.told and not today.is_met(call.job)
    ]
    able = [call for call in free if call.job not in today.cannot]
    mine = today.with_met(crew)
    for a, b in combinations(able, 2):
        if _load(ahead, a) != _load(ahead, b):
            continue
        order = [{a: b, b: a}.get(call, call) for call in ahead]
        days = retimed_days(today.ground, mine, {crew: order})
        yield _way(today, stay, DayWay("swap", a.job, b.job, "", DayCents(), days))
    for call in free:
        visit = call.job
        left = _without(running, call)
        then = retimed_days(today.ground, mine, {crew: left})
        yield _way(today, stay, DayWay("put off", visit, "", "", DayCents(), then))
        if today.cannot.get(visit) == "visit":
            continue
        for other, receiving in today.crews.items():
            if other == crew or other in today.away or receiving.back is not None or _passed_by(receiving):
                continue
            both = today.with_met(crew, other)
            coming = list(receiving.calls_ahead)
            for detour, van in _meetings(today, crew, visit, other, then[crew], _load(ahead, call)):
                for n in range(len(coming) + 1):
                    order = [*coming[:n], call, *coming[n:]]
                    loads = detour is not None and detour.until is None and detour.since == 0 and _load(order, call) > 0
                    by = None if loads else detour  # what lies in the yard comes with the load that is fetched there
                    days = retimed_days(
                        today.ground, both, {crew: left, other: order}, {} if by is None else {other: by}
                    )
                    met = _met(today, receiving, days[other], visit, other, by)
                    if met is None:
                        continue
                    change = None if van is None else dataclasses.replace(van, at=met, detour=by is not None)
                    yield _way(today, stay, DayWay("hand over", visit, "", other, DayCents(), days, change), by)


def _load(ahead: list[Call], call: Call) -> int:
    """Return how many loads are still to be taken on before a visit."""
    return sum(1 for one in ahead[: ahead.index(call)] if one.kind == "load")


def _without(running: CrewUnderWay, call: Call) -> list[Call]:
    """Return what is ahead of a crew without a visit, and without loads that nothing is left for.

    Of a crew that is out the next load stays, whatever it had to do before it: what comes after lies in the yard.
    """
    begun = [Call("visit", "")] if running.is_out else []
    return needed([*begun, *(other for other in running.calls_ahead if other != call)])[len(begun) :]


def _passed_by(running: CrewUnderWay) -> bool:
    return any(one.state == "passed by" for one in running.day.visits)


def _way(today: TodayNow, stay: DayWay, way: DayWay, detour: Detour | None = None) -> DayWay:
    """Return the way with its price: the day as it goes on by itself, and what is different of each crew's day."""
    cents = stay.cents
    for crew, day in way.days.items():
        mine = detour if crew == way.crew else None
        after, before = _cents(today, crew, day, mine), _cents(today, crew, today.crews[crew].day)
        cents = cents.plus(after).plus(before, -1)
    if way.kind == "put off" and (booking := today.promised.get(way.visit)) is not None:
        soft = booking.hold == "soft"
        cents = cents.plus(DayCents(lost=booking.move_cents if soft else today.week.broken_cents))
    return dataclasses.replace(way, cents=cents)


def _judged(today: TodayNow, way: DayWay) -> DayWay | None:
    """Return the way with its plan, None where it breaks a rule, or moves what a customer has been told today."""
    if any(_later(today.crews[crew].day, day, today.told) for crew, day in way.days.items()):
        return None
    touched = {crew: today.crews[crew] for crew in way.days}
    try:
        week, _ = frozen_week(today.week, today.day, touched)
    except ValueError:  # one of the crews that meet cannot be frozen
        return None
    routes = [route_in(week, today.day, crew, today.crews[crew], day) for crew, day in way.days.items()]
    plan = today.plan
    if way.kind == "put off":
        plan = replace(plan, skipped=(*plan.skipped, Skipped(way.visit, (PUT_OFF,))))
    plan = plan_with(week, plan, routes, [(crew, today.day) for crew in way.days])
    return None if audit(week, plan).broken_rules else dataclasses.replace(way, week=week, plan=plan)


def _later(before: ExpectedDay, after: ExpectedDay, told: Collection[str]) -> bool:
    """Say whether a visit of which the customer has been told begins later than it would by itself."""
    starts = {one.job: one.start for one in before.visits}
    return any(one.job in told and one.start > starts.get(one.job, one.start) for one in after.visits)


def _cents(today: TodayNow, crew_id: str, day: ExpectedDay, detour: Detour | None = None) -> DayCents:
    """Return what a crew's day costs as `day` has it, all of it that another way could change."""
    week, running = today.week, today.crews[crew_id]
    crew = next(one for one in week.crews if one.id == crew_id)
    calls = [Call(one.kind, one.job) for one in in_order(day)]
    spent = _road(week, crew_id, calls, detour)
    begins = running.plan.route.depart if running.out is None else running.out
    length = day.back - begins if calls else 0
    overtime = max(0, day.back - running.plan.shift.end) if calls else 0
    lateness = lost = other_crew = 0
    for one in day.visits:
        booking = today.promised.get(one.job)
        if booking is None:
            continue
        late, missed = told_cents(week, booking, one.start, in_window=one.in_window)
        if today.cannot.get(one.job) == "visit" or (today.cannot.get(one.job) == "crew" and one.job in running.ahead):
            late, missed = 0, booking.move_cents if booking.hold == "soft" else week.broken_cents
        lateness, lost = lateness + late, lost + missed
        other_crew += booking.recrew_cents if booking.crew != crew_id else 0
    drive = crew.minute_cents * length + (crew.km_cents * spent + 500) // 1000
    over = crew.overtime_minute_cents * overtime + _weekly(today, crew, length)
    return DayCents(over, drive, lateness, lost, other_crew)


def _weekly(today: TodayNow, crew: Crew, length: int) -> int:
    """Return what minutes past the crew's weekly ones cost when it is out for `length` today."""
    if crew.weekly is None:
        return 0
    others = sum(
        route.back - route.depart for route in today.plan.routes
        if route.crew == crew.id and route.day != today.day and route.day // 7 == today.day // 7
    )  # fmt: skip
    return crew.weekly.cents * max(0, others + length - crew.weekly.minutes)


def told_cents(week: Week, booking: Booking, start: int, *, in_window: bool = True) -> tuple[int, int]:
    """Return what a begin at `start` on the promised day costs, in cents: as lateness, and as a promise lost.

    A firm time is lost when it is missed by more than RETIME_FROM_MIN, any promise but a soft one when no work window
    holds the visit any more; later by more than AT_RISK_MIN (a firm one) or RETIME_FROM_MIN it costs a call.
    """
    late, firm = start - booking.start, booking.hold == "firm"
    if (firm and late > RETIME_FROM_MIN) or (booking.hold != "soft" and not in_window):
        return 0, week.broken_cents
    called = abs(late) > RETIME_FROM_MIN or (firm and late > AT_RISK_MIN)
    return (booking.retime_cents if called else 0), 0


def _as_planned(today: TodayNow, crew_id: str) -> DayCents:
    """Return what the crew's day costs as it is posted, all its promises kept."""
    running = today.crews[crew_id]
    route = running.plan.route
    crew = next(one for one in today.week.crews if one.id == crew_id)
    calls = [Call("load" if s.reload else "visit", s.job or s.assist) for s in route.stops]
    road = _road(today.week, crew_id, calls, None)
    begins = route.depart if running.out is None else running.out
    drive = crew.minute_cents * (route.back - begins) + (crew.km_cents * road + 500) // 1000
    over = crew.overtime_minute_cents * max(0, route.back - running.plan.shift.end)
    return DayCents(over + _weekly(today, crew, route.back - begins), drive)


def _road(week: Week, crew_id: str, calls: list[Call], detour: Detour | None) -> int:
    """Return the metres of a crew's round, by way of where it takes something on."""
    if not calls:
        return 0
    place = {p.id: n for n, p in enumerate(week.places)}
    home, *there = (place[one] for one in places_of(week, crew_id, [Call("load", ""), *calls]))
    round_trip = [home]
    for call, at in zip(calls, there, strict=True):
        if detour is not None and call == Call("visit", detour.visit):
            round_trip.append(place[detour.place])
        round_trip.append(at)
    return sum(week.travel.metres[a][b] for a, b in zip(round_trip, [*round_trip[1:], home], strict=True))


def _meetings(
    today: TodayNow, crew: str, visit: str, other: str, then: ExpectedDay, loads: int
) -> Iterator[tuple[Detour | None, VanChange | None]]:
    """Yield where `other` can take on what `visit` needs of the van of `crew`, whose day then goes as `then`.

    loads: how many loads are still to be taken on before the visit as it was. What is on the van comes off it before
    the next load: that was planned without it.
    """
    week = today.week
    job = next(one for one in week.jobs if one.id == visit)
    receiver = next(one for one in week.crews if one.id == other)
    mine = [one for one in week.jobs if one.id in {stop.job for stop in today.crews[other].plan.route.stops}]
    lacking = {}
    for item, count in job.equipment.items():
        have = max([receiver.onboard.get(item, 0), *(one.equipment.get(item, 0) for one in mine)])
        if count > have:
            lacking[item] = count - have
    if not (job.boxes or job.parts or job.weight_kg or lacking):
        yield None, None
        return
    van = VanChange(job.boxes, lacking, None, 0, detour=False)
    giving, receiving = today.crews[crew], today.crews[other]
    yard = next(one.place for one in week.yards if one.id == receiver.yard)
    same_yard = next(one.yard for one in week.crews if one.id == crew) == receiver.yard
    if not giving.is_out or loads:  # what is taken along still lies in the yard
        if same_yard:
            yield (Detour(visit, yard, 0, None) if receiving.is_out else None), van
        return
    places = {one.id: one.place for one in week.jobs}
    for one in in_order(then):
        if one.kind == "load" and one.state == "ahead":
            return
        if one.kind == "visit" and one.state != "over":
            detour = Detour(visit, places[one.job], max(one.start, today.now), one.end)
            yield detour, dataclasses.replace(van, stop=one.job)
    if same_yard:
        yield Detour(visit, yard, max(then.back, today.now), None), van


def _met(
    today: TodayNow, running: CrewUnderWay, day: ExpectedDay, visit: str, crew: str, detour: Detour | None
) -> int | None:
    """Return when the crew takes on what it needs, None where it would come after the other one has left."""
    calls = in_order(day)
    at = next(n for n, one in enumerate(calls) if (one.kind, one.job) == ("visit", visit))
    if detour is None:
        fetched = [one.start for one in calls[:at] if one.kind == "load"]
        return fetched[-1] if fetched else running.plan.route.depart
    week = today.week
    place = {p.id: n for n, p in enumerate(week.places)}
    here = places_of(week, crew, [Call("load", ""), *calls])[at]
    if at:
        free = max(calls[at - 1].end, today.now)
    else:
        free = max(today.now, running.plan.route.depart if running.out is None else running.out)
    reached = free + week.travel.minutes[place[here]][place[detour.place]]
    return None if detour.until is not None and reached > detour.until else max(reached, detour.since)
