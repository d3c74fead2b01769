"""A plan without a visit that fell, and which waiting jobs fit into the hole, with what each saves.

The other visits stay: each keeps its crew, day and place in the order, and its start within half an hour.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from scheduler.audit import audit
from scheduler.engine.model.fixed import NOTHING, Fixed
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import outings, visits
from scheduler.week import Week


@dataclass(frozen=True)
class Filling:
    """A waiting job put into a hole: where, what the whole plan then costs, and what that saves."""

    job: str
    crew: str
    day: int
    start: int
    saves_cents: int
    plan: Plan


def plan_without(week: Week, plan: Plan, jobs: Collection[str], *, fixed: Fixed = NOTHING) -> Plan:
    """Return `plan` with `jobs` taken out and each route drawn together at its least cost.

    The rest of the plan must be possible in `week`; why the jobs are not planned is left to the caller. Raises
    `BadInput` where it is not.
    """
    if week.format == "week/2":
        return _second_without(week, plan, jobs, fixed)
    from scheduler.engine.model.build import build
    from scheduler.engine.model.plans import plan_of
    from scheduler.engine.placing.standing import staying

    model, routes = staying(build(week, fixed=fixed), plan, jobs)
    try:
        made = plan_of(model, routes, seconds=0.0, bound=None)
    except ValueError:
        raise BadInput("plan", "cannot be kept as it is: a crew's day does not hold its visits any more") from None
    if breaches := audit(week, made).broken_rules:
        raise BadInput("plan", f"cannot be kept as it is: {breaches[0].sentence}")
    return made


def fillings(
    week: Week,
    plan: Plan,
    holes: Iterable[tuple[str, int]],
    jobs: Collection[str],
    *,
    best: int = 5,
    fixed: Fixed = NOTHING,
) -> list[Filling]:
    """Return the jobs out of `jobs` that pay most on one of the crew days `holes`, at most `best`, most saving first.

    plan: keeps the rules of `week`. holes: crew and day. A job that `plan` has already, or that saves nothing, is left
    out; of a job that fits several holes the best is told. Every plan told is priced and audited.
    """
    if week.format == "week/2":
        return _second_fillings(week, plan, holes, jobs, best, fixed)
    from scheduler.engine.model.build import build
    from scheduler.engine.model.plans import plan_of
    from scheduler.engine.placing.standing import Standing, staying

    model, routes = staying(build(week, fixed=fixed), plan)
    bench = Standing(model, routes)
    planned = {j for stops in routes.values() for j in stops}
    days = [model.crew_day[hole] for hole in holes if hole in model.crew_day]
    found = []
    for j, job in enumerate(week.jobs):
        if job.id not in jobs or j in planned:
            continue
        tries = [(put, k) for k in days if (put := bench.put(j, k)) is not None]
        if tries:
            (cost, stops), k = min(tries, key=lambda t: (t[0][0], t[1]))
            found.append((cost, j, k, stops))
    made = []
    for _, j, k, stops in sorted(found)[:best]:
        new = plan_of(model, {**routes, k: stops}, seconds=0.0, bound=None)
        if breaches := audit(week, new).broken_rules:
            raise RuntimeError(f"a filled hole breaks a rule, which is a defect: {breaches[0].sentence}")
        at = visits(outings(week, new.routes))[week.jobs[j].id]
        saves = plan.cost.total - new.cost.total
        if saves > 0:
            made.append(Filling(week.jobs[j].id, at.crew, at.day, at.start, saves, new))
    return sorted(made, key=lambda f: (-f.saves_cents, f.job))


def _second_without(week: Week, plan: Plan, jobs: Collection[str], fixed: Fixed) -> Plan:
    """Return what `plan_without` does, in a plan of the second format: where crews meet, both keep their minute."""
    from scheduler.engine.model.build import build
    from scheduler.engine.placing.slots import Slots

    model, made = build(week, fixed=fixed), plan
    for job in jobs:
        left = Slots(model, made, model.number[job]).plan_without()
        if left is None:
            raise BadInput("plan", "cannot be kept as it is: a crew's day does not hold its visits any more")
        made = left
    if breaches := audit(week, made).broken_rules:
        raise BadInput("plan", f"cannot be kept as it is: {breaches[0].sentence}")
    return made


def _second_fillings(
    week: Week, plan: Plan, holes: Iterable[tuple[str, int]], jobs: Collection[str], best: int, fixed: Fixed
) -> list[Filling]:
    """Return what `fillings` does, in a plan of the second format; a second crew may come from anywhere."""
    from scheduler.engine.model.build import build
    from scheduler.engine.placing.slots import Slots

    model = build(week, fixed=fixed)
    only = {model.crew_day[hole]: None for hole in holes if hole in model.crew_day}
    waits = {skipped.job for skipped in plan.skipped}
    found = []
    for j, job in enumerate(week.jobs):
        if job.id in jobs and job.id in waits:
            slots = Slots(model, plan, j)
            found += [(slot.cost, j, slots, slot) for slot in slots.cheapest(1, only) if slot.cost < plan.cost.total]
    made = []
    for cost, j, slots, slot in sorted(found, key=lambda f: f[:2])[:best]:
        new = slots.plan_with(slot)
        if breaches := audit(week, new).broken_rules:
            raise RuntimeError(f"a filled hole breaks a rule, which is a defect: {breaches[0].sentence}")
        at = visits(outings(week, new.routes))[week.jobs[j].id]
        made.append(Filling(week.jobs[j].id, at.crew, at.day, at.start, plan.cost.total - cost, new))
    return made
