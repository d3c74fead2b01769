"""What a plan costs, worked out from the week and the routes alone, whatever the plan itself states.

Nothing here knows the engine, so that the engine's own arithmetic can be held against it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from scheduler.plan import Cost, Cost2, Route, Stop
from scheduler.week import Booking, Crew, Job, RestRule, Shift, Week

RETIME_FROM_MIN = 30  # a start further than this from the booked one has to be told to the customer


@dataclass(frozen=True, slots=True)
class Outing:
    """A route with what it stands on: its crew, the shift, each stop with its job, and the road under it.

    `calls` are all stops, with the job done or assisted there (None: a reload). `drives_min` has one more entry: yard
    to first stop, stop to stop, last stop to yard. `metres` is the length of the whole round.
    """

    route: Route
    crew: Crew
    shift: Shift
    calls: tuple[tuple[Stop, Job | None], ...]
    drives_min: tuple[int, ...]
    metres: int

    @property
    def stops(self) -> tuple[tuple[Stop, Job], ...]:
        """The stops at which a job is done."""
        return tuple((stop, job) for stop, job in self.calls if job is not None and stop.job)

    @property
    def assists(self) -> tuple[tuple[Stop, Job], ...]:
        """The stops at which another crew's job is assisted."""
        return tuple((stop, job) for stop, job in self.calls if job is not None and stop.assist)

    @property
    def loads(self) -> tuple[tuple[Job, ...], ...]:
        """The jobs done of each load: those up to the first reload, from there to the next, and so on."""
        parts: list[list[Job]] = [[]]
        for stop, job in self.calls:
            if job is None:
                parts.append([])
            elif stop.job:
                parts[-1].append(job)
        return tuple(tuple(part) for part in parts)

    @property
    def out_min(self) -> int:
        """Minutes from leaving the yard to being back."""
        return self.route.back - self.route.depart

    def paused(self, rule: RestRule | None) -> Stop | None:
        """Return the stop within whose service the crew rests; None: it rests between stops, or not at all."""
        at = self.route.rest
        if rule is None or not rule.within or at is None or self.out_min <= rule.after:
            return None
        return next((s for s, job in self.stops if job.pausable and s.start < at and at + rule.length < s.end), None)

    @property
    def overtime_min(self) -> int:
        """Minutes past the shift's end."""
        return max(0, self.route.back - self.shift.end)

    @property
    def from_pool(self) -> dict[str, int]:
        """What the route takes of the yard's pool: the most of each item that one job needs, less what is on board."""
        need: dict[str, int] = {}
        for _, job in self.stops:
            for item, n in job.equipment.items():
                need[item] = max(n, need.get(item, 0))
        return {item: max(0, n - self.crew.onboard.get(item, 0)) for item, n in need.items()}


@dataclass(frozen=True, slots=True)
class Visit:
    """When, and by whom, a job is done."""

    crew: str
    day: int
    start: int
    end: int


def outings(week: Week, routes: Iterable[Route]) -> tuple[Outing, ...]:
    """Return the routes that can go out at all, in their order.

    A route goes out where the week knows its crew, the crew works that day and at least one stop is a job of the week;
    stops that are none are left out. What does not go out costs nothing, and its jobs count as not planned.
    """
    places = {place.id: n for n, place in enumerate(week.places)}
    yards = {yard.id: places[yard.place] for yard in week.yards}
    crews = {crew.id: crew for crew in week.crews}
    shifts = {(crew.id, shift.day): shift for crew in week.crews for shift in crew.shifts}
    jobs = {job.id: job for job in week.jobs}
    found = []
    for route in routes:
        crew, shift = crews.get(route.crew), shifts.get((route.crew, route.day))
        calls = tuple(
            (stop, jobs.get(stop.job or stop.assist))
            for stop in route.stops
            if stop.reload or (stop.job or stop.assist) in jobs
        )
        if crew is None or shift is None or not any(job for _, job in calls):
            continue
        home = yards[crew.yard]
        round_trip = [home, *(home if job is None else places[job.place] for _, job in calls), home]
        legs = list(pairwise(round_trip))
        drives = tuple(week.travel.minutes[a][b] for a, b in legs)
        metres = sum(week.travel.metres[a][b] for a, b in legs)
        found.append(Outing(route, crew, shift, calls, drives, metres))
    return tuple(found)


