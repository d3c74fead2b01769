"""When the rest of a crew's day is to be expected, from what the crew has noted so far and the time it is.

What is noted is taken as it is. The rest follows in the planned order and as early as it may: no drive and no visit
takes less than planned, no visit begins outside its work windows where one still holds it, nor before the customer
expects the crew (a firm one not before its minute), and the rest is kept. The later the hour or a note, the later all
that follows. A day with a second load goes by the yard: the drive there, the minutes of the load, the drive on. What
two crews that meet at a lift do to each other is worked out by `scheduler.under_way.expected_lifts`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from typing import Literal

from scheduler.plan import Route, Stop
from scheduler.price import RETIME_FROM_MIN
from scheduler.travel.by_hour import NO_SLOW_HOURS, ByHour
from scheduler.week import Job, RestRule, Shift, Week

State = Literal["over", "there", "on the way", "passed by", "ahead"]
Kind = Literal["visit", "lift", "load"]


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A planned route with all that its times depend on.

    `calls` are the jobs of the route's stops, None where the crew helps another one or takes on a load.
    `drive_min[a][b]` are minutes between the yard (0) and the stops (1, 2, … in the planned order), as in the table of
    the week; `by_hour` says how much longer they take in slow hours.
    """

    route: Route
    shift: Shift
    calls: tuple[Job | None, ...]
    drive_min: tuple[tuple[int, ...], ...]
    rest: RestRule | None
    by_hour: ByHour = NO_SLOW_HOURS

    @property
    def jobs(self) -> tuple[Job, ...]:
        """The jobs that the crew does."""
        return tuple(job for job in self.calls if job is not None)

    def drive(self, a: int, b: int, leaves: int) -> int:
        """Return the minutes from a to b, left at the minute `leaves`."""
        return self.by_hour.drive_min(self.drive_min[a][b], leaves)


@dataclass(frozen=True, slots=True)
class Taps:
    """What is noted of one visit, of a lift at which the crew helps or of a load, in minutes after midnight.

    `over` is when the visit was told to be done, or that it cannot be; of a lift, when that was over; of a load, when
    all of it was on the van. None: not noted.
    """

    on_way: int | None = None
    here: int | None = None
    over: int | None = None


@dataclass(frozen=True, slots=True)
class AtLifts:
    """What the other crews of the day's lifts do to a crew, in minutes after midnight, by visit.

    `lifted`: of its own visits, when their lift is over, or is to be expected to be. `from_min`: of the visits that it
    helps with, the first minute at which the lift can begin; `done`: when the visit itself was told to be over.
    """

    lifted: Mapping[str, int] = field(default_factory=dict)
    from_min: Mapping[str, int] = field(default_factory=dict)
    done: Mapping[str, int] = field(default_factory=dict)


NOBODY = AtLifts()


@dataclass(frozen=True, slots=True)
class Expected:
    """A stop as it was, or is to be expected: minutes after midnight, and by how much later than planned it begins.

    `job` is the visit, of a lift the one that is helped with, of a load empty; `stop` counts the planned stops from 1.
    `in_window` is False where no work window of the day holds it any more. One that is `passed by` has nothing noted
    while a later one has, or is a lift that is needed no more: its times are the planned ones. So are those of a load
    that is `over` with nothing noted of it.
    """

    job: str
    start: int
    end: int
    late_min: int
    state: State
    in_window: bool
    stop: int
    kind: Kind = "visit"


@dataclass(frozen=True, slots=True)
class ExpectedDay:
    """The whole day in the order in which it goes; `rest` is None where it is over, or none is needed.

    `calls` are visits, lifts and loads. `past_min`: minutes by which the crew will be back after the last minute of its
    overtime.
    """

    calls: tuple[Expected, ...]
    back: int
    rest: int | None
    past_min: int

    @property
    def visits(self) -> tuple[Expected, ...]:
        """The crew's own visits."""
        return tuple(one for one in self.calls if one.kind == "visit")


