"""The rest of a running day in another order, timed by the rules of the day as it goes (`expected`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from msgspec.structs import replace

from scheduler.plan import Stop, Stop2
from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.calls import Call, CrewUnderWay, places_of
from scheduler.under_way.expected import DayPlan, ExpectedDay, Taps
from scheduler.under_way.expected_lifts import CrewNotes, expected_days
from scheduler.week import Booking, Job, Week


@dataclass(frozen=True, slots=True)
class Detour:
    """A place that a crew comes by on its way to `visit`: from `since` on, and not after `until` (None: any time)."""

    visit: str
    place: str
    since: int
    until: int | None


@dataclass(frozen=True, slots=True)
class TimedOn:
    """What the rest of a day is timed on: its week, what customers know of, what is noted of lifts, and the minute."""

    week: Week
    promised: Mapping[str, Booking]
    lifts: Mapping[str, Taps]
    now: int


def retimed_days(
    ground: TimedOn,
    crews: Mapping[str, CrewUnderWay],
    orders: Mapping[str, Sequence[Call]],
    detours: Mapping[str, Detour] = {},
) -> dict[str, ExpectedDay]:
    """Return how the days of `crews` go on when what is still ahead of some of them is that of `orders`, in that order.

    crews: with each all that it meets at lifts. orders: by crew, also with visits of other crews; what has begun stays
    before them; the others go on as planned. No visit begins sooner than its customer expects, no lift sooner than
    posted. detours: by crew, on the way to one of its `orders`; `until` is not asked.
    """
    changed = {
        name: _Order(ground, crews[name], name, order, detours.get(name)) for name, order in orders.items()
    }  # fmt: skip
    out = {name: one for name, one in crews.items() if name not in changed or changed[name].calls}
    told = {
        job.id: booking.start for name, one in out.items() if name not in changed for job in one.plan.jobs
        if (booking := ground.promised.get(job.id)) is not None and booking.day == one.plan.route.day
    }  # fmt: skip
    days: dict[str, ExpectedDay] = {}
    # The rest falls before the first stop that begins late enough for it: known only once the rest of the day is.
    for _ in range(2):
        plans = {name: changed[name].plan() if name in changed else one.plan for name, one in out.items()}
        notes = {name: CrewNotes(plans[name], one.noted, one.out, one.back, one.loads) for name, one in out.items()}
        days = expected_days(notes, ground.lifts, ground.now, told)
        for name in changed.keys() & days.keys():
            changed[name].learn(days[name])
    return {name: days[name] if name in days else ExpectedDay((), ground.now, None, 0) for name in crews}


@dataclass
class _Order:
    """A crew's day with another order of what is ahead, and when its stops begin as far as that is known."""

    ground: TimedOn
    running: CrewUnderWay
    crew: str
    order: Sequence[Call]
    detour: Detour | None
    calls: list[Call] = field(init=False)
    starts: dict[int, int] = field(init=False)

    def __post_init__(self) -> None:
        planned = self.running.plan.route.stops
        begun = [planned[one.stop - 1] for one in self.running.calls_begun]
        self._begun = [Call("load" if s.reload else "visit" if s.job else "lift", s.job or s.assist) for s in begun]
        self.calls = [*self._begun, *self.order]
        self.starts = {n: stop.start for n, stop in enumerate(begun)}
        self._lengths = {n: stop.end - stop.start for n, stop in enumerate(begun)}
        posted = {("lift" if s.assist else "visit", s.job or s.assist): s for s in planned if not s.reload}
        jobs = {job.id: job for job in self.ground.week.jobs}
        rule, paused = self.running.plan.rest, self.running.paused
        self._work: list[Job | None] = []
        for n, call in enumerate(self.calls):
            stop = posted.get((call.kind, call.job))
            if n >= len(begun):
                if call.kind == "load":
                    self._lengths[n] = 0 if self.ground.week.reload is None else self.ground.week.reload.minutes
                else:
                    self._lengths[n] = jobs[call.job].minutes if stop is None else stop.end - stop.start
                if call.kind == "lift" and stop is not None:
                    self.starts[n] = stop.start
                if call.kind == "visit" and paused is not None and rule is not None and call.job == paused.job:
                    self._lengths[n] -= rule.length  # it rests between stops, as the day is now
            self._work.append(self._job(jobs[call.job], is_begun=n < len(begun)) if call.kind == "visit" else None)
        self._drives = self._drive_min()

    def _job(self, job: Job, *, is_begun: bool) -> Job:
        early = None if is_begun else _not_before(self.ground.promised.get(job.id), self.running.plan.route.day)
        if self.detour is not None and job.id == self.detour.visit:
            week = self.ground.week
            place = {p.id: n for n, p in enumerate(week.places)}
            reached = self.detour.since + week.travel.minutes[place[self.detour.place]][place[job.place]]
            early = max(early or 0, reached)
        return replace(_from(job, self.running.plan.route.day, early), booked=None)

    def _drive_min(self) -> tuple[tuple[int, ...], ...]:
        week = self.ground.week
        place = {p.id: n for n, p in enumerate(week.places)}
        at = [place[one] for one in places_of(week, self.crew, [Call("load", ""), *self.calls])]
        drives = [[week.travel.minutes[a][b] for b in at] for a in at]
        if self.detour is not None:
            via, n = place[self.detour.place], self.calls.index(Call("visit", self.detour.visit)) + 1
            for row, here in zip(drives, at, strict=True):
                row[n] = week.travel.minutes[here][via] + week.travel.minutes[via][at[n]]
        return tuple(map(tuple, drives))

    def plan(self) -> DayPlan:
        stops = []
        for n, call in enumerate(self.calls):
            start = self.starts.get(n, 0)
            end = start + self._lengths[n]
            if call.kind == "visit":
                stops.append(Stop(call.job, start, end))
            elif call.kind == "lift":
                stops.append(Stop2(assist=call.job, start=start, end=end))
            else:
                stops.append(Stop2(reload=True, start=start, end=end))
        before = self.running.plan
        route = replace(before.route, stops=tuple(stops))
        return DayPlan(route, before.shift, tuple(self._work), self._drives, before.rest, before.by_hour)

    def learn(self, day: ExpectedDay) -> None:
        """Take what is ahead to be planned when it is expected; lifts stay where they were posted."""
        for one in day.calls:
            if one.stop > len(self._begun) and one.kind != "lift":
                self.starts[one.stop - 1] = one.start


def _not_before(booking: Booking | None, day: int) -> int | None:
    """Return the first minute at which the customer expects the crew, None where it may come at any."""
    if booking is None or booking.day != day:
        return None
    return booking.start if booking.hold == "firm" else booking.start - RETIME_FROM_MIN


def _from(job: Job, day: int, early: int | None) -> Job:
    """Return the job with the windows of `day` cut where they lie before `early`."""
    if early is None:
        return job
    windows = tuple(
        replace(w, start=max(w.start, early)) for w in job.windows if w.day == day and max(w.start, early) < w.end
    )
    return replace(job, windows=windows)
