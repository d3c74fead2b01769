"""What of a new plan belongs to one job, and what would be as well without it: only the first is the price of an offer.

Routes that have changed hang together where a visit has gone from one to another. Those that hang together with the
job's own belong to it; the others are put back as they were, as far as the rules then hold.
"""

from __future__ import annotations

from scheduler.audit import audit
from scheduler.plan import Plan, Route, Skipped
from scheduler.price import outings, price, visits
from scheduler.reports.promises import broken_promises
from scheduler.week import Week

CrewDay = tuple[str, int]


def apart(week: Week, plan: Plan, made: Plan, job: str) -> tuple[Plan, int]:
    """Return `made` with what does not belong to `job` as `plan` has it, and what that would have saved, in cents.

    Both are plans of `week` that keep its rules and state their cost; a saving below 0 is taken along, not put back.
    """
    old, new = _by_day(plan), _by_day(made)
    changed = {at for at in old.keys() | new.keys() if old.get(at) != new.get(at)}
    unrelated = [together for together in _together(old, new, changed) if not _holds(old, new, together, job)]
    kept, saved = made, 0
    for together in unrelated:
        routes = _by_day(kept)
        for at in together:
            routes.pop(at, None)
            if at in old:
                routes[at] = old[at]
        trial = _plan_of(week, kept, plan, routes)
        if trial.cost.total >= kept.cost.total and not audit(week, trial).broken_rules:
            saved += trial.cost.total - kept.cost.total
            kept = trial
    return kept, saved


def _by_day(plan: Plan) -> dict[CrewDay, Route]:
    return {(route.crew, route.day): route for route in plan.routes}


def _jobs(routes: dict[CrewDay, Route], at: CrewDay) -> set[str]:
    return {stop.job for stop in routes[at].stops} if at in routes else set()


def _holds(old: dict[CrewDay, Route], new: dict[CrewDay, Route], together: set[CrewDay], job: str) -> bool:
    return any(job in _jobs(old, at) | _jobs(new, at) for at in together)


def _together(old: dict[CrewDay, Route], new: dict[CrewDay, Route], changed: set[CrewDay]) -> list[set[CrewDay]]:
    """Return the changed crew days in groups that no visit has gone between."""
    groups: list[tuple[set[CrewDay], set[str]]] = []
    for at in sorted(changed):
        days, jobs = {at}, _jobs(old, at) | _jobs(new, at)
        apart_from = []
        for other_days, other_jobs in groups:
            if jobs & other_jobs:
                days, jobs = days | other_days, jobs | other_jobs
            else:
                apart_from.append((other_days, other_jobs))
        groups = [*apart_from, (days, jobs)]
    return [days for days, _ in groups]


def _plan_of(week: Week, made: Plan, plan: Plan, routes: dict[CrewDay, Route]) -> Plan:
    number = {crew.id: n for n, crew in enumerate(week.crews)}
    order = tuple(sorted(routes.values(), key=lambda route: (route.day, number[route.crew])))
    on_routes = {stop.job for route in order for stop in route.stops}
    because = {s.job: s.because for s in (*plan.skipped, *made.skipped)}
    skipped = tuple(Skipped(j.id, because[j.id]) for j in week.jobs if j.id not in on_routes)
    broken = broken_promises(week, visits(outings(week, order)))
    return Plan("plan/1", week.id, made.engine, made.seconds, order, skipped, broken, price(week, order), made.bound)
