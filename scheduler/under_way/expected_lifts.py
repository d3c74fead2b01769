"""The rest of a day of crews that meet at lifts: what one of them notes, or is late by, moves the other one's day too.

A second crew cannot begin a lift before the job's own crew is as far as that asks, and the job is not done sooner after
the lift than it would be after the latest minute at which that may be. So each waits for the other, and both days are
worked out in turn until neither moves the other any more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from scheduler.under_way.expected import AtLifts, DayPlan, ExpectedDay, Taps, expected_day


@dataclass(frozen=True, slots=True)
class CrewNotes:
    """A crew's day as it is planned and noted, in minutes after midnight; `noted` by visit, the crew's own alone.

    `out`, `back`: when it left the yard and came back to it, None where it has not. `loads` as of `expected_day`.
    """

    plan: DayPlan
    noted: Mapping[str, Taps]
    out: int | None = None
    back: int | None = None
    loads: Mapping[int, Taps] = field(default_factory=dict)


def expected_days(
    crews: Mapping[str, CrewNotes], lifts: Mapping[str, Taps], now: int, told: Mapping[str, int] = {}
) -> dict[str, ExpectedDay]:
    """Return how the day of each crew goes on, as `expected_day` does, by its id.

    lifts: what either crew noted of a lift, by visit. now: minutes after midnight. told: as of `expected_day`.
    """
    does = {job.id: crew for crew, one in crews.items() for job in one.plan.jobs if job.assist is not None}
    helps = {stop.assist: crew for crew, one in crews.items() for stop in one.plan.route.stops if stop.assist}
    posted = {stop.assist: stop.start for one in crews.values() for stop in one.plan.route.stops if stop.assist}
    noted = {crew: with_lifts(one, lifts, posted) for crew, one in crews.items()}
    meets = {crew: AtLifts(lifted=_over(one.plan, lifts)) for crew, one in crews.items()}
    days = dict[str, ExpectedDay]()
    for _ in range(2 + 2 * len(helps)):  # each lift may move its two crews in turn
        again = {
            crew: expected_day(one.plan, noted[crew], now, one.out, one.back, told, meets[crew], one.loads)
            for crew, one in crews.items()
        }
        if again == days:
            break
        days = again
        meets = {crew: _meetings(one.plan, crews, lifts, days, does, helps) for crew, one in crews.items()}
    return days


def who_meet(plans: Mapping[str, DayPlan], crews: Iterable[str]) -> set[str]:
    """Return those of `crews` that are out, and all whose day hangs on theirs: whom they meet at lifts, and so on."""
    at = {crew: {stop.assist or stop.job for stop in one.route.stops} - {""} for crew, one in plans.items()}
    lifts = {stop.assist for one in plans.values() for stop in one.route.stops if stop.assist}
    found = set(crews) & plans.keys()
    left = set(found)
    while left:
        shared = lifts & {visit for crew in left for visit in at[crew]}
        left = {crew for crew in plans.keys() - found if at[crew] & shared}
        found |= left
    return found


def with_lifts(one: CrewNotes, lifts: Mapping[str, Taps], posted: Mapping[str, int]) -> dict[str, Taps]:
    """Return what is noted of a crew's visits and of the lifts at which it helps.

    A crew at whose own visit a lift is noted has begun it: where it did not say when, as long before the lift as is
    planned, but not before what it noted last. A lift of which the end alone is noted took as long as planned.
    posted: when lifts are planned to begin, by visit.
    """
    noted = dict(one.noted)
    for stop in one.plan.route.stops:
        if stop.assist in lifts:
            lift = lifts[stop.assist]
            came = lift.over - stop.end + stop.start if lift.here is None and lift.over is not None else lift.here
            noted[stop.assist] = replace(lift, here=came)
        first = _begins(lifts[stop.job]) if stop.job in lifts else None
        own = noted.get(stop.job, Taps())
        if first is None or own.here is not None or own.over is not None:
            continue
        taps = [*noted.values(), *one.loads.values()]
        known = [m for tap in taps for m in (tap.on_way, tap.here, tap.over) if m is not None and m <= first]
        here = first - max(0, posted.get(stop.job, stop.start) - stop.start)
        noted[stop.job] = replace(own, here=max([here, *known]))
    return noted


def waited_min(job_start: int, lift: Taps, to_min: int, minutes: int) -> int:
    """Return how many minutes a job's own crew waited for the second one.

    It came after the latest minute at which the lift may be, `to_min` after the begin of the job. Where nobody noted
    when it came, it is taken to have been so long before the end as the lift takes (`minutes`).
    """
    came = lift.here if lift.here is not None else None if lift.over is None else lift.over - minutes
    return 0 if came is None else max(0, came - job_start - to_min)


def _begins(lift: Taps) -> int | None:
    return lift.here if lift.here is not None else lift.over


def _over(plan: DayPlan, lifts: Mapping[str, Taps]) -> dict[str, int]:
    """Return when the lifts of a crew's own visits were over, as far as that is noted."""
    return {job.id: over for job in plan.jobs if job.id in lifts and (over := lifts[job.id].over) is not None}


def _meetings(
    plan: DayPlan, crews: Mapping[str, CrewNotes], lifts: Mapping[str, Taps], days: Mapping[str, ExpectedDay],
    does: Mapping[str, str], helps: Mapping[str, str],
) -> AtLifts:  # fmt: skip
    """Return what the other crews' days do to the crew of `plan`."""
    lifted, from_min, done = dict[str, int](), dict[str, int](), dict[str, int]()
    for job in plan.jobs:
        if job.assist is None:
            continue
        for one in days[helps[job.id]].calls if job.id in helps else ():
            if (one.kind, one.job) == ("lift", job.id) and one.state != "passed by":
                lifted[job.id] = one.end
    for stop in plan.route.stops:
        if not stop.assist or stop.assist not in does:
            continue
        owner = does[stop.assist]
        visit = next(one for one in days[owner].visits if one.job == stop.assist)
        asked = next(job.assist for job in crews[owner].plan.jobs if job.id == stop.assist)
        if asked is not None and visit.state != "passed by":
            from_min[stop.assist] = visit.start + asked.from_min
        told = crews[owner].noted.get(stop.assist, Taps()).over
        if told is not None:
            done[stop.assist] = told
    return AtLifts(_over(plan, lifts) | lifted, from_min, done)