def visits(out: Sequence[Outing]) -> dict[str, Visit]:
    """Return the visit of each planned job by the job's id; of a job planned twice, the last."""
    return {job.id: Visit(o.route.crew, o.route.day, stop.start, stop.end) for o in out for stop, job in o.stops}


def risks(job: Job, day: int, start: int, end: int) -> list[int]:
    """Return `risk_cents` of every window of `job` that holds a service from `start` to `end` that day; empty: none."""
    return [w.risk_cents for w in job.windows if w.day == day and w.start <= start and end <= w.end]


def is_kept(booking: Booking, visit: Visit | None) -> bool:
    """Whether the visit keeps what was promised: crew, day and start of a firm booking, the day of any other."""
    if visit is None or visit.day != booking.day:
        return False
    return booking.hold != "firm" or (visit.crew == booking.crew and visit.start == booking.start)


def price(week: Week, routes: Iterable[Route]) -> Cost:
    """Return the cost in cents, by kind, of sending out `routes` in `week` and leaving every other job undone.

    Needs no plan that keeps the rules: each kind is counted for what it is. See `outings` for routes that cannot be.
    """
    return price_outings(week, outings(week, routes))


def price_outings(week: Week, out: Sequence[Outing]) -> Cost:
    """Return what `price` does, for routes resolved already."""
    done = visits(out)
    undone = [job for job in week.jobs if job.id not in done]
    crews = sum(o.crew.day_cents + o.crew.minute_cents * (o.route.back - o.route.depart) for o in out)
    travel = sum((o.crew.km_cents * o.metres + 500) // 1000 for o in out)
    overtime = sum(o.crew.overtime_minute_cents * o.overtime_min for o in out)
    day_cents = {(h.yard, h.day): h.day_cents for h in week.helpers}
    helpers = sum(o.route.helpers * day_cents.get((o.crew.yard, o.route.day), 0) for o in out)
    risk = sum(min(risks(job, o.route.day, stop.start, stop.end), default=0) for o in out for stop, job in o.stops)
    late = sum(
        job.late_cents * max(0, done[job.id].day - job.due_day)
        for job in week.jobs
        if job.due_day is not None and job.id in done
    )
    changes = sum(
        change_cents(job.booked, done.get(job.id), week.broken_cents) for job in week.jobs if job.booked is not None
    )
    skipped = sum(job.skip_cents for job in undone)
    kinds = {
        "crews": crews,
        "travel": travel,
        "overtime": overtime,
        "helpers": helpers,
        "risk": risk,
        "late": late,
        "changes": changes,
        "skipped": skipped,
    }
    if week.format == "week/1":
        return Cost(total=sum(kinds.values()), **kinds)
    weekly = weekly_cents(out)
    return Cost2(total=sum(kinds.values()) + weekly, **kinds, weekly=weekly)


def weekly_cents(out: Sequence[Outing]) -> int:
    """Return what minutes out past each crew's weekly ones cost, in cents."""
    minutes: Counter[tuple[str, int]] = Counter()
    crews = {o.crew.id: o.crew for o in out}
    for o in out:
        minutes[o.crew.id, o.route.day // 7] += o.out_min
    return sum(
        weekly.cents * max(0, n - weekly.minutes)
        for (crew, _), n in minutes.items()
        if (weekly := crews[crew].weekly) is not None
    )


def change_cents(booking: Booking, visit: Visit | None, broken_cents: int) -> int:
    """Return what it costs that `visit` (None: not planned) differs from what the customer was told.

    A firm or day booking not kept costs `broken_cents` and nothing else; a soft one not planned or on another day its
    `move_cents`. A kept one costs extra for another crew and for a start more than 30 minutes off: never a firm one,
    which is kept only by its own crew at its own minute.
    """
    if visit is None or not is_kept(booking, visit):
        return booking.move_cents if booking.hold == "soft" else broken_cents
    recrew = booking.recrew_cents if visit.crew != booking.crew else 0
    retime = booking.retime_cents if abs(visit.start - booking.start) > RETIME_FROM_MIN else 0
    return recrew + retime


def undone_cents(week: Week, job: Job) -> int:
    """Return what it costs to leave `job` out of the week: its skip price and that of its booking not kept."""
    return job.skip_cents + (0 if job.booked is None else change_cents(job.booked, None, week.broken_cents))
