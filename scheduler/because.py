"""Why promises of a plan are not kept, for those who have to tell the customer."""

from __future__ import annotations

from scheduler.engine.model import build
from scheduler.engine.reasons import promise_reasons
from scheduler.plan import Plan
from scheduler.week import Week


def promises(week: Week, plan: Plan) -> dict[str, str]:
    """Return for each job in `plan.broken`, planned or not, a sentence by name on why its booking is not kept.

    The plan keeps every rule of `week` (`scheduler.audit`); it may have been made by hand.
    """
    model = build(week)
    crew_day = {
        (week.crews[int(c)].id, int(d)): k for k, (c, d) in enumerate(zip(model.crew_of, model.day_of, strict=True))
    }
    number = {job.id: n for n, job in enumerate(week.jobs)}
    routes = {crew_day[route.crew, route.day]: [number[stop.job] for stop in route.stops] for route in plan.routes}
    return {week.jobs[j].id: because.detail for j, because in promise_reasons(model, routes).items()}
