"""What a route costs as it is timed, without anything that it shares with others."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import Timed


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
        cents += int(model.opt_cost[mine][held].min())
    metres += int(model.metres[here, yard])
    return cents + (int(model.km_cents[k]) * metres + 500) // 1000
