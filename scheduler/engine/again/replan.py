"""Planning a posted week again after something happened: a kit is short, a site is lost, a crew is away.

What is done stays; what customers have been told moves only at a price; the rest is planned anew, at least cost.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from statistics import median_low
from typing import TYPE_CHECKING, Literal

from msgspec.structs import replace

from scheduler.documents import shown
from scheduler.engine.again.moves import Event, Move, moves
from scheduler.engine.model.fixed import Fixed, Spot
from scheduler.engine.planning import plan_week
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import outings, price, visits
from scheduler.week import Booking, Crew, Job, Week, checked, crew_name, day_name

if TYPE_CHECKING:
    from scheduler.engine.planning import Progress

# Cents for a visit told to a customer, where the week has no booking to take prices from: an evening's telephoning for
# another day, a call for another hour, a word for another crew. Ours, no published source.
MOVE_CENTS, RETIME_CENTS, RECREW_CENTS = 12_000, 2_500, 1_500


@dataclass(frozen=True)
class Told:
    """How firmly a visit of the old plan without a booking counts as told; None: the middle of the week's own prices.

    `posted`: customers have seen the plan, so that a soft booking, too, is where the plan has it.
    """

    hold: Literal["firm", "day", "soft"] = "soft"
    move_cents: int | None = None
    retime_cents: int | None = None
    recrew_cents: int | None = None
    posted: bool = False


@dataclass(frozen=True)
class Replanned:
    """The week as it now stands, its new plan, and what becomes of every job that is or was planned.

    `plan` keeps the rules of `week`, not of the week before: bookings, kits, shifts and windows have changed.
    """

    week: Week
    plan: Plan
    moves: tuple[Move, ...]
    fixed: Fixed


def replan(
    week: Week,
    plan: Plan,
    *,
    clock: Callable[[], float],
    freeze_until: tuple[int, int] | None = None,
    lost: Mapping[str, int | None] | None = None,
    away: Collection[tuple[str, int]] = (),
    told: Told | None = None,
    seconds: float | None = None,
    seed: int = 0,
    report: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    workers: int = 2,
) -> Replanned:
    """Return the cheapest plan of the rest of the week that can be found, and who moves and why.

    plan: the posted plan of `week`; its visits are what customers have been told, unless `week` books them otherwise.
    freeze_until: day and minute after midnight; what has begun by then, or is being driven to, stays, and nothing else
    begins before. None: the whole week is open.
    lost: jobs whose kit is short or whose site cannot be worked at, and the day from which they can be done after all,
    None where not this week. Not done even where the old plan has them begun.
    away: crew and day of shifts that fall out; of a day under way, what is left of it.
    told: hold and prices of visits without a booking.
    clock, seconds, seed, report, stop, workers: as of `scheduler.plan_week`.

    Raises `BadInput` naming what of the arguments is not in the week, or a visit that cannot stay where it was done.
    """
    event = _event(week, plan, freeze_until, dict(lost or {}), away)
    posted = told_week(week, event, told or Told())
    changed = changed_week(posted, event)
    made = plan_week(
        changed, seconds=seconds, seed=seed, clock=clock, report=report, stop=stop, workers=workers, fixed=event.fixed
    )
    return Replanned(changed, made, moves(posted, made, event), event.fixed)


def as_it_stands(
    week: Week, plan: Plan, job: str, *, freeze_until: tuple[int, int] | None = None, told: Told | None = None
) -> tuple[Week, Plan, Fixed]:
    """Return week, plan and what is fixed, as they stand when `job` is to be offered other times.

    All visits of the plan but that of `job` are told as for `replan`; the plan is priced by that. Raises `BadInput` as
    `replan` does, and where the job is done or under way.
    """
    event = _event(week, plan, freeze_until, {}, ())
    if job in event.fixed.visits:
        raise BadInput("job", f"{job} is done or under way by then")
    others = dataclasses.replace(event, before={n: spot for n, spot in event.before.items() if n != job})
    now = changed_week(told_week(week, others, told or Told()), others)
    return now, replace(plan, cost=price(now, plan.routes), bound=None), event.fixed


def told_week(week: Week, event: Event, told: Told) -> Week:
    """Return the week with what has been told as bookings."""
    prices = told_prices(week, told)
    return checked(replace(week, jobs=tuple(_told(job, event.before.get(job.id), told, prices) for job in week.jobs)))


def changed_week(week: Week, event: Event) -> Week:
    """Return the week with lost kits not ready, hours past gone, and crews away."""
    jobs = tuple(_changed(job, event) for job in week.jobs)
    return checked(replace(week, jobs=jobs, crews=tuple(_without(c, event) for c in week.crews)))


def told_prices(week: Week, told: Told) -> tuple[int, int, int]:
    """Return the prices (move, retime, recrew) in cents of a visit told but not booked."""
    booked = [job.booked for job in week.jobs if job.booked is not None]

    def one(given: int | None, own: list[int], default: int) -> int:
        return given if given is not None else median_low(own) if own else default

    return (
        one(told.move_cents, [b.move_cents for b in booked], MOVE_CENTS),
        one(told.retime_cents, [b.retime_cents for b in booked], RETIME_CENTS),
        one(told.recrew_cents, [b.recrew_cents for b in booked], RECREW_CENTS),
    )


def begun_by(week: Week, plan: Plan, moment: tuple[int, int] | None) -> set[str]:
    """Return the jobs of the plan that are done, being done or driven to at `moment` (day, minute).

    So is a job whose second crew is on its way.
    """
    return {job for job, _, _ in _begun(week, plan, moment)}


def assists_begun_by(week: Week, plan: Plan, moment: tuple[int, int] | None) -> dict[str, Spot]:
    """Return by job where the assists of the plan are that have begun, or are being driven to, at `moment`."""
    return {job: spot for job, second, spot in _begun(week, plan, moment) if second}


def _begun(week: Week, plan: Plan, moment: tuple[int, int] | None) -> Iterator[tuple[str, bool, Spot]]:
    """Yield what has begun by then: the job, whether it is its assist, and where that is."""
    for out in outings(week, plan.routes) if moment is not None else ():
        for (stop, job), drive_min in zip(out.calls, out.drives_min, strict=False):
            here = (out.route.day, stop.start - drive_min)
            if job is not None and moment is not None and here < moment:
                yield job.id, bool(stop.assist), Spot(out.route.crew, out.route.day, stop.start)


def _event(
    week: Week,
    plan: Plan,
    moment: tuple[int, int] | None,
    lost: dict[str, int | None],
    away: Collection[tuple[str, int]],
) -> Event:
    if plan.week != week.id:
        raise BadInput("plan", f"is of week {shown(plan.week)}, not of {shown(week.id)}")
    jobs, shifts = {j.id for j in week.jobs}, {(c.id, s.day) for c in week.crews for s in c.shifts}
    crews = {c.id for c in week.crews}
    if moment is not None and not 0 <= moment[0] < week.days:
        raise BadInput("freeze_until", f"must be a day of this week, 0 to {week.days - 1}, is {moment[0]}")
    for job, ready in lost.items():
        if job not in jobs:
            raise BadInput("lost", f"no job has the id {shown(job)}")
        if ready is not None and not 0 <= ready < week.days:
            raise BadInput("lost", f"the day of {job} must be one of this week, 0 to {week.days - 1}, is {ready}")
    for crew, day in away:
        if crew not in crews:
            raise BadInput("away", f"no crew has the id {shown(crew)}")
        if (crew, day) not in shifts:
            raise BadInput("away", f"crew {crew_name(week, crew)} does not work on {day_name(week, day)} anyway")
    before = {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(week, plan.routes)).items()}
    begun = {job for job in begun_by(week, plan, moment) if job in before} - lost.keys()
    helped = {job: spot for job, spot in assists_begun_by(week, plan, moment).items() if job in begun}
    fixed = Fixed({job: before[job] for job in begun}, moment, frozenset(begun), frozenset(away), assists=helped)
    return Event(before, lost, frozenset(away), fixed)


def _told(job: Job, spot: Spot | None, told: Told, prices: tuple[int, int, int]) -> Job:
    if spot is None or (job.booked is not None and not (told.posted and job.booked.hold == "soft")):
        return job
    if job.booked is not None:
        return replace(job, booked=replace(job.booked, crew=spot.crew, day=spot.day, start=spot.start))
    return replace(job, booked=Booking(*spot, told.hold, *prices))


def _changed(job: Job, event: Event) -> Job:
    if job.id in event.lost:
        job = replace(job, ready_day=event.lost[job.id])
    if (now := event.fixed.now) is None or job.id in event.fixed.visits:
        return job
    open_windows = []
    for window in job.windows:
        if window.day == now[0] and window.start < now[1] < window.end:
            window = replace(window, start=now[1])
        if (window.day, window.start) >= now:
            open_windows.append(window)
    return replace(job, windows=tuple(open_windows))


def _without(crew: Crew, event: Event) -> Crew:
    """A shift under way stays for what has been done in it; `Fixed.closed` keeps all else out."""
    under_way = event.fixed
    gone = {
        day
        for c, day in event.away
        if c == crew.id and not under_way.of(crew.id, day) and not under_way.helping(crew.id, day)
    }
    return replace(crew, shifts=tuple(s for s in crew.shifts if s.day not in gone))
