"""How far a plan may be from the best there is: of the whole cost, and of the part that a plan can influence."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.audit import RULES
from scheduler.judged import JudgedPlan
from scheduler.plan import Cost, Plan, Route, Stop
from scheduler.price import Outing, undone_cents
from scheduler.week import Crew, Job, Shift, Week

# What a job needs of a crew and its day for itself: no further stop on the route mends a breach of these. Travel and
# rest are left out on purpose, since a way round by another stop can be quicker than the direct road.
LASTING = ("window", "kit", "skills", "yard", "hands", "helpers", "payload", "boxes", "rack", "equipment", "stock")

_NO_PLAN = Plan("plan/1", "", "one job alone", 0.0, (), (), (), Cost(0, 0, 0, 0, 0, 0, 0, 0, 0), None)


@dataclass(frozen=True, slots=True)
class Gap:
    """How much dearer than a best plan this one may be at most, in percent; None where no bound was proven.

    `of_influenced` leaves `fixed_cents` out of the cost: what the jobs in `hopeless` cost in any plan.
    """

    of_total: float | None
    of_influenced: float | None
    fixed_cents: int
    hopeless: tuple[str, ...]


def gap(week: Week, plan: Plan, never: frozenset[str] | None = None) -> Gap:
    """Return the gap between the plan's stated cost and its bound, rounded to a hundredth of a percent.

    `never`: what `hopeless` gives for `week`, where it is known from another plan of it.
    """
    never = hopeless(week) if never is None else never
    fixed = sum(undone_cents(week, job) for job in week.jobs if job.id in never)
    return Gap(
        of_total=_percent(plan.cost.total, plan.bound),
        of_influenced=_percent(plan.cost.total - fixed, None if plan.bound is None else max(0, plan.bound - fixed)),
        fixed_cents=fixed,
        hopeless=tuple(job.id for job in week.jobs if job.id in never),
    )


def hopeless(week: Week) -> frozenset[str]:
    """Return the ids of jobs that no plan can hold: no crew could take them on any day, with the whole yard to itself.

    Sure but not complete: a job that only drives, the rest or other jobs keep off is not among them. A job that follows
    one of them is.
    """
    never = {job.id for job in week.jobs if not _somebody_can(week, job)}
    while True:
        behind = {f.then for f in week.follows if f.first in never} - never
        if not behind:
            return frozenset(never)
        never |= behind


def _somebody_can(week: Week, job: Job) -> bool:
    if job.ready_day is None:
        return False
    return any(
        _can(week, job, crew, shift, window.start)
        for window in job.windows
        if window.end - window.start >= job.minutes
        for crew in week.crews
        for shift in crew.shifts
        if shift.day == window.day
    )


def _can(week: Week, job: Job, crew: Crew, shift: Shift, opens: int) -> bool:
    start = max(opens, shift.start)
    last = shift.end + shift.overtime
    if start + job.minutes > last:
        return False
    stop = Stop(job.id, start, start + job.minutes)
    route = Route(crew.id, shift.day, shift.start, last, max(0, job.hands - crew.hands), None, (stop,))
    out = (Outing(route, crew, shift, ((stop, job),), (0, 0), 0),)
    case = JudgedPlan(week, _NO_PLAN, out, {}, _NO_PLAN.cost)
    return not any(breach for name in LASTING for breach in RULES[name](case))


def _percent(cost: int, bound: int | None) -> float | None:
    if bound is None:
        return None
    return round(100 * (cost - bound) / cost, 2) if cost > 0 else 0.0
