"""The engine's one call: a week goes in, the best plan found comes out, with a proven bound on any plan's cost."""

from __future__ import annotations

import math
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.plan import Because, Plan
from scheduler.week import Week

if TYPE_CHECKING:
    from scheduler.engine.model.fixed import Fixed
    from scheduler.engine.pricing.elsewhere import Elsewhere
    from scheduler.engine.search.expected import Recourse
    from scheduler.engine.search.phases import Search

POLL_S = 0.05
FIRST_S = 60.0  # that a first plan may take longer than the time given: reading compiled loops alone may take all of it
LET_GO_S = 0.4  # given to the search to end by itself
LAST_S = 0.3  # kept back from the time given, for reasons and the last audit,
LAST_S_PER_PAIR = 7e-4  # and for each job and crew day, at most so much: reasons try every place of jobs left out,
MOST_LAST_S = {"week/1": 3.5, "week/2": 12.0}  # those of the second format in the document
RECOURSE_SHARE, RECOURSE_S = (
    0.25,
    20.0,
)  # of the time given, kept back for the choice by what is to be expected; at most


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
    from scheduler.engine.incumbent import Best
    from scheduler.engine.master.relaxation import Stopped  # numba and HiGHS take a second to load: not for `--help`
    from scheduler.engine.model.build import build
    from scheduler.engine.model.fixed import NOTHING, contradiction
    from scheduler.engine.model.plans import plan_of, routes_to_start_from
    from scheduler.engine.reasons.skipped import reasons
    from scheduler.engine.search.phases import search
    from scheduler.engine.waiting.because import waiting_reasons

    begun = clock()
    model = build(week, fixed=fixed or NOTHING)
    best = Best(model)
    given = dict[int, list[int]]()
    if start is not None:
        given, cost_given = routes_to_start_from(model, start)
        best.offer(given, cost_given)
    pairs = len(week.jobs) * len(model.crew_days) if with_because else 0
    last = LAST_S + min(MOST_LAST_S[week.format], LAST_S_PER_PAIR * pairs)
    if seconds is not None:
        last = min(last, 0.5 * seconds)
    ended = threading.Event()
    failed: list[BaseException] = []

    after_s = 0.0
    if recourse is not None:
        after_s = RECOURSE_S if seconds is None else min(RECOURSE_S, RECOURSE_SHARE * (seconds - last))

    def left() -> float:
        return math.inf if seconds is None else begun + seconds - last - after_s - clock()

    def over(more: float = 0.0) -> bool:
        return left() + more <= (0 if best.first.is_set() else -FIRST_S)

    def check() -> None:
        if ended.is_set() or over():
            raise Stopped

    def weigh(made: Search) -> None:
        if recourse is not None and not ended.is_set():
            made.expected(recourse, after_s, lambda: ended.is_set() or over(after_s))

    def work() -> None:
        try:
            search(model, best, seed, left, check, workers, given, elsewhere, weigh)
        except BaseException as fault:  # handed to the caller's thread
            failed.append(fault)

    # The solvers let go only now and then. They work in a thread of their own, so that time and the wish to stop are
    # kept. A solver that has not let go when the plan is returned is waited for at the end of the process: cut off in
    # the middle of it, the process would end with a crash.
    thread = threading.Thread(target=work, name="search", daemon=False)
    thread.start()
    told: tuple[int, int | None, str] | None = None
    while thread.is_alive() and not over(after_s) and not (stop and stop()):
        thread.join(min(POLL_S, left() + after_s) if left() + after_s > 0 else POLL_S)
        if report:
            routes, cost, bound, phase, plan = best.state()
            if model.missing(routes):
                continue
            if (cost, bound, phase) != told:
                told = (cost, bound, phase)
                report(Progress(clock() - begun, cost, bound, phase, plan))
    ended.set()
    thread.join(LET_GO_S)
    if failed and not best.routes:
        raise failed[0]
    if failed:  # what was found is kept, and what went wrong is not passed over in silence
        warnings.warn(f"the search ended early: {failed[0]!r}", RuntimeWarning, stacklevel=2)
    routes, _, bound, _, _ = best.state()
    for j in model.missing(routes):
        raise contradiction(week.jobs[j].id, best.proven)
    because: dict[int, tuple[Because, ...]] | None
    if not with_because:
        because = None
    elif week.format == "week/2":
        made = plan_of(model, routes, seconds=0.0, bound=None, starts=best.starts, times=best.times)
        because = waiting_reasons(model if fixed is None else build(week), made)
    elif fixed is None:
        because = reasons(model, routes)
    else:  # what is fixed is no reason of the week's: asked of the week without it
        free = build(week)
        name = {k: crew_day for crew_day, k in model.crew_day.items()}
        because = reasons(free, {free.crew_day[name[k]]: jobs for k, jobs in routes.items()})
    return plan_of(
        model,
        routes,
        seconds=clock() - begun,
        bound=bound,
        because=because,
        starts=best.starts,
        times=best.times,
    )
