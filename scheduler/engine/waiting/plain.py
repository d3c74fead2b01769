"""Because, for weeks of the second format: what is known of a job left out without undoing rules one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scheduler.engine.model.arrays import Model
from scheduler.plan import Because


def plain_reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Because, ...]]:
    """Return for every job on no route why: alone it cannot go, or it would cost more than it saves."""
    planned = {j for items in routes.values() for j in items}
    days: dict[int, set[tuple[int, int]]] = {}
    for k, crew_day in enumerate(model.crew_days):
        for j in crew_day.jobs:
            days.setdefault(j, set()).add((int(model.crew_of[k]), int(model.day_of[k])))
    left = (j for j in range(len(model.week.jobs)) if j not in planned)
    return {j: (_reason(model, j, days),) for j in left}


def _reason(model: Model, j: int, days: Mapping[int, set[tuple[int, int]]]) -> Because:
    job = model.week.jobs[j]
    if job.ready_day is None:
        return Because("kit_not_ready", f"The kit of {job.id} is not complete on any of these days.")
    own = days.get(j, set())
    if not own:
        text = "no crew has its skills, people, van, kit and a work window within its shift on any of these days"
        return Because("out_of_reach", f"Nobody can do {job.id}: {text}.")
    if job.assist is not None:
        second = days.get(int(model.assist_of[j]), set())
        if not any(day == other and crew != one for crew, day in own for one, other in second):
            text = f"has no hour on any day on which {job.id} could be done"
            return Because("no_second_crew", f"Its second crew, of {job.assist.hands} people, {text}.")
    text = "costs more than letting it wait, or leaves no room for dearer jobs"
    return Because("no_room", f"Planning {job.id} in any of the places tried {text}.")
