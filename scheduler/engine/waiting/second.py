"""Because, for weeks of the second format: each reason is tried in the document before it is told.

One kind of rule at a time is thought away (`loosened`), and the job put into the plan where that then costs least, to
the minute, with its second crew, loads, rests and weekly minutes. What the week lacks for that is the remedy.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import combinations

import numpy as np
from msgspec.structs import replace

from scheduler.audit import audit
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.placing.slots import Slots
from scheduler.engine.reasons.anew import DEAR, Again, Begin
from scheduler.engine.reasons.remedies import Remedy, Undo, with_undone
from scheduler.engine.reasons.skipped import Cause
from scheduler.engine.waiting.loosened import REST_WITHIN, SECOND_CREW, TO_BE_HAD, WEEKLY, kinds_for, loosened
from scheduler.engine.waiting.needed import kinds_of, needed
from scheduler.engine.waiting.plain import plain_reasons
from scheduler.engine.waiting.smallest import smallest
from scheduler.engine.waiting.told import ToldSecond
from scheduler.plan import Because, Plan, Route
from scheduler.price import outings, price, visits
from scheduler.reports.promises import broken_promises
from scheduler.week import Job, Week

MOST_WAYS = 3
MOST_PAIRS = 800_000  # jobs times crew days, of all jobs asked about so; of the others what is plain is told
MOST_AGAIN = 150_000  # the same of weeks planned again, to see whether the job goes or another does
MOST_BUILT = 150_000  # the same of weeks with several rules thought away, to see which of them are needed
MOST_OUT = 100_000  # the same of visits that may have to go for one job,
MOST_SETS = 400  # of rules thought away at once that are tried for one job
MOST_STANDING = 64  # plans, each with some rules thought away or jobs left out, kept for the next job asked about
_MOST_OUT = 12  # tried one by one, at most so many
_MOST_PAIRED = 24  # pairs of them
ROUNDS, MOST_ROUNDS = 200, 1_200  # of each search, the second where the week is so small that they take no time
ROUND_PAIRS = 100_000  # rounds times jobs times crew days of one search, between the two


@dataclass(frozen=True)
class Undone:
    """The plan `made`, in which the job goes in the week `freed` of what `undo` names.

    `extra`: what it costs more there than the plan without; `out`: jobs that are left out for it;
    `note`: a sentence on how small the set is, of several at once.
    """

    kinds: frozenset[str]
    undo: tuple[Undo, ...]
    freed: Week
    made: Plan
    extra: int
    out: tuple[str, ...] = ()
    note: str = ""


def second_reasons(model: Model, plan: Plan) -> dict[int, tuple[Because, ...]]:
    """Return for every job that `plan` leaves out why, plainest reason first, by number."""
    found = second_causes(model, plan)
    return {j: tuple(dict.fromkeys(b for cause in told for b in cause.because)) for j, told in found.items()}


def second_causes(model: Model, plan: Plan) -> dict[int, tuple[Cause, ...]]:
    """Return what `second_reasons` does with what to undo of each.

    model: of the week, without anything fixed; plan: keeps its rules, with the cost stated rightly.
    """
    week = model.week
    made = {
        j: (Cause(because, None),) for j, because in plain_reasons(model, model.routes_of(plan)).items()
    }  # what is not asked about keeps that
    if not any(crew.shifts for crew in week.crews):
        none = Cause((Because("no_crew", "No crew works in these days."),), None)
        return dict.fromkeys(made, (none,))
    pairs = max(1, len(week.jobs) * len(model.crew_days))
    dearest = sorted(made, key=lambda j: (-int(model.skip_cost[j]), j))[: MOST_PAIRS // pairs]
    asking = Trials(model, plan, frozenset(week.jobs[j].id for j in dearest), MOST_AGAIN // pairs)
    return made | {j: asking.causes(week.jobs[j]) for j in dearest}


class Trials:
    """The plan, and the week with kinds of rules thought away; `again`: how often a week may be planned again."""

    def __init__(self, model: Model, plan: Plan, asked: frozenset[str], again: int) -> None:
        self.model, self.week, self.plan, self.asked, self.again = model, model.week, plan, asked, again
        pairs = max(1, len(self.week.jobs) * len(model.crew_days))
        self.most_out, self.built = min(_MOST_OUT, 1 + MOST_OUT // pairs), MOST_BUILT // pairs
        self.most_paired = min(_MOST_PAIRED, MOST_OUT // pairs)
        self.waiting, self.faulty = len(asked), 0  # jobs still to be asked about; places that the auditor refused
        self.rounds = max(ROUNDS, min(MOST_ROUNDS, ROUND_PAIRS // pairs))
        self.loose = cache(self._loose)
        self.left_out = cache(self._left_out)
        self.standing = lru_cache(MOST_STANDING)(self._standing)

    def _loose(self, kinds: frozenset[str]) -> Model:
        self.built -= len(kinds) > 1
        return build(loosened(self.week, kinds, self.asked)) if kinds else self.model

    def _left_out(self, others: tuple[str, ...]) -> Plan | None:
        """Return the plan without these jobs, None where it cannot be without one."""
        plan: Plan | None = self.plan
        for other in others:
            if plan is not None:
                plan = Slots(self.model, plan, self.model.number[other]).plan_without()
        return plan

    def _standing(self, kinds: frozenset[str], out: tuple[str, ...]) -> Slots | None:
        """Return the slots of some job that waits, in the plan without `out`: those of others are had from them."""
        model, plan = self.loose(kinds), self.left_out(out)
        waiting = next(j.id for j in self.week.jobs if j.id in self.asked)
        return None if plan is None else Slots(model, plan, model.number[waiting])

    def causes(self, job: Job) -> tuple[Cause, ...]:
        """Return the ways that need least undone, at most three, those without a price first."""
        self.waiting -= 1
        now = self.trial(job, frozenset())
        if now is not None and now.extra < 0:
            return (self._told(job, now),)
        kinds = kinds_for(self.week, self.plan, job)
        plain = [kind for kind in kinds if kind in TO_BE_HAD or kind in (REST_WITHIN, SECOND_CREW)]
        tried = [t for kind in plain if (t := self.trial(job, frozenset({kind}))) is not None]
        price = now or self.instead(job)
        if price is None and not any(t.extra < 0 for t in tried):
            by_time = [kind for kind in kinds if kind not in plain]
            tried += [t for kind in by_time if (t := self.trial(job, frozenset({kind}))) is not None]
        paying = self.distinct(t for t in tried if t.extra < 0)[: MOST_WAYS - (price is not None)]
        chosen = [*paying, *([price] if price is not None else [])]
        if not chosen:
            chosen = self.distinct(tried)[:1] or self.together(job, kinds)
        return tuple(self._told(job, t) for t in chosen) or (self._nowhere(job),)

    def trial(
        self, job: Job, kinds: frozenset[str], out: tuple[str, ...] = (), only: Collection[int] | None = None
    ) -> Undone | None:
        """Return the job's cheapest place with these kinds thought away, and what then has to be undone in the week.

        out: jobs that are left out for it; only: the crew days that may do it (None: any).
        """
        standing = self.standing(kinds, out)
        if standing is None:
            return None
        slots = standing.of_another(standing.model.number[job.id])
        found = slots.cheapest(1, None if only is None else dict.fromkeys(only))
        if not found:
            return None
        made = slots.plan_with(found[0])
        undo = needed(self.week, made, job.id, kinds)
        freed = with_undone(self.week, job.id, undo)
        if freed.rest is None:  # then nobody says when they rest
            made = replace(made, routes=tuple(replace(r, rest=None) for r in made.routes))
        made = stated(freed, made)
        if bool(undo) != bool(kinds) or audit(freed, made).broken_rules:
            self.faulty += 1
            return None
        return Undone(kinds, undo, freed, made, made.cost.total - price(freed, self.plan.routes).total, out)

    def instead(self, job: Job) -> Undone | None:
        """Return the cheapest place for which one or two others go, else for which a crew's whole day does."""
        number = self.model.number
        may = self._may(job)
        planned = sorted(
            (int(self.model.skip_cost[number[stop.job]]), stop.job, freed)
            for route in self.plan.routes
            for stop in route.jobs
            if (freed := tuple(sorted(self._freed(route, stop.job, job) & may)))
        )[: self.most_out]
        found = [t for _, other, freed in planned if (t := self.trial(job, frozenset(), (other,), freed)) is not None]
        least = min((t.extra for t in found), default=None)
        found += self._instead_of_two(job, {other: freed for _, other, freed in planned}, least)
        for route in self.plan.routes if not found else ():
            k = self.model.crew_day[route.crew, route.day]
            if k in may and len(found) < MOST_WAYS:
                others = tuple(stop.job or stop.assist for stop in route.stops if not stop.reload)
                if (t := self.trial(job, frozenset(), others, (k,))) is not None:
                    found.append(t)
        return min(found, key=lambda t: t.extra, default=None)

    def _instead_of_two(self, job: Job, freed: Mapping[str, tuple[int, ...]], least: int | None) -> Iterator[Undone]:
        """Yield the job's places for which two others go, of one route or two, where that can cost less than `least`.

        freed: the crew days on which each of the others makes room. What two of different routes are worth adds up.
        """
        loss, route_of = dict[str, int](), {s.job: (r.crew, r.day) for r in self.plan.routes for s in r.jobs}
        for other in freed:
            if (without := self.left_out((other,))) is not None:
                loss[other] = without.cost.total - self.plan.cost.total
        pairs = sorted(
            (loss[a] + loss[b], (a, b), both)
            for a, b in combinations(loss, 2)
            if (both := tuple(k for k in freed[a] if k in freed[b]))
        )
        saved = int(self.model.skip_cost[self.model.number[job.id]])
        for lost, (a, b), both in pairs[: self.most_paired]:
            if least is not None and lost - saved >= least and route_of[a] != route_of[b]:
                continue
            if (t := self.trial(job, frozenset(), (a, b), both)) is not None:
                least = t.extra if least is None else min(least, t.extra)
                yield t

    def _may(self, job: Job) -> set[int]:
        """Return the crew days that may do the job."""
        mine = self.model.local[:, self.model.number[job.id]] >= 0
        return {int(k) for k in np.nonzero(mine)[0] if int(self.model.day_of[k]) in self._days(job)}

    def _freed(self, route: Route, name: str, job: Job) -> set[int]:
        """Return the crew days on which `job` may find room once the job `name` has left `route`.

        Those whose hours it takes, and those that take helpers, tools or parts from where it does.
        """
        model, other = self.model, self.week.jobs[self.model.number[name]]
        crew = self.week.crews[int(model.crew_of[model.crew_day[route.crew, route.day]])]
        found = {model.crew_day[r.crew, r.day] for r in self.plan.routes for s in r.stops if name in (s.job, s.assist)}
        shelf = any(other.parts[part] and job.parts.get(part) for part in other.parts)
        tools = any(n > crew.onboard.get(item, 0) and job.equipment.get(item) for item, n in other.equipment.items())
        for k in range(len(model.crew_days)):
            own, day = self.week.crews[int(model.crew_of[k])], int(model.day_of[k])
            beside = day == route.day and own.yard == crew.yard and (tools or bool(route.helpers))
            if beside or (shelf and own.yard == crew.yard) or (job.assist is not None and day == route.day):
                found.add(k)
        return found

    def _days(self, job: Job) -> set[int]:
        """Return the days on which the job may go."""
        return {int(d) for d in self.model.day_of[self.model.local[:, self.model.number[job.id]] >= 0]}

    def together(self, job: Job, kinds: list[str]) -> list[Undone]:
        """Return the job's places where fewest kinds have to be thought away at once, at most three.

        No kind alone is enough. How small the sets are is noted with the last.
        """
        share, faulty = self.built - self.built // (self.waiting + 1), self.faulty

        def tried(some: frozenset[str]) -> tuple[Undone, frozenset[str]] | None:
            t = self.trial(job, some)
            return None if t is None else (t, frozenset().union(*(kinds_of(undo) for undo in t.undo)) & some)

        free = [kind for kind in kinds if kind != WEEKLY]  # which forbids nothing: it has a price
        sets = smallest(free, tried, lambda: self.built > share, MOST_SETS)
        if sets is None:
            whole = self.trial(job, frozenset(kinds))
            return [] if whole is None else [whole]
        least = sets.least and self.faulty == faulty
        ways = self.distinct(sets.found)
        *first, last = [t for t in ways if t.extra < 0 or ways[0].extra >= 0][:MOST_WAYS]
        return [*first, dataclasses.replace(last, note=dataclasses.replace(sets, least=least).note)]

    def distinct(self, tried: Iterable[Undone]) -> list[Undone]:
        """Return the trials without repeats: what can be had before other people's hours, the cheapest first."""
        by_undo: dict[tuple[Undo, ...], Undone] = {}
        for t in tried:
            by_undo.setdefault(t.undo, t)
        return sorted(by_undo.values(), key=lambda t: (t.extra >= 0, not t.kinds <= TO_BE_HAD, t.extra, t.undo == ()))

    def _told(self, job: Job, trial: Undone) -> Cause:
        visit = visits(outings(trial.freed, trial.made.routes))[job.id]
        remedy = Remedy(trial.undo, visit.crew, visit.day, trial.extra if trial.extra >= 0 else None, None, trial.out)
        remedy = self._settled(job, trial, remedy)
        extra = remedy.cents if remedy.elsewhere and remedy.cents is not None else trial.extra
        there = dataclasses.replace(self.loose(trial.kinds), week=self.week, stock_cap=self.model.stock_cap)
        *first, last = ToldSecond(there, self.plan, job, trial.made, extra, remedy).group()
        if trial.note:
            last = Because(last.code, f"{last.detail} {trial.note}")
        return Cause((*first, last), remedy)

    def _settled(self, job: Job, trial: Undone, remedy: Remedy) -> Remedy:
        """Return the remedy with what planning again comes to: who goes first, or what the job then costs at most."""
        if self.again <= 0 or (trial.extra < 0 and not trial.undo):
            return remedy
        self.again -= 1
        again = Again(trial.freed, [as_planned(trial.made), as_planned(self.plan)])
        j, paid = self.model.number[job.id], 0 if remedy.cents is None else remedy.cents + 1
        others = self.plan.cost.total
        if trial.undo:
            without = again.cheapest(self.rounds, {j: paid})
            if job.id not in without.jobs:
                forced = again.cheapest(self.rounds, {j: DEAR})
                if job.id in forced.jobs and forced.cost > without.cost:
                    before = {stop.job for route in self.plan.routes for stop in route.jobs}
                    rivals = tuple(sorted(without.jobs - before))
                    least = min([without.cost - paid, *self._in_its_best_place(again.model, trial.freed, rivals)])
                    cents = forced.cost - least
                    return dataclasses.replace(remedy, cents=cents, rivals=rivals, elsewhere=not rivals)
            if remedy.cents is None:
                return remedy
            skip = int(again.model.skip_cost[j])
            others = again.cheapest(self.rounds, {j: -skip}).cost + skip
        extra = again.cheapest(self.rounds, {j: DEAR}).cost - others
        return dataclasses.replace(remedy, again_cents=min(trial.extra, extra) if extra >= 0 else None)

    def _in_its_best_place(self, model: Model, freed: Week, rivals: tuple[str, ...]) -> Iterator[int]:
        """Yield what the plan costs in `freed` with one rival put in, to the minute: the search tries fewer minutes."""
        plan = stated(freed, self.plan)
        if len(rivals) == 1 and not audit(freed, plan).broken_rules:
            yield from (slot.cost for slot in Slots(model, plan, model.number[rivals[0]]).cheapest(1))

    def _nowhere(self, job: Job) -> Cause:
        text = (
            f"Nothing that was tried is enough for its {job.minutes} minutes, the other visits staying: not days "
            "four hours longer, any hour of the day, and all else that stands in its way undone at once."
        )
        return Cause((Because("out_of_reach", text),), None)


def stated(week: Week, plan: Plan) -> Plan:
    """Return the plan with its cost and broken promises as they are in this week, without a bound."""
    broken = broken_promises(week, visits(outings(week, plan.routes)))
    return replace(plan, cost=price(week, plan.routes), broken=broken, bound=None)


def as_planned(plan: Plan) -> Begin:
    return lambda model: (_routes(model, plan), model.starts_of(plan))


def _routes(model: Model, plan: Plan) -> dict[int, list[int]]:
    """Return the plan's routes; those of crew days that the week does not have any more are left out."""
    return {
        model.crew_day[r.crew, r.day]: [i for i in model.items_of(r) if i >= 0]
        for r in plan.routes
        if (r.crew, r.day) in model.crew_day
    }
