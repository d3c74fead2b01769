"""A day under way as a week and its routes: what has happened stands fixed in it, and the auditor judges the rest.

Every visit of a crew that is looked at takes the minutes that it took, or is to be expected to take, and what has begun
is bound to its own. A limit that the day as it goes has broken already (a work window, the latest hour, the rest) is
widened just so far for that crew: what has happened cannot be mended, and no plan of the rest may make it worse.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from scheduler.expected import DayPlan, Expected, ExpectedDay, Taps
from scheduler.plan import Plan, Route, Stop
from scheduler.price import outings, price, visits
from scheduler.promises import broken_promises
from scheduler.week import Job, RestRule, Week, Window

BEGUN = ("over", "there", "on the way")


@dataclass(frozen=True, slots=True)
class CrewUnderWay:
    """A crew's day under way: planned, noted, and as it goes (`scheduler.expected`); minutes after midnight."""

    plan: DayPlan
    noted: Mapping[str, Taps]
    out: int | None
    back: int | None
    day: ExpectedDay

    @property
    def begun(self) -> tuple[str, ...]:
        """The visits that are done, under way or being driven to, in the order in which they were begun."""
        return tuple(one.job for one in self.day.visits if one.state in BEGUN)

    @property
    def ahead(self) -> tuple[str, ...]:
        """The visits that nothing is noted of and that are still to come, in order."""
        return tuple(one.job for one in self.day.visits if one.state == "ahead")

    @property
    def is_out(self) -> bool:
        """Whether the crew has left the yard."""
        return self.out is not None or bool(self.begun)


def frozen_week(week: Week, day: int, crews: Mapping[str, CrewUnderWay]) -> tuple[Week, tuple[Route, ...]]:
    """Return `week` with the day of these crews frozen as it goes, and their routes in it, which keep its rules.

    `week` is one whose rules their planned routes keep. A crew that passed a visit by, with nothing noted of it, cannot
    be frozen: nobody knows where it has been (`ValueError`).
    """
    frozen: dict[str, Job] = {}
    shifts: dict[str, tuple[int, int]] = {}
    routes = []
    rule = week.rest
    jobs = {job.id: job for job in week.jobs}
    for name, running in crews.items():
        if any(one.state == "passed by" for one in running.day.visits):
            raise ValueError(f"{name} has passed a visit by")
        stops = timed_stops(week, name, running.day)
        begun = set(running.begun)
        kept = {one.job: one.in_window for one in running.day.visits}
        for stop in stops:
            held = kept[stop.job] and stop.job not in begun
            frozen[stop.job] = _frozen(jobs[stop.job], day, stop, bound=stop.job in begun, held=held)
        depart, back = departure(week, name, running, stops), running.day.back
        shift = running.plan.shift
        shifts[name] = min(shift.start, depart), max(shift.overtime, back - shift.end)
        made = Route(name, day, depart, back, running.plan.route.helpers, None, tuple(stops))
        if rule is not None:
            made, rule = _with_own_rest(week, made, rule)
        routes.append(made)
    changed = replace(
        week,
        rest=rule,
        jobs=tuple(frozen.get(job.id, job) for job in week.jobs),
        crews=tuple(
            crew if crew.id not in shifts else replace(crew, shifts=tuple(
                s if s.day != day else replace(s, start=shifts[crew.id][0], overtime=shifts[crew.id][1])
                for s in crew.shifts
            ))
            for crew in week.crews
        ),
    )  # fmt: skip
    return changed, tuple(routes)


def route_in(week: Week, day: int, crew: str, running: CrewUnderWay, then: ExpectedDay) -> Route | None:
    """Return the route of a frozen crew as `then` has the rest of its day; None where it has no stop left at all.

    Its rest is taken where the rule of `week` and the times let it be, and left out where they do not.
    """
    stops = timed_stops(week, crew, then)
    if not stops:
        return None
    route = Route(
        crew, day, departure(week, crew, running, stops), then.back, running.plan.route.helpers, None, tuple(stops)
    )
    if week.rest is None or route.back - route.depart <= week.rest.after:
        return route
    return replace(route, rest=_rest_at(week, route, week.rest))