def day_plan(
    week: Week, route: Route, by_way_of: Mapping[str, str] = {}, by_hour: ByHour = NO_SLOW_HOURS
) -> DayPlan | None:
    """Return a route of a plan of `week` with what its times depend on; None where it cannot go out at all.

    by_way_of: places that the crew comes by on its way to a visit, by visit. by_hour: the slow hours of the day.
    """
    crew = next((c for c in week.crews if c.id == route.crew), None)
    shift = None if crew is None else next((s for s in crew.shifts if s.day == route.day), None)
    by_id = {job.id: job for job in week.jobs}
    stops = tuple(stop for stop in route.stops if stop.reload or (stop.job or stop.assist) in by_id)
    if crew is None or shift is None or not any(stop.job or stop.assist for stop in stops):
        return None
    place = {p.id: n for n, p in enumerate(week.places)}
    calls = tuple(by_id[stop.job] if stop.job else None for stop in stops)
    yard = next(y.place for y in week.yards if y.id == crew.yard)
    at = [place[yard], *(place[yard if stop.reload else by_id[stop.job or stop.assist].place] for stop in stops)]
    via = [None, *(place.get(by_way_of.get(stop.job, "")) for stop in stops)]

    def drive_min(a: int, n: int) -> int:
        by, to = via[n], week.travel.minutes
        return to[a][at[n]] if by is None else to[a][by] + to[by][at[n]]

    drives = tuple(tuple(drive_min(a, n) for n in range(len(at))) for a in at)
    whole = route if len(stops) == len(route.stops) else Route(
        route.crew, route.day, route.depart, route.back, route.helpers, route.rest, stops
    )  # fmt: skip
    return DayPlan(whole, shift, calls, drives, week.rest, by_hour)


def expected_day(
    plan: DayPlan,
    noted: Mapping[str, Taps],
    now: int,
    out: int | None = None,
    back: int | None = None,
    told: Mapping[str, int] = {},
    meets: AtLifts = NOBODY,
    loads: Mapping[int, Taps] = {},
) -> ExpectedDay:
    """Return how the day goes on.

    noted: by visit, its own and those that it helps with. now: minutes after midnight; what is not noted has not
    happened before it. out, back: when the crew left the yard and came back to it, None where it has not. told: the
    minute by visit at which customers expect the crew by what they were told, where that may be another than the
    planned one. meets: what other crews do to it. loads: what is noted of the loads of mid-day, by number, from 2 on.
    """
    before = _rest_before(plan)
    paused = _paused(plan)
    known = _known(plan, noted, loads)
    day = _walk(plan, known, now, out, told, meets, before if plan.route.rest is not None and paused is None else None)
    rule = plan.rest
    if paused is not None and plan.route.rest is not None:
        begins = {one.job: one.start + plan.route.rest - paused.start for one in day.visits if one.state != "over"}
        day = replace(day, rest=begins.get(paused.job))
    if plan.route.rest is None and rule is not None and day.back - plan.route.depart > rule.after:
        day = _walk(plan, known, now, out, told, meets, before)
    return _with_back(plan, day, back)


def _with_back(plan: DayPlan, day: ExpectedDay, noted_back: int | None) -> ExpectedDay:
    back = day.back if noted_back is None else noted_back
    last = plan.shift.end + plan.shift.overtime
    return ExpectedDay(day.calls, back, None if noted_back is not None else day.rest, max(0, back - last))


def _paused(plan: DayPlan) -> Stop | None:
    """Return the stop in the middle of which the crew rests; it is as much longer. None: it rests between stops."""
    rule, at = plan.rest, plan.route.rest
    if rule is None or not rule.within or at is None:
        return None
    return next((s for s in plan.route.stops if s.job and s.start < at and at + rule.length < s.end), None)


def _rest_before(plan: DayPlan) -> int:
    """Return the number of the stop before which the crew rests (one more than there are: before the drive home).

    The planned one; where the plan needs none and the day has become long enough for one, the first by which it may be.
    """
    wanted = plan.route.rest
    if wanted is None:
        wanted = 0 if plan.rest is None else plan.rest.earliest
    return next((n for n, stop in enumerate(plan.route.stops, 1) if stop.start >= wanted), len(plan.route.stops) + 1)


def _known(plan: DayPlan, noted: Mapping[str, Taps], loads: Mapping[int, Taps]) -> dict[int, Taps]:
    """Return what is noted of each stop, by its number.

    Who says that it is on its way to a stop before it has taken on the load for it sets out once it has that.
    """
    number, load, found = 1, Taps(), {}
    for n, stop in enumerate(plan.route.stops, 1):
        if stop.reload:
            number += 1
            load = found[n] = loads.get(number, Taps())
            continue
        one = noted.get(stop.job or stop.assist, Taps())
        loaded = load.here if load.over is None else load.over
        there = one.over if one.here is None else one.here
        if loaded is not None and one.on_way is not None and one.on_way < loaded and (there is None or there >= loaded):
            one = replace(one, on_way=load.over)
        found[n] = one
    return found


