"""Why a firm or day booking is not kept, for weeks of the second format: what forbids it, or what keeping it costs.

The job is taken out of the plan and put back where the booking is kept, the rest as it is; where it finds no place
there, one kind of rule at a time is thought away, as for jobs that wait.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.starts import NEVER_BEGUN
from scheduler.engine.placing.slots import Slots
from scheduler.engine.reasons.anew import DEAR, Again
from scheduler.engine.reasons.promises import forbidden, named, no_crew_can, price_of_keeping
from scheduler.engine.reasons.remedies import Remedy
from scheduler.engine.reasons.sentences import plain
from scheduler.engine.reasons.skipped import Cause
from scheduler.engine.waiting.loosened import EARLIER, LATER, WINDOWS, kinds_for, loosened
from scheduler.engine.waiting.second import MOST_AGAIN, ROUNDS, Trials, Undone, as_planned, stated
from scheduler.engine.waiting.told import ToldSecond
from scheduler.plan import Because, Plan
from scheduler.price import outings, visits
from scheduler.week import Booking, Job


def promise_causes(model: Model, plan: Plan) -> dict[int, Cause]:
    """Return for each job in `plan.broken`, by number, a sentence by name on why its booking is not kept.

    With what to undo where it can be kept so, and what keeping it then costs; None where it cannot be kept.

    model: of the week, without anything fixed; plan: keeps its rules, with the cost stated rightly.
    """
    found, again = {}, MOST_AGAIN // max(1, len(model.week.jobs) * len(model.crew_days))
    for n, j in enumerate(model.number[name] for name in plan.broken):
        job = model.week.jobs[j]
        assert job.booked is not None
        remedy, why = _why(model, plan, job, job.booked, anew=n < again)
        sentence = f"{named(model.week, job, job.booked)} is not kept: {'; '.join(why)}."
        found[j] = Cause((Because("promise_broken", sentence),), remedy)
    return found


def _why(model: Model, plan: Plan, job: Job, booked: Booking, *, anew: bool) -> tuple[Remedy | None, list[str]]:
    """Return what to undo and pay, and the sentence in parts; anew: whether the week may be planned again for that."""
    week = model.week
    if never := forbidden(week, job, booked):
        return None, [never]
    without: Plan | None = plan
    if all(skip.job != job.id for skip in plan.skipped):
        without = Slots(model, plan, model.number[job.id]).plan_without()
    if without is None:
        return None, ["the rest of its crew's day cannot go without it where it is"]
    without = stated(week, without)
    asking = _Keeping(model, without, job, booked)
    spared = plan.cost.total - without.cost.total
    way = _best(asking, job, spared)
    if way is None:
        return None, [no_crew_can(week, booked)]
    visit = visits(outings(way.freed, way.made.routes))[job.id]
    extra = way.extra - spared
    there = dataclasses.replace(asking.loose(way.kinds), week=week, stock_cap=model.stock_cap)
    again = asking.anew(way.made) - plan.cost.total if anew and extra >= 0 and not way.undo else None
    least = None if again is None else min(again, extra)
    remedy = Remedy(way.undo, visit.crew, visit.day, extra if extra >= 0 else None, least, way.out)
    told = ToldSecond(there, without, job, way.made, extra, remedy)
    facts = [plain(fact) for _, fact in told.facts()] if way.undo else []
    kept = [told.could_be_kept().rstrip(",")] if way.undo else []
    note = [way.note[0].lower() + way.note[1:-1]] if way.note else []
    return remedy, [*facts, *kept, *price_of_keeping(told, extra, bool(way.undo), least), *note]


def _best(asking: _Keeping, job: Job, spared: int) -> Undone | None:
    """Return the way that is told: as the week is, else what pays once undone, else who would have to go, else any."""
    now = asking.trial(job, frozenset())
    if now is not None:
        return now
    kinds = [kind for kind in kinds_for(asking.week, asking.plan, job) if kind != WINDOWS]
    by_time = [kind for kind in kinds if kind in (LATER, EARLIER)]
    tried = asking.alone(job, [kind for kind in kinds if kind not in by_time]) or asking.alone(job, by_time)
    if tried and tried[0].extra < spared:
        return tried[0]
    return asking.instead(job) or next(iter([*tried, *asking.together(job, kinds)]), None)


class _Keeping(Trials):
    """The plan without the job, and weeks in which it can start only where its booking is kept."""

    def __init__(self, model: Model, plan: Plan, job: Job, booked: Booking) -> None:
        super().__init__(model, plan, frozenset({job.id}), again=0)
        self.booked, self.number = booked, model.number[job.id]

    def alone(self, job: Job, kinds: list[str]) -> list[Undone]:
        """Return the job's places where one of `kinds` is thought away, the best first."""
        return self.distinct([t for kind in kinds if (t := self.trial(job, frozenset({kind}))) is not None])

    def anew(self, made: Plan) -> int:
        """Return what the cheapest plan found costs that keeps the booking, everything planned again from `made`."""
        again = Again(self.week, [as_planned(made)] * 2, self.loose(frozenset()))
        return again.cheapest(ROUNDS, {self.number: DEAR}).cost

    def _loose(self, kinds: frozenset[str]) -> Model:
        self.built -= len(kinds) > 1
        return self._kept(build(loosened(self.week, kinds, self.asked)) if kinds else self.model)

    def _days(self, job: Job) -> set[int]:
        return {self.booked.day}

    def _kept(self, model: Model) -> Model:
        """Return the model with no start of the job but those that keep its booking."""
        booked, crews = self.booked, model.week.crews
        lo, hi = model.opt_lo.copy(), model.opt_hi.copy()
        for k, crew_day in enumerate(model.crew_days):
            mine = model.options_of(k, self.number)
            if booked.hold == "firm":
                lo[mine] = np.maximum(lo[mine], booked.start)
                hi[mine] = np.minimum(hi[mine], booked.start)
            other = booked.hold == "firm" and crews[crew_day.crew].id != booked.crew
            hi[mine][(lo[mine] > hi[mine]) | other | (crew_day.day != booked.day)] = NEVER_BEGUN
        return dataclasses.replace(model, opt_lo=lo, opt_hi=hi)
