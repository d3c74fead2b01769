"""Why jobs of a plan wait and promises are not kept, asked of any plan that keeps the rules, also one made by hand."""

from __future__ import annotations

from collections.abc import Collection

from msgspec.structs import replace

from scheduler.engine.model.build import build
from scheduler.engine.reasons.skipped import promise_reasons, reasons
from scheduler.engine.waiting.promised import promise_causes
from scheduler.engine.waiting.second import second_reasons
from scheduler.plan import Plan, Skipped
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


def with_reasons(week: Week, plan: Plan, kept: Collection[str] = ()) -> Plan:
    """Return `plan`, which keeps every rule of `week`, with the reasons of each waiting job found anew.

    kept: codes of reasons that only people know; a job that has one keeps its reasons as they are.
    """
    model = build(week)
    found = second_reasons(model, plan) if week.format == "week/2" else reasons(model, model.routes_of(plan))
    skipped = tuple(
        skip
        if any(because.code in kept for because in skip.because)
        else Skipped(skip.job, found[model.number[skip.job]])
        for skip in plan.skipped
    )
    return replace(plan, skipped=skipped)