def plan_with(week: Week, plan: Plan, routes: Iterable[Route | None], touched: Iterable[tuple[str, int]]) -> Plan:
    """Return `plan` with the routes of the crew days `touched` put in their place, all stated as it is in `week`."""
    gone = set(touched)
    left = [route for route in plan.routes if (route.crew, route.day) not in gone]
    number = {crew.id: n for n, crew in enumerate(week.crews)}
    made = sorted([*left, *(r for r in routes if r is not None)], key=lambda r: (r.day, number.get(r.crew, 0)))
    done = visits(outings(week, made))
    skipped = tuple(one for one in plan.skipped if one.job not in done)
    return Plan(
        "plan/1", week.id, plan.engine, 0.0, tuple(made), skipped, broken_promises(week, done), price(week, made), None
    )


def departure(week: Week, crew: str, running: CrewUnderWay, stops: Sequence[Stop]) -> int:
    """Return when the crew left the yard, or has to leave it for the first of `stops`."""
    first = next(job for job in week.jobs if job.id == stops[0].job)
    latest = stops[0].start - _drives(week, crew)(None, first.id)
    return latest if running.out is None else min(running.out, latest)


def timed_stops(week: Week, crew: str, day: ExpectedDay) -> list[Stop]:
    """Return the stops of a day as it goes; one that was reached sooner than its drive says begins as late as that."""
    drive = _drives(week, crew)
    found: list[Stop] = []
    for n, one in enumerate(day.visits):
        start = one.start
        if found:
            start = max(start, found[-1].end + drive(found[-1].job, one.job))
        found.append(Stop(one.job, start, max(start, _end(one, day.visits[n + 1 :]))))
    return found


def _drives(week: Week, crew: str) -> Callable[[str | None, str], int]:
    """Return what gives the minutes from one visit (None: the crew's yard) to another."""
    place = {p.id: n for n, p in enumerate(week.places)}
    jobs = {job.id: place[job.place] for job in week.jobs}
    yard = next(one.yard for one in week.crews if one.id == crew)
    home = next(place[one.place] for one in week.yards if one.id == yard)
    return lambda a, b: week.travel.minutes[home if a is None else jobs[a]][jobs[b]]


def _end(one: Expected, later: Sequence[Expected]) -> int:
    """Return when a visit ended: at the latest when the next one that is noted began, whatever was noted of it."""
    begun = [other.start for other in later[:1] if other.state in ("over", "there")]
    return min([one.end, *begun])


def _frozen(job: Job, day: int, stop: Stop, *, bound: bool, held: bool) -> Job:
    """Return the job with the minutes of `stop`, and a work window of its own where nothing else holds it."""
    windows = job.windows
    risk = max((w.risk_cents for w in job.windows if w.day == day), default=0)
    own = Window(day, stop.start, max(stop.end, stop.start + 1), risk)
    if bound:
        windows = (*(w for w in windows if w.day != day), own)
    elif not held:
        windows = (*windows, own)
    return replace(job, minutes=stop.end - stop.start, windows=windows)


def _with_own_rest(week: Week, route: Route, rule: RestRule) -> tuple[Route, RestRule]:
    """Return the route with its rest, and the rule widened so far that it keeps it as the day goes."""
    length = route.back - route.depart
    if length <= rule.after:
        return route, rule
    at = _rest_at(week, route, rule)
    if at is None:
        at = _rest_at(week, route, replace(rule, earliest=0, latest=10_000))
        if at is None:  # it has worked through: no rest can be given to it any more
            return route, replace(rule, after=length)
        rule = replace(rule, earliest=min(rule.earliest, at), latest=max(rule.latest, at))
    return replace(route, rest=at), rule


def _rest_at(week: Week, route: Route, rule: RestRule) -> int | None:
    """Return the first minute at which a rest that keeps `rule` begins, between two stops of the route or before home.

    The auditor's own rule: at the place left before a drive, or at the place reached after it; never in the yard.
    """
    [out] = outings(week, (route,))
    moments = [route.depart, *(m for stop in route.stops for m in (stop.start, stop.end)), route.back]
    last = len(route.stops)
    for n, (free, due, drive) in enumerate(zip(moments[::2], moments[1::2], out.drives_min, strict=True)):
        for begin, end, allowed in ((free, due - drive, n > 0), (free + drive, due, n < last)):
            at = max(begin, rule.earliest)
            if allowed and at <= rule.latest and at + rule.length <= end:
                return at
    return None
