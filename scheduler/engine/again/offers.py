"""Times that a customer could be given, with what each costs and who else would move for it.

An offer is priced by the plan that it leads to. With the others staying, that plan is the present one with the visit
put in: every other visit keeps its crew, day and place in the order, and its start within half an hour; where two crews
meet, both keep their minute. With the others moving, it is the best plan of the week in which the job has that time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from msgspec import structs

from scheduler.audit import audit
from scheduler.documents import shown
from scheduler.engine.again.apart import apart
from scheduler.engine.again.moves import What, what_changed
from scheduler.engine.again.warm import Warm
from scheduler.engine.local_search.route_cost import arrays, route_cost
from scheduler.engine.master.relaxation import Stopped
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.fixed import NOTHING, Fixed, Spot
from scheduler.engine.model.plans import NOT_ASKED, plan_of
from scheduler.engine.model.starts import NOON, Half, halves, within
from scheduler.engine.placing.slots import Slots
from scheduler.engine.placing.standing import Standing, staying
from scheduler.errors import BadInput
from scheduler.plan import Plan, Skipped
from scheduler.price import outings, price, visits
from scheduler.week import Job, Week, Window, only_first_format


@dataclass(frozen=True)
class Offer:
    """A time for a job.

    The visit may start from `earliest` to `latest` at the same cost, the rest of the plan's routes being what they are;
    `start` is where the plan has it. `window` is the cheapest of the job's work windows that hold it, and its
    `risk_cents` (part of the cost) what the weather is expected to cost there; `risk_share` is that over what leaving
    the job out costs: the chance of losing the visit where that is what is lost, None where leaving it out is free.
    `cost_cents`: the whole plan with the offer; `extra_cents`: that less the plan without (see `offer`), negative for
    a saving. `moves`: what else changes, by job, with its spots in the present plan and then.
    `besides_cents`: what planning again would save on top, by moves that have nothing to do with the job; they are
    neither in the plan nor in its cost.
    `proven`: no plan with the job in that half day costs less with those moves, others moving or staying as was asked,
    and no plan of the week costs less than the best that was found.
    `second`: the crew that comes to assist and when it begins, None where none has to.
    """

    crew: str
    day: int
    start: int
    earliest: int
    latest: int
    window: Window
    risk_share: float | None
    cost_cents: int
    extra_cents: int
    moves: Mapping[str, tuple[What, Spot | None, Spot | None]]
    besides_cents: int
    as_planned: bool
    proven: bool
    plan: Plan
    second: Spot | None = None


def warm(
    week: Week,
    *,
    clock: Callable[[], float],
    seconds: float | None = None,
    seed: int = 0,
    workers: int = 2,
    fixed: Fixed = NOTHING,
    stopped: Callable[[], bool] = lambda: False,
) -> Warm:
    """Return the week searched for its best plan, to ask for offers that may move others: once for many questions.

    clock, seconds, seed, workers, fixed: as of `scheduler.plan_week`. stopped: asked now and then whether all is to
    be given up, also by the questions later on, which then have no answer.
    """
    only_first_format(week, "offering times for which others move")
    begun = clock()

    def left() -> float:
        return math.inf if seconds is None else begun + seconds - clock()

    def check() -> None:
        if left() <= 0:
            raise Stopped

    return Warm(week, fixed=fixed, seed=seed, workers=workers, left=left, check=check, stopped=stopped)


def offer(
    week: Week,
    plan: Plan,
    job: str,
    *,
    best: int = 5,
    others_may_move: bool = False,
    kept: Warm | None = None,
    clock: Callable[[], float] | None = None,
    fixed: Fixed = NOTHING,
) -> list[Offer]:
    """Return the cheapest times that `job` could be given, at most `best`, cheapest first, one for a half day.

    plan: the present plan of `week`, which keeps the rules; it may have the job or not. In the second format it may
    not know of it at all, a job new in the week: it is then as if the plan left it out, which has its price.
    others_may_move: False: an offer costs what the present plan costs with the job there, less what the present plan
    costs. True: so too, with those moved for it that the best plan with the job there moves for it.
    kept: the week made ready by `warm` (which then says what is `fixed`); without it that is done anew, timed by
    `clock`.

    Raises `BadInput` where the week has no such job or the plan is not of this week or breaks its rules.
    """
    number = {j.id: n for n, j in enumerate(week.jobs)}
    if job not in number:
        raise BadInput("job", f"no job has the id {shown(job)}")
    if others_may_move:
        only_first_format(week, "offering times for which others move")
    if week.format == "week/2":
        plan = _knowing(week, plan, job)
    if breaches := audit(week, plan).broken_rules:
        raise BadInput("plan", f"breaks a rule, so nothing can be offered on it: {breaches[0].sentence}")
    if week.format == "week/2":
        return _slotted(week, plan, number[job], best, fixed)
    if others_may_move and kept is None:
        if clock is None:
            raise TypeError("without a warm week, a clock is needed")
        kept = warm(week, clock=clock, fixed=fixed)
    model = kept.model if kept is not None and others_may_move else build(week, fixed=fixed)
    before = {name: Spot(v.crew, v.day, v.start) for name, v in visits(outings(week, plan.routes)).items()}
    bench = _Bench(model, plan, before, number[job])
    staying = dict(bench.staying())
    if others_may_move and kept is not None and kept.ready:
        known = {half: cost for half, (_, _, cost) in staying.items()}
        forced = sorted(kept.forced(number[job], best, known), key=lambda f: (f.cost, f.half))[:best]
        found = [bench.offer(f.half, f.routes, moving=True, proven=f.proven and kept.best.proven) for f in forced]
        return sorted(found, key=lambda o: (o.extra_cents, o.day, o.start >= NOON))
    cheapest = sorted(staying.items(), key=lambda s: (s[1][2], s[0]))[:best]
    return [
        bench.offer(half, bench.with_route(k, jobs), moving=False, proven=not others_may_move)
        for half, (k, jobs, _) in cheapest
    ]


def _knowing(week: Week, plan: Plan, job: str) -> Plan:
    """Return the plan with a job of the week that it does not know of yet among those left out."""
    if any(job in (s.job, s.assist) for r in plan.routes for s in r.stops) or any(s.job == job for s in plan.skipped):
        return plan
    skipped = (*plan.skipped, Skipped(job, NOT_ASKED))
    return structs.replace(plan, skipped=skipped, cost=price(week, plan.routes), bound=None)


def _slotted(week: Week, plan: Plan, job: int, best: int, fixed: Fixed) -> list[Offer]:
    """Return the offers of a week of the second format, the others staying."""
    slots = Slots(build(week, fixed=fixed), plan, job)
    before = {name: Spot(v.crew, v.day, v.start) for name, v in visits(outings(week, plan.routes)).items()}
    found = []
    for slot in slots.cheapest(best):
        changed = slots.plan_with(slot)
        if breaches := audit(week, changed).broken_rules:
            raise RuntimeError(f"an offer breaks a rule, which is a defect: {breaches[0].sentence}")
        if changed.cost.total != slot.cost:
            raise RuntimeError(f"an offer costs {changed.cost.total} and not {slot.cost}, which is a defect")
        extra = slot.cost - plan.cost.total
        told = _told(week, week.jobs[job], slot.half, changed, before, slots.span(slot), extra, proven=True)
        if slot.second >= 0:
            crew_day = slots.model.crew_days[slot.second]
            told = replace(told, second=Spot(week.crews[crew_day.crew].id, crew_day.day, slot.begin))
        found.append(told)
    return found


def _told(
    week: Week,
    job: Job,
    half: Half,
    plan: Plan,
    before: Mapping[str, Spot],
    span: tuple[int, int],
    extra: int,
    *,
    proven: bool,
) -> Offer:
    """Return the offer that leads to `plan`; before: the visits of the present one, span: starts at the same cost."""
    done = visits(outings(week, plan.routes))
    at = done[job.id]
    after = {name: Spot(v.crew, v.day, v.start) for name, v in done.items()}
    held = [w for w in job.windows if w.day == at.day and w.start <= at.start and at.end <= w.end]
    window = min(held, key=lambda w: (w.risk_cents, w.start, w.end))
    moves = {
        name: (what, before.get(name), after.get(name))
        for name in sorted({*before, *after} - {job.id})
        if (what := what_changed(before.get(name), after.get(name))) not in (None, "stays")
    }
    was = before.get(job.id)
    return Offer(
        crew=at.crew,
        day=at.day,
        start=at.start,
        earliest=span[0],
        latest=span[1],
        window=window,
        risk_share=window.risk_cents / job.skip_cents if job.skip_cents else None,
        cost_cents=plan.cost.total,
        extra_cents=extra,
        moves=cast("Mapping[str, tuple[What, Spot | None, Spot | None]]", moves),
        besides_cents=0,
        as_planned=was is not None and half.holds(was.day, was.start),
        proven=proven,
        plan=plan,
    )


class _Bench:
    """The present plan and one job to be put in."""

    def __init__(self, model: Model, plan: Plan, before: Mapping[str, Spot], job: int) -> None:
        self.model, self.plan, self.before, self.job = model, plan, before, job
        self.week = model.week
        self.still, self.routes = staying(model, plan, [self.week.jobs[job].id])

    def staying(self) -> Iterator[tuple[Half, tuple[int, list[int], int]]]:
        """Yield for each half day the crew day, its stops with the job among them, and the whole plan's least cost."""
        standing = Standing(self.still, self.routes)
        for half in halves(self.model, self.job):
            only = within(self.still, self.job, half)
            found: tuple[int, int, list[int]] | None = None
            for k in np.nonzero(self.model.day_of == half.day)[0].tolist():
                put = standing.put(self.job, k, only)
                if put is not None and (found is None or put[0] < found[0]):
                    found = put[0], k, put[1]
            if found is not None:
                yield half, (found[1], found[2], found[0])

    def with_route(self, k: int, jobs: list[int]) -> dict[int, list[int]]:
        """Return the present routes with that of crew day k changed."""
        return {**self.routes, k: jobs}

    def offer(self, half: Half, routes: Mapping[int, Sequence[int]], *, moving: bool, proven: bool) -> Offer:
        """Return the offer that these routes make, the job starting in `half`; all is priced and audited again."""
        base = self.model if moving else self.still
        plan = plan_of(within(base, self.job, half), routes, seconds=0.0, bound=None)
        if breaches := audit(self.week, plan).broken_rules:
            raise RuntimeError(f"an offer breaks a rule, which is a defect: {breaches[0].sentence}")
        # Where nobody moves, other routes may still be timed better than they are in a plan made by hand.
        plan, besides = apart(self.week, self.plan, plan, self.week.jobs[self.job].id)
        k = next(k for k, jobs in routes.items() if self.job in jobs)
        start = visits(outings(self.week, plan.routes))[self.week.jobs[self.job].id].start
        span = self._span(base, half, k, list(routes[k]), start)  # the job's own route is as made
        extra = plan.cost.total - self.plan.cost.total
        told = _told(self.week, self.week.jobs[self.job], half, plan, self.before, span, extra, proven=proven)
        return replace(told, besides_cents=besides)

    def _span(self, model: Model, half: Half, k: int, jobs: list[int], start: int) -> tuple[int, int]:
        """Return the first and last start about `start`, in the half day, that cost the same on this route."""
        mine = model.options_of(k, self.job)
        options = list(zip(model.opt_lo[mine].tolist(), model.opt_hi[mine].tolist(), strict=True))
        week: Any = arrays(replace(model, opt_lo=model.opt_lo.copy(), opt_hi=model.opt_hi.copy()))
        seq = np.array(jobs, dtype=np.int64)
        helpers = model.helpers_for(k, jobs)

        def cost(at: int) -> int:
            for n, (lo, hi) in enumerate(options):
                week.opt_lo[mine.start + n], week.opt_hi[mine.start + n] = at, at if lo <= at <= hi else -1
            return int(route_cost(week, k, seq, len(seq), helpers))

        least = cost(start)
        first = last = start
        while half.holds(half.day, first - 1) and cost(first - 1) == least:
            first -= 1
        while half.holds(half.day, last + 1) and cost(last + 1) == least:
            last += 1
        return first, last
