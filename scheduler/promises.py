"""Which promises to customers a week has, and which of them visits keep: a firm time, or a day."""

from __future__ import annotations

from collections.abc import Mapping

from scheduler.price import Visit, is_kept
from scheduler.week import Job, Week


def promised(week: Week) -> list[Job]:
    """Return the jobs with a firm or day booking, in the week's order."""
    return [job for job in week.jobs if job.booked is not None and job.booked.hold != "soft"]


def broken_promises(week: Week, done: Mapping[str, Visit]) -> tuple[str, ...]:
    """Return the jobs whose promise these visits (by job) do not keep, in the week's order."""
    return tuple(job.id for job in promised(week) if job.booked and not is_kept(job.booked, done.get(job.id)))
