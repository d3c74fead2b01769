"""A planner for tests of everything round the engine: one job a crew and day, the dearest first, nothing clever."""

from __future__ import annotations

from collections.abc import Callable

from scheduler import Progress
from scheduler.audit import audit
from scheduler.plan import Because, Plan, Route, Skipped, Stop
from scheduler.price import price
from scheduler.week import Crew, Job, Shift, Week


def one_a_day(week: Week, *, seconds: float, report: Callable[[Progress], None] | None = None) -> Plan:
    """Return a plan that keeps every rule of `week`."""
    routes: list[Route] = []
    for job in sorted(week.jobs, key=lambda job: (-job.skip_cents, job.id)):
        taken = {(route.crew, route.day) for route in routes}
        free = [(c, s) for c in week.crews for s in c.shifts if (c.id, s.day) not in taken]
        tries = (route for crew, shift in free if (route := _alone(week, job, crew, shift)) is not None)
        good = next((route for route in tries if audit(week, _plan(week, [*routes, route])).ok), None)
        routes += [] if good is None else [good]
    if report is not None:
        report(Progress(0.0, None, None, "one job a crew and day"))
    return _plan(week, routes)


def _alone(week: Week, job: Job, crew: Crew, shift: Shift) -> Route | None:
    place = {p.id: n for n, p in enumerate(week.places)}
    yard = next(y.place for y in week.yards if y.id == crew.yard)
    out, home = (week.travel.minutes[place[a]][place[b]] for a, b in ((yard, job.place), (job.place, yard)))
    for window in job.windows:
        start = max(window.start, shift.start + out)
        if window.day == shift.day and start + job.minutes <= window.end:
            end, rest, back = start + job.minutes, None, start + job.minutes + home
            if week.rest is not None and back - (start - out) > week.rest.after:
                rest = max(end, week.rest.earliest)
                back = rest + week.rest.length + home
            stop = (Stop(job.id, start, end),)
            return Route(crew.id, shift.day, start - out, back, max(0, job.hands - crew.hands), rest, stop)
    return None


def _plan(week: Week, routes: list[Route]) -> Plan:
    done = {stop.job: route for route in routes for stop in route.stops}
    why = (Because("no_crew", "Every crew has a job that day."),)
    skipped = tuple(Skipped(job.id, why) for job in week.jobs if job.id not in done)
    broken = tuple(job.id for job in week.jobs if _is_broken(job, done.get(job.id)))
    return Plan("plan/1", week.id, "one a day", 0.0, tuple(routes), skipped, broken, price(week, routes), None)


def _is_broken(job: Job, route: Route | None) -> bool:
    told = job.booked
    if told is None or told.hold == "soft":
        return False
    if route is None or route.day != told.day:
        return True
    return told.hold == "firm" and (route.crew, route.stops[0].start) != (told.crew, told.start)
