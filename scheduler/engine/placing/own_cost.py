"""What a route costs as it is timed, without anything that it shares with others."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import Timed
from scheduler.price import Visit, change_cents, risks


def own_cents(model: Model, k: int, items: Sequence[int], times: Timed) -> int:
    """Return what a route of crew day k, with these items and times, costs by itself, in cents."""
    cents = int(model.day_cents[k]) + int(model.minute_cents[k]) * times.out
    cents += int(model.overtime_cents[k]) * max(0, times.back - int(model.end[k]))
    if times.helpers:
        cents += times.helpers * int(model.helper_cents[model.helper_row[k]])
    here, metres, yard = int(model.yard_place[k]), 0, int(model.yard_place[k])
    for i, start, end, reload in zip(items, times.starts, times.ends, times.reloads, strict=True):
        if reload is not None:
            metres += int(model.metres[here, yard])
            here = yard
        metres += int(model.metres[here, model.job_place[i]])
        here = int(model.job_place[i])
        pause, mine = end - start > model.service[i], model.options_of(k, i)
        held = (model.opt_lo[mine] <= start) & (start <= model.opt_hi[mine]) & (model.opt_pause[mine] == pause)
        if held.any():
            cents += int(model.opt_cost[mine][held].min())
        else:  # it stands where it could not be put any more: what that costs, whatever rule is against it
            cents += _standing_cents(model, k, i, start, end)
    metres += int(model.metres[here, yard])
    return cents + (int(model.km_cents[k]) * metres + 500) // 1000


def _standing_cents(model: Model, k: int, i: int, start: int, end: int) -> int:
    crew_day, job = model.crew_days[k], model.week.jobs[i]
    visit = Visit(model.week.crews[crew_day.crew].id, crew_day.day, start, end)
    late = 0 if job.due_day is None else job.late_cents * max(0, visit.day - job.due_day)
    changed = 0 if job.booked is None else change_cents(job.booked, visit, model.week.broken_cents)
    return min(risks(job, visit.day, start, end), default=0) + late + changed
