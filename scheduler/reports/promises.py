"""Which promises to customers a week has, and which of them visits keep: a firm time, or a day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scheduler.plan import Plan, Plan2, Route, Skipped
from scheduler.price import Visit, is_kept, outings, price_outings, visits
from scheduler.week import Job, Week


def promised(week: Week) -> list[Job]:
    """Return the jobs with a firm or day booking, in the week's order."""
    return [job for job in week.jobs if job.booked is not None and job.booked.hold != "soft"]


def broken_promises(week: Week, done: Mapping[str, Visit]) -> tuple[str, ...]:
    """Return the jobs whose promise these visits (by job) do not keep, in the week's order."""
    return tuple(job.id for job in promised(week) if job.booked and not is_kept(job.booked, done.get(job.id)))


def stated_plan(week: Week, engine: str, routes: Sequence[Route], skipped: Sequence[Skipped]) -> Plan:
    """Return the plan of these routes in the week's format, its cost and broken promises stated, without a bound."""
    out = outings(week, routes)
    kind, form = (Plan2, "plan/2") if week.format == "week/2" else (Plan, "plan/1")
    broken, cost = broken_promises(week, visits(out)), price_outings(week, out)
    return kind(form, week.id, engine, 0.0, tuple(routes), tuple(skipped), broken, cost, None)  # type: ignore[arg-type]
