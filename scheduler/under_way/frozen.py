"""A day under way as a week and its routes: what has happened stands fixed in it, and the auditor judges the rest.

Every visit of a crew that is looked at takes the minutes that it took, or is to be expected to take, and what has begun
is bound to its own. A limit that the day as it goes has broken already (a work window, the latest hour, the rest, when
a second crew may come) is widened just so far for that crew: what has happened cannot be mended, and no plan of the
rest may make it worse.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from msgspec.structs import replace

from scheduler.plan import Plan, Route, Route2, Stop
from scheduler.price import outings
from scheduler.reports.promises import stated_plan
from scheduler.under_way.calls import CrewUnderWay, drives, timed_stops
from scheduler.under_way.expected import ExpectedDay
from scheduler.week import Job, Job2, RestRule, Week, Window


def frozen_week(week: Week, day: int, crews: Mapping[str, CrewUnderWay]) -> tuple[Week, tuple[Route, ...]]:
    """Return `week` with the day of these crews frozen as it goes, and their routes in it, which keep its rules.

    `week` is one whose rules their planned routes keep; with a crew come all that it meets at lifts. A crew that passed
    a visit by, with nothing noted of it, cannot be frozen: nobody knows where it has been (`ValueError`).
    """
    shifts: dict[str, tuple[int, int]] = {}
    routes = []
    rule = week.rest
    jobs = {job.id: job for job in week.jobs}
    frozen: dict[str, Job] = {}
    stops = _stops(week, crews)
    lifts = {stop.assist: stop for each in stops.values() for stop in each if stop.assist}
    planned = {stop.assist for running in crews.values() for stop in running.plan.route.stops if stop.assist}
    for name, running in crews.items():
        if any(one.state == "passed by" for one in running.day.visits):
            raise ValueError(f"{name} has passed a visit by")
        begun, kept = set(running.begun), {one.job: one for one in running.day.visits}
        depart, back = departure(week, name, running, stops[name]), _home(week, name, running.day, stops[name])
        pause = _pause(running, stops[name], back - depart)
        for stop in stops[name]:
            if not stop.job:
                continue
            rest = rule.length if rule is not None and pause is not None and pause[0] == stop.job else 0
            held = kept[stop.job].in_window and stop.job not in begun
            one = _frozen(jobs[stop.job], day, stop, rest, bound=stop.job in begun, held=held)
            if stop.job in planned:
                is_begun = any(stop.job in each.lifts_begun for each in crews.values())
                one = _met(one, stop, lifts.get(stop.job), rest, is_begun=is_begun)
            frozen[stop.job] = one
        shift = running.plan.shift
        shifts[name] = min(shift.start, depart), max(shift.overtime, back - shift.end)
        made = route_of(week, name, day, depart, back, running.plan.route.helpers, stops[name])
        if rule is not None:
            made, rule = _with_own_rest(week, made, rule, None if pause is None else pause[1])
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


def never_met(week: Week, crews: Mapping[str, CrewUnderWay]) -> tuple[str, ...]:
    """Return the visits whose two crews were never there at the same time, by what is noted.

    crews: as of `frozen_week`, which cannot freeze them then.
    """
    stops = [stop for each in _stops(week, crews).values() for stop in each]
    own = {stop.job: stop for stop in stops if stop.job}
    return tuple(s.assist for s in stops if s.assist in own and not _is_within(own[s.assist], s))


def route_in(week: Week, day: int, crew: str, running: CrewUnderWay, then: ExpectedDay) -> Route | None:
    """Return the route of a frozen crew as `then` has the rest of its day; None where it has no stop left at all.

    Its rest is taken where the rule of `week` and the times let it be, and left out where they do not.
    """
    stops = _as_frozen(week, day, timed_stops(week, crew, running, then), running.lifts_begun)
    while stops and stops[-1].reload:  # taken on for visits that now go to others: it is on its way home by then
        stops.pop()
    if not any(stop.job or stop.assist for stop in stops):
        return None
    depart, back = departure(week, crew, running, stops), _home(week, crew, then, stops)
    route = route_of(week, crew, day, depart, back, running.plan.route.helpers, stops)
    if week.rest is None or route.back - route.depart <= week.rest.after:
        return route
    pause = _pause(running, stops, back - depart)
    if pause is not None and pause[0] in running.begun:
        return replace(route, rest=pause[1])
    return replace(route, rest=_rest_at(week, route, week.rest))


def route_of(
    week: Week, crew: str, day: int, depart: int, back: int, helpers: int, stops: Sequence[Stop]
) -> Route:  # fmt: skip
    """Return a route without a rest, of the week's format."""
    made: Any = Route2 if week.format == "week/2" else Route
    route: Route = made(crew, day, depart, back, helpers, None, tuple(stops))
    return route


def plan_with(week: Week, plan: Plan, routes: Iterable[Route | None], touched: Iterable[tuple[str, int]]) -> Plan:
    """Return `plan` with the routes of the crew days `touched` put in their place, all stated as it is in `week`."""
    gone = set(touched)
    left = [route for route in plan.routes if (route.crew, route.day) not in gone]
    number = {crew.id: n for n, crew in enumerate(week.crews)}
    made = sorted([*left, *(r for r in routes if r is not None)], key=lambda r: (r.day, number.get(r.crew, 0)))
    done = {stop.job for out in outings(week, made) for stop, _ in out.stops}
    skipped = tuple(one for one in plan.skipped if one.job not in done)
    return stated_plan(week, plan.engine, made, skipped)


