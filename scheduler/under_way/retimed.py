"""The rest of a running day in another order, timed by the rules of the day as it goes (`scheduler.expected`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from scheduler.expected import DayPlan, ExpectedDay, expected_day
from scheduler.plan import Stop
from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.frozen import CrewUnderWay
from scheduler.week import Booking, Job, Week


@dataclass(frozen=True, slots=True)
class Detour:
    """A place that a crew comes by on its way to `visit`: from `since` on, and not after `until` (None: any time)."""

    visit: str
    place: str
    since: int
    until: int | None


def retimed_day(
    week: Week,
    running: CrewUnderWay,
    crew_id: str,
    order: Sequence[str],
    promised: Mapping[str, Booking],
    now: int,
    detour: Detour | None = None,
) -> ExpectedDay:
    """Return how a crew's day goes on when the visits still ahead are those of `order`, in that order.

    order: also visits of other crews; what has begun stays before them. promised: what customers know of: no visit
    begins sooner than its customer expects. detour: on the way to one of `order`; `until` is not asked.
    """
    stops = {stop.job: stop for stop in running.plan.route.stops}
    jobs = {job.id: job for job in week.jobs}
    day = running.plan.route.day
    begun = running.begun
    names = [*begun, *order]
    if not names:
        return ExpectedDay((), now, None, 0)
    place = {p.id: n for n, p in enumerate(week.places)}
    crew = next(one for one in week.crews if one.id == crew_id)
    home = next(one.place for one in week.yards if one.id == crew.yard)
    at = [place[home], *(place[jobs[name].place] for name in names)]
    drives = [[week.travel.minutes[a][b] for b in at] for a in at]
    if detour is not None:
        via, n = place[detour.place], names.index(detour.visit) + 1
        for row, here in zip(drives, at, strict=True):
            row[n] = week.travel.minutes[here][via] + week.travel.minutes[via][at[n]]
    work = []
    for name in names:
        job = jobs[name]
        early = None if name in begun else _not_before(promised.get(name), day)
        if detour is not None and name == detour.visit:
            reached = detour.since + week.travel.minutes[place[detour.place]][place[job.place]]
            early = max(early or 0, reached)
        work.append(replace(_from(job, day, early), booked=None))
    lengths = {name: stops[name].end - stops[name].start if name in stops else jobs[name].minutes for name in names}
    starts = {name: stops[name].start for name in begun}
    # The rest falls before the first stop that begins late enough for it: known only once the rest of the day is.
    for _ in range(2):
        planned = tuple(
            Stop(name, starts.get(name, 0), starts.get(name, 0) + lengths[name]) for name in names
        )  # fmt: skip
        route = replace(running.plan.route, stops=planned)
        plan = DayPlan(
            route, running.plan.shift, tuple(work), tuple(map(tuple, drives)), running.plan.rest, running.plan.by_hour
        )
        found = expected_day(plan, running.noted, now, running.out, running.back)
        starts |= {one.job: one.start for one in found.visits if one.job not in begun}
    return found


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