def _order(noted: Mapping[int, Taps]) -> list[tuple[int, Taps]]:
    """Return the stops by number, with what is noted: first those noted, by the hour, then the others as planned.

    A crew that has noted something of a later stop has left the one before: where it did not say when, then.
    """
    known = dict(noted)
    begun = sorted((first, n) for n, one in known.items() if (first := _first(one)) is not None)
    for (_, n), (first, _) in pairwise(begun):
        if known[n].over is None:
            known[n] = replace(known[n], over=first)
    return [(n, known[n]) for _, n in begun] + [(n, one) for n, one in known.items() if _first(one) is None]


def _first(one: Taps) -> int | None:
    return min((m for m in (one.on_way, one.here, one.over) if m is not None), default=None)


def _walk(
    plan: DayPlan,
    noted: Mapping[int, Taps],
    now: int,
    out: int | None,
    told: Mapping[str, int],
    meets: AtLifts,
    rest_before: int | None,
) -> ExpectedDay:
    """Return the day with a rest before the stop `rest_before`, or before the next not begun; None: none."""
    order = _order(noted)
    last_begun = max((n for n, one in order if _first(one) is not None), default=0)
    free, place, owed, rest_at = (max(plan.route.depart, now) if out is None else out), 0, rest_before is not None, None
    length = 0 if plan.rest is None else plan.rest.length
    is_noted = False  # that the crew was free at `free`
    found = []
    for n, one in order:
        job, planned = plan.calls[n - 1], plan.route.stops[n - 1]
        name = planned.job or planned.assist
        kind: Kind = "load" if planned.reload else "lift" if job is None else "visit"
        takes = planned.end - planned.start
        due = owed and rest_before is not None and n >= rest_before
        way = _by_yard(plan, place, n, free, is_noted=is_noted)
        if one.here is not None or one.over is not None:
            start, end = _begun(one, takes, now, meets.from_min.get(name) if kind == "lift" else None)
            if job is not None and one.over is None:
                end = max(_lifted(job, start, end, takes, meets), now)
            if due and start - free - _minutes(way, free) >= length:
                owed = False
            state: State = "over" if one.over is not None else "there"
            found.append(Expected(name, start, end, start - planned.start, state, True, n, kind))
            free, place, is_noted = end, n, noted[n].over is not None
            continue
        if one.on_way is None and n < last_begun:
            passed: State = "over" if kind == "load" else "passed by"
            found.append(Expected(name, planned.start, planned.end, 0, passed, True, n, kind))
            continue
        if due and one.on_way is not None and one.on_way - free >= length:
            due = owed = False
        # Nobody notes when a crew sets out for a lift or for its yard: it does as soon as it is free.
        leave = one.on_way if one.on_way is not None else max(free, now) if kind == "visit" else free
        if kind == "lift" and name in meets.done:
            gone = _lifted_without(planned, way(leave), meets.done[name], n)
            found.append(gone)
            if gone.state == "over":
                free, place, is_noted = gone.end, n, False
            continue
        # Few would note at once that they are in the yard: a load is not expected later only as the clock goes on.
        ready = way(leave) if kind == "load" else max(way(leave), now)
        if due and plan.rest is not None:
            rest_at, ready = _rested(plan.rest, leave, ready, partial(_minutes, way))
            owed = False
        start, end, in_window = _spans(plan, n, ready, told, meets)
        state = "ahead" if one.on_way is None else "on the way"
        found.append(Expected(name, start, end, start - planned.start, state, in_window, n, kind))
        free, place, is_noted = end, n, False
    leave = max(free, now)
    home = leave + plan.drive(place, 0, leave)
    if owed and plan.rest is not None:
        rest_at, home = _rested(plan.rest, leave, home, partial(plan.drive, place, 0))
    return ExpectedDay(tuple(found), home, rest_at, 0)


def _minutes(way: Callable[[int], int], leave: int) -> int:
    return way(leave) - leave