def departure(week: Week, crew: str, running: CrewUnderWay, stops: Sequence[Stop]) -> int:
    """Return when the crew left the yard, or has to leave it for the first of `stops`."""
    latest = stops[0].start - drives(week, crew)(None, stops[0].job or stops[0].assist or None)
    return latest if running.out is None else min(running.out, latest)


def _home(week: Week, crew: str, day: ExpectedDay, stops: Sequence[Stop]) -> int:
    last = stops[-1]
    return max(day.back, last.end + drives(week, crew)(last.job or last.assist or None, None))


def _frozen(job: Job, day: int, stop: Stop, rest: int, *, bound: bool, held: bool) -> Job:
    """Return the job with the minutes of `stop`, less its `rest`, and a work window of its own where no other holds."""
    windows = job.windows
    risk = max((w.risk_cents for w in job.windows if w.day == day), default=0)
    own = Window(day, stop.start, max(stop.end, stop.start + 1), risk)
    if bound:
        windows = (*(w for w in windows if w.day != day), own)
    elif not held:
        windows = (*windows, own)
    return replace(job, minutes=stop.end - stop.start - rest, windows=windows)


def _stops(week: Week, crews: Mapping[str, CrewUnderWay]) -> dict[str, list[Stop]]:
    """Return the stops of each crew as its day goes, lifts that have begun within their visits where they can be."""
    stops = {name: timed_stops(week, name, running, running.day) for name, running in crews.items()}
    own = {stop.job: stop for each in stops.values() for stop in each if stop.job}
    return {name: _within(each, crews[name].lifts_begun, own) for name, each in stops.items()}


def _is_within(visit: Stop, lift: Stop) -> bool:
    return visit.start <= lift.start and lift.end <= visit.end


def _within(stops: Sequence[Stop], begun: Collection[str], own: Mapping[str, Stop]) -> list[Stop]:
    """Return a crew's stops with its lifts that are `begun` within the visits themselves, by what the other crew noted.

    Who came before the job's own crew waited for it, and nobody lifts once the work is done.
    """
    found = []
    for stop in stops:
        visit = own.get(stop.assist)
        if visit is not None and stop.assist in begun and visit.start < visit.end:
            start = min(max(stop.start, visit.start), visit.end - 1, max(stop.start, stop.end - 1))
            stop = replace(stop, start=start, end=max(start + 1, min(stop.end, visit.end)))
        found.append(stop)
    return found


def _as_frozen(week: Week, day: int, stops: Sequence[Stop], begun: Collection[str]) -> list[Stop]:
    """Return a crew's stops with its lifts that are `begun` as the frozen `week` binds them.

    At one minute of the visit, which is bound to its own window.
    """
    jobs = {job.id: job for job in week.jobs}
    found = []
    for stop in stops:
        if stop.assist in begun and (asked := jobs[stop.assist].assist) is not None:
            start = next(w.start for w in jobs[stop.assist].windows if w.day == day) + asked.to_min
            stop = replace(stop, start=start, end=start + asked.minutes)
        found.append(stop)
    return found


def _met(job: Job, stop: Stop, lift: Stop | None, rest: int, *, is_begun: bool) -> Job:
    """Return the job, its second crew wanted when it comes: for as long, and where it has come at no other minute.

    lift: where the second crew has it; None: it is needed no more. Raises `ValueError` where the two were never there
    at the same time, by what is noted.
    """
    assert isinstance(job, Job2)
    if lift is None or job.assist is None:
        return replace(job, assist=None)
    at, minutes = lift.start - stop.start, lift.end - lift.start
    if not _is_within(stop, lift):
        raise ValueError(f"the lift of {job.id} lies outside its visit")
    last = at if is_begun else max(at, min(job.assist.to_min, job.minutes + rest - minutes))
    return replace(job, assist=replace(job.assist, minutes=minutes, from_min=min(at, job.assist.from_min), to_min=last))


def _pause(running: CrewUnderWay, stops: Sequence[Stop], out_min: int) -> tuple[str, int] | None:
    """Return the visit within which the crew rests, as it was planned to, and when; None: it rests between stops."""
    rule, planned = running.plan.rest, running.paused
    if rule is None or planned is None or running.plan.route.rest is None or out_min <= rule.after:
        return None
    for stop in stops:
        at = stop.start + running.plan.route.rest - planned.start
        if stop.job == planned.job and at + rule.length < stop.end:
            return stop.job, at
    return None


def _with_own_rest(week: Week, route: Route, rule: RestRule, pause: int | None) -> tuple[Route, RestRule]:
    """Return the route with its rest, and the rule widened so far that it keeps it as the day goes.

    pause: when it rests within a visit; None: it does between two stops.
    """
    length = route.back - route.depart
    if length <= rule.after:
        return route, rule
    at = _rest_at(week, route, rule) if pause is None else pause
    if at is None:
        at = _rest_at(week, route, replace(rule, earliest=0, latest=10_000))
        if at is None:  # it has worked through: no rest can be given to it any more
            return route, replace(rule, after=length)
    return replace(route, rest=at), replace(rule, earliest=min(rule.earliest, at), latest=max(rule.latest, at))


def _rest_at(week: Week, route: Route, rule: RestRule) -> int | None:
    """Return the first minute at which a rest that keeps `rule` begins, between two stops of the route or before home.

    The auditor's own rule: at the place left before a drive, or at the place reached after it; never in the yard that
    is left in the morning or reached at the end.
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
