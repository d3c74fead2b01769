"""Why jobs of a plan wait and promises are not kept, asked of any plan that keeps the rules, also one made by hand."""

from __future__ import annotations

from collections.abc import Collection

from msgspec.structs import replace

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.plans import plan_of
from scheduler.engine.reasons.skipped import promise_reasons, reasons
from scheduler.engine.waiting.promised import promise_causes
from scheduler.engine.waiting.second import second_reasons
from scheduler.plan import Because, Plan, Skipped
from scheduler.week import Week


def why_not_kept(week: Week, plan: Plan) -> dict[str, str]:
    """Return for each job in `plan.broken`, planned or not, a sentence by name on why its booking is not kept.

    The plan keeps every rule of `week` (`scheduler.audit`); it may have been made by hand.
    """
    model = build(week)
    if week.format == "week/2":
        return {week.jobs[j].id: cause.because[0].detail for j, cause in promise_causes(model, plan).items()}
    found = promise_reasons(model, model.routes_of(plan))
    return {week.jobs[j].id: because.detail for j, because in found.items()}


def waiting_reasons(model: Model, plan: Plan) -> dict[int, tuple[Because, ...]]:
    """Return for every job that a plan of the second format leaves out why, by number, a broken promise's last.

    model: of the week, without anything fixed; plan: keeps its rules, with the cost stated rightly.
    """
    found = second_reasons(model, plan)
    left = tuple(name for name in plan.broken if model.number[name] in found)
    kept_off = promise_causes(model, replace(plan, broken=left)) if left else {}
    return {j: (*told, *(kept_off[j].because if j in kept_off else ())) for j, told in found.items()}


def reasons_of(best: Best, routes: Routes, free: bool) -> dict[int, tuple[Because, ...]]:
    """Return for every job that `routes` leave out why, by number; either format.

    best: where the routes were found, with their times. free: nothing was fixed in its model; what is fixed is no
    reason of the week's, so that otherwise the reasons are asked of the week without it.
    """
    model = best.model
    asked = model if free else build(model.week)
    if model.week.format == "week/2":
        plan = plan_of(model, routes, seconds=0.0, bound=None, starts=best.starts, times=best.times)
        return waiting_reasons(asked, plan)
    if free:
        return reasons(model, routes)
    name = {k: crew_day for crew_day, k in model.crew_day.items()}
    return reasons(asked, {asked.crew_day[name[k]]: jobs for k, jobs in routes.items()})


def with_reasons(week: Week, plan: Plan, kept: Collection[str] = ()) -> Plan:
    """Return `plan`, which keeps every rule of `week`, with the reasons of each waiting job found anew.

    kept: codes of reasons that only people know; a job that has one keeps its reasons as they are.
    """
    model = build(week)
    found = waiting_reasons(model, plan) if week.format == "week/2" else reasons(model, model.routes_of(plan))
    skipped = tuple(
        skip
        if any(because.code in kept for because in skip.because)
        else Skipped(skip.job, found[model.number[skip.job]])
        for skip in plan.skipped
    )
    return replace(plan, skipped=skipped)
