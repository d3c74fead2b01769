"""Overtime and late returns spread among the crews: what a plan asks of each, and a fairer plan for a little more.

The week prices overtime by the minute, whoever works it, so that the cheapest plan may lay it all on one crew.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scheduler.audit import audit
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.model.build import build
from scheduler.engine.model.plans import plan_of
from scheduler.engine.reasons.skipped import reasons
from scheduler.engine.worth.even import even
from scheduler.plan import Plan
from scheduler.price import outings
from scheduler.week import Week, only_first_format


@dataclass(frozen=True)
class Burden:
    """What a plan asks of one crew over the week: minutes of overtime, and days on which it returns after its shift."""

    crew: str
    overtime_min: int
    late_returns: int


@dataclass(frozen=True)
class Fair:
    """A plan, what it asks of each crew (most overtime first), and whether no plan within the cost is fairer.

    `proven` speaks of each route in its cheapest timing.
    """

    plan: Plan
    burdens: tuple[Burden, ...]
    proven: bool


def burdens(week: Week, plan: Plan) -> tuple[Burden, ...]:
    """Return what the plan asks of every crew of the week, most overtime first."""
    late = [(o.crew.id, o.overtime_min) for o in outings(week, plan.routes) if o.overtime_min]
    found = [
        Burden(crew.id, sum(n for c, n in late if c == crew.id), sum(c == crew.id for c, _ in late))
        for crew in week.crews
    ]
    return tuple(sorted(found, key=lambda b: (-b.overtime_min, -b.late_returns)))


def fair(
    week: Week,
    plan: Plan,
    most_extra_cents: int,
    *,
    seconds: float | None,
    clock: Callable[[], float],
    seed: int = 0,
    stop: Callable[[], bool] | None = None,
) -> Fair:
    """Return, among plans that cost at most `most_extra_cents` more than `plan`, one whose overtime is spread best.

    First the overtime of the crew that has most over the week is made as small as can be, then the late returns of the
    crew that has most of them, then all overtime together, then the cost. `plan` is a plan of this week made by
    `plan_week`; it comes back itself where nothing is fairer, or where time (`seconds`, None: no limit) ran out or
    `stop` said so first. The result is audited; its bound is that of `plan`, since no promise is made here that it is
    the cheapest.
    """
    only_first_format(week, "spreading overtime")
    before = burdens(week, plan)
    if not before or before[0].overtime_min == 0:
        return Fair(plan, before, True)
    begun = clock()

    def left() -> float:
        return math.inf if seconds is None else begun + seconds - clock()

    def check() -> None:
        if left() <= 0 or (stop and stop()):
            raise Stopped

    model = build(week)
    start = model.routes_of(plan)
    try:
        found = even(model, start, plan.cost.total + most_extra_cents, seed=seed, left=left, check=check)
    except Stopped:
        return Fair(plan, before, False)
    made = plan_of(
        model,
        found.routes,
        seconds=plan.seconds + clock() - begun,
        bound=plan.bound,
        because=reasons(model, found.routes),
    )
    after = burdens(week, made)
    if not audit(week, made).ok or made.cost.total > plan.cost.total + most_extra_cents or _key(after) > _key(before):
        return Fair(plan, before, False)
    return Fair(made, after, found.proven)


def _key(asked: tuple[Burden, ...]) -> tuple[int, int, int]:
    return asked[0].overtime_min, max(b.late_returns for b in asked), sum(b.overtime_min for b in asked)