def _spans(
    plan: DayPlan, n: int, ready: int, told: Mapping[str, int], meets: AtLifts
) -> tuple[int, int, bool]:  # fmt: skip
    """Return when stop n, of which nothing is noted, begins and ends, and whether a work window holds it."""
    job, planned = plan.calls[n - 1], plan.route.stops[n - 1]
    takes = planned.end - planned.start
    if job is not None:
        start, in_window = _begin(job, plan.route.day, planned, ready, told.get(job.id))
        return start, _lifted(job, start, start + takes, takes, meets), in_window
    early = planned.start - RETIME_FROM_MIN if planned.reload else planned.start
    start = max(ready, early, meets.from_min.get(planned.assist, 0))
    return start, start + takes, True


def _lifted_without(planned: Stop, there: int, done: int, n: int) -> Expected:
    """Return a lift of which nothing is noted, of a visit that is over at `done`, for a crew that is `there` for it.

    Nobody lifts any more: who was there goes on from there, who was not does not go.
    """
    if there >= done:
        return Expected(planned.assist, planned.start, planned.end, 0, "passed by", True, n, "lift")
    start = max(there, planned.start)
    end = min(start + planned.end - planned.start, done)
    return Expected(planned.assist, min(start, done), end, min(start, done) - planned.start, "over", True, n, "lift")


def _begun(one: Taps, takes: int, now: int, may_begin: int | None) -> tuple[int, int]:
    """Return when a stop began of which it is noted, and when it was over, or is as early as it may be.

    may_begin: of a lift, when the other crew is so far; None: at once.
    """
    first = _first(one) or 0
    start = one.here if one.here is not None else max(first, (one.over or first) - takes)
    if one.over is not None:
        return start, one.over
    return start, max(max(start, may_begin or start) + takes, now)


def _lifted(job: Job, start: int, end: int, takes: int, meets: AtLifts) -> int:
    """Return when a visit ends of which `end` is the end by itself, once its lift is over.

    As much is left to do then as after the latest minute at which the lift may be: what comes later is waited for.
    """
    if job.assist is None or job.id not in meets.lifted:
        return end
    return max(end, meets.lifted[job.id] + takes - job.assist.to_min - job.assist.minutes)


def _by_yard(plan: DayPlan, place: int, n: int, free: int, *, is_noted: bool) -> Callable[[int], int]:
    """Return what gives, of the minute at which the crew sets out for stop n, when it is there; it is free at `free`.

    Where it has to take on a load first it comes from the yard. Who has said when it was done, and sets out sooner than
    it can be in the yard, has the load still before it.
    """
    load = max((r for r in range(place + 1, n) if plan.route.stops[r - 1].reload), default=None)
    if load is None:
        return lambda leave: leave + plan.drive(place, n, leave)
    stop = plan.route.stops[load - 1]
    there = free + plan.drive(place, load, free)

    def arrives(leave: int) -> int:
        if is_noted and leave < there:
            leave += plan.drive(place, load, leave) + stop.end - stop.start
        return leave + plan.drive(load, n, leave)

    return arrives


def _rested(rule: RestRule, leave: int, arrive: int, drive: Callable[[int], int]) -> tuple[int, int]:
    """Return when the crew rests between leaving one place and being ready at the next, and when it is ready.

    After the drive; before it where it would be too late after it. `drive`: the minutes of the drive by when it begins.
    """
    if arrive <= rule.latest:
        rest = max(arrive, rule.earliest)
        return rest, rest + rule.length
    rest = max(leave, rule.earliest)
    left = rest + rule.length
    return rest, max(left + max(drive(left), arrive - leave), rule.latest + rule.length)


def _begin(job: Job, day: int, planned: Stop, ready: int, told: int | None) -> tuple[int, bool]:
    """Return when work begins that the crew is `ready` for, and whether a work window holds it."""
    firm = job.booked is not None and job.booked.hold == "firm"
    early = max(ready, planned.start if firm else planned.start - RETIME_FROM_MIN)
    if told is not None and not firm:  # the planned minute may lie half an hour before the one that was told
        early = max(early, told - RETIME_FROM_MIN)
    takes = planned.end - planned.start
    held = [max(early, w.start) for w in job.windows if w.day == day and max(early, w.start) + takes <= w.end]
    return (min(held), True) if held else (early, False)
