"""The engine's one call: a week goes in, the best plan found comes out, with a proven bound on any plan's cost."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.plan import Plan
from scheduler.week import Week

if TYPE_CHECKING:
    from scheduler.engine.incumbent import Best
    from scheduler.engine.model.fixed import Fixed
    from scheduler.engine.pricing.elsewhere import Elsewhere
    from scheduler.engine.search.expected import Recourse
    from scheduler.engine.search.in_time import SearchTime

LAST_S = 0.3  # kept back from the time given, for reasons and the last audit,
LAST_S_PER_PAIR = 7e-4  # and for each job and crew day, at most so much: reasons try every place of jobs left out,
MOST_LAST_S = {"week/1": 3.5, "week/2": 12.0}  # those of the second format in the document
RECOURSE_SHARE, RECOURSE_S = 0.25, 20.0  # of the time given, kept back to choose by what is to be expected; at most


@dataclass(frozen=True)
class Progress:
    """What is known so far: seconds since the start, the best plan's cost and the bound in cents, and the phase.

    `plan` is that plan, audited, without its bound and the reasons of what it leaves out; None where it has no route.
    """

    seconds: float
    cost: int | None
    bound: int | None
    phase: str
    plan: Plan | None = None


def plan_week(
    week: Week,
    *,
    seconds: float | None,
    seed: int = 0,
    clock: Callable[[], float],
    report: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    workers: int = 2,
    fixed: Fixed | None = None,
    start: Plan | None = None,
    with_because: bool = True,
    elsewhere: Elsewhere | None = None,
    recourse: Recourse | None = None,
) -> Plan:
    """Return the cheapest plan found for a checked week.

    seconds: how long to search at most (kept within a second, but for a first plan, which is waited for), None: until
    the plan is proven best.
    seed: where chance is used, from where; without a limit of time, the same week and seed give the same plan.
    clock: seconds from any fixed moment, such as `time.monotonic`.
    report: called as cost, bound or phase change; stop: asked often, true ends the search with the best plan so far.
    workers: threads for the pricing of routes.
    fixed: what every plan must leave as it is (None: nothing); bound and cost are then those of plans that do.
    start: a plan to search from, of this week or one like it: where its routes, as far as this week has them, keep
    every rule, no dearer plan is returned. None: search from nothing.
    with_because: False: nobody asks why jobs wait, and it is not looked for: that takes a second on a large week.
    elsewhere: an executor over which the pricing of crew days is spread, in the first format; None: it stays here.
    recourse: cents that a route is to be expected to cost beyond its plan; at the end, of all routes found, those are
    taken that cost least with it, though dearer as planned than what was reported. It counts for nothing where crews
    have to meet. None: only what is planned counts.

    The plan keeps every rule (it is audited before it is taken). Its `bound` is proven, or None where there was no time
    for one. Raises what the search raises, where it fails before any plan was found (later it warns of that), and
    `BadInput` where no plan keeps what is fixed.
    """
    from scheduler.engine.incumbent import Best  # numba and HiGHS take a second to load: not for `--help`
    from scheduler.engine.model.build import build
    from scheduler.engine.model.fixed import NOTHING, contradiction
    from scheduler.engine.model.plans import plan_of, routes_to_start_from
    from scheduler.engine.search.in_time import SearchInTime
    from scheduler.engine.waiting.because import reasons_of

    begun = clock()
    model = build(week, fixed=fixed or NOTHING)
    best = Best(model)
    given = dict[int, list[int]]()
    if start is not None:
        given, cost_given = routes_to_start_from(model, start)
        best.offer(given, cost_given)
    pairs = len(week.jobs) * len(model.crew_days) if with_because else 0
    time = _time(week.format, pairs, seconds, clock, begun, recourse is not None)
    searching = SearchInTime(
        best, time, seed=seed, workers=workers, start=given, elsewhere=elsewhere, recourse=recourse
    )
    searching.run(stop, _reporting(best, time, report) if report else lambda: None)
    if searching.fault and not best.routes:
        raise searching.fault
    if searching.fault:  # what was found is kept, and what went wrong is not passed over in silence
        warnings.warn(f"the search ended early: {searching.fault!r}", RuntimeWarning, stacklevel=2)
    routes, _, bound, _, _ = best.state()
    for j in model.missing(routes):
        raise contradiction(week.jobs[j].id, best.proven)
    return plan_of(
        model,
        routes,
        seconds=time.gone(),
        bound=bound,
        because=reasons_of(best, routes, free=fixed is None) if with_because else None,
        starts=best.starts,
        times=best.times,
    )


def _time(
    format: str, pairs: int, seconds: float | None, clock: Callable[[], float], begun: float, weighed: bool
) -> SearchTime:
    """Return the time of a search; `pairs`: jobs times crew days whose reasons are told, `weighed`: with a recourse."""
    from scheduler.engine.search.in_time import SearchTime

    last = LAST_S + min(MOST_LAST_S[format], LAST_S_PER_PAIR * pairs)
    if seconds is not None:
        last = min(last, 0.5 * seconds)
    expected = 0.0
    if weighed:
        expected = RECOURSE_S if seconds is None else min(RECOURSE_S, RECOURSE_SHARE * (seconds - last))
    return SearchTime(clock, begun, seconds, last, expected)


def _reporting(best: Best, time: SearchTime, report: Callable[[Progress], None]) -> Callable[[], None]:
    """Return what reports the best plan, once it has all that must be in it, whenever cost, bound or phase changed."""
    told: tuple[int, int | None, str] | None = None

    def look() -> None:
        nonlocal told
        routes, cost, bound, phase, plan = best.state()
        if not best.model.missing(routes) and (cost, bound, phase) != told:
            told = (cost, bound, phase)
            report(Progress(time.gone(), cost, bound, phase, plan))

    return look
