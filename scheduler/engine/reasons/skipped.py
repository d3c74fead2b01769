"""Because: why each job that is not planned is not, with what to undo so that it goes.

Every place of the plan is looked at with the rest left as it is, also those that a rule keeps the job off by itself
(`scheduler.engine.reasons.opened`). The reasons told are the smallest sets of things that stand in the way of one place
(`scheduler.engine.reasons.ways`); several are alternatives, each of them enough.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.anew import most_built, most_questions, rounds_each
from scheduler.engine.reasons.opened import OpenedPlan
from scheduler.engine.reasons.promises import broken_by, why_broken
from scheduler.engine.reasons.remedies import Remedy
from scheduler.engine.reasons.rivals import Rivals, Settled
from scheduler.engine.reasons.sentences import ToldReason, amount
from scheduler.engine.reasons.surely import Sure, extra_anew
from scheduler.engine.reasons.ways import Plans, Way, is_hard, look, ways
from scheduler.plan import Because

CODES: dict[str, str] = {
    "kit_not_ready": "Its kit is not complete in time for its work windows.",
    "no_work_window": "Customer, daylight and weather leave no window in which a crew that could do it works.",
    "no_skills": "No crew at work on its days has all the skills.",
    "no_van": "No van is long or strong enough.",
    "no_hands": "Crew and helpers together are too few people.",
    "ladder_out": "A ladder or tool is not in the yard, or out with other crews.",
    "stock_out": "A part on the shelf is too short, or taken by other jobs.",
    "out_of_reach": "Drive, work and rest do not fit into a shift.",
    "other_yard": "Its kit lies at a yard whose crews cannot take it.",
    "no_crew": "No crew works this week.",
    "no_second_crew": "Its second crew has no hour on a day on which a crew could do it.",
    "second_load": "One more load from the yard would do.",
    "rest_within": "The rest that is due would fall into its work.",
    "over_weekly": "It would take a crew past its weekly minutes, which costs more.",
    "follows": "The job that it follows is not planned, or not where this one could follow it.",
    "no_helper": "All helpers are out with other crews.",
    "van_full": "The van that could take it is full.",
    "dearer": "There is room, but going costs more than letting it wait.",
    "no_room": "No room: it would push out a job that is worth more, or there is none at all.",
    "not_tried": "It would pay to plan it: the search was stopped before it was tried.",
    "promise_broken": "A firm or day booking that is not kept.",
}


@dataclass(frozen=True)
class Cause:
    """One way to have the job go: a sentence for each thing in its way, and what to undo of them at once.

    `remedy`: None where nothing that can be named would do.
    """

    because: tuple[Because, ...]
    remedy: Remedy | None


def reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Because, ...]]:
    """Return for every job on no route why it is not planned, plainest reason first.

    routes: crew day of the model -> jobs in visiting order; they keep every rule.
    """
    plans = _plans(model, routes)
    promises = _promises(model, plans, routes)
    return {
        j: tuple(
            dict.fromkeys(
                because
                for group in (*(c.because for c in told), *([(promises[j],)] if j in promises else []))
                for because in group
            )
        )
        for j, told in _causes(model, plans, routes).items()
    }


def causes(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Cause, ...]]:
    """Return what `reasons` does with what to undo of each; broken promises are not among them."""
    return _causes(model, _plans(model, routes), routes)


def promise_reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, Because]:
    """Return for every job whose firm or day booking is not kept, planned or not, by name why it is not."""
    return _promises(model, _plans(model, routes), routes)


def _plans(model: Model, routes: Mapping[int, Sequence[int]]) -> Plans:
    asked = {*_waiting(model, routes), *broken_by(model, routes)}
    named = {(model.week.crews[model.crew_days[k].crew].id, model.crew_days[k].day): jobs for k, jobs in routes.items()}
    return Plans(model, named, asked)


def _waiting(model: Model, routes: Mapping[int, Sequence[int]]) -> list[int]:
    planned = {j for jobs in routes.values() for j in jobs}
    return [j for j in range(len(model.week.jobs)) if j not in planned]


def _promises(model: Model, plans: Plans, routes: Mapping[int, Sequence[int]]) -> dict[int, Because]:
    broken = broken_by(model, routes)
    rounds = rounds_each(len(broken)) if len(broken) <= most_built(model) else 0
    sure = Sure(model)
    return {j: Because("promise_broken", why_broken(model, plans, j, rounds, sure)) for j in broken}


def _causes(model: Model, plans: Plans, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Cause, ...]]:
    if not any(crew.shifts for crew in model.week.crews):
        none = Cause((Because("no_crew", "No crew works this week."),), None)
        return dict.fromkeys(_waiting(model, routes), (none,))
    waiting = _waiting(model, routes)
    looked = {j: look(plans.base, j, int(model.skip_cost[j])) for j in waiting}
    plans.hard = frozenset(j for j in waiting if is_hard(looked[j]))
    dearest = sorted(waiting, key=lambda j: (-int(model.skip_cost[j]), j))[: most_questions(model)]
    asked, rounds = set(dearest), rounds_each(2 * len(dearest))
    sure = Sure(model)
    rivals = Rivals(most_built(model), rounds, sure)

    def settle(opened: OpenedPlan, j: int, found: Settled) -> Settled:
        return rivals.settled(opened, j, found) if j in asked else found

    by_price = {
        j: ways(plans.loose, j, int(model.skip_cost[j]), looked[j], settle=settle)
        for j in sorted(waiting, key=lambda j: (-int(model.skip_cost[j]), j))
    }
    found = {j: by_price[j] for j in waiting}
    present = sum(plans.base.cost_by_route().values()) + sum(int(model.skip_cost[j]) for j in waiting)
    again = extra_anew(model, present, [p for p in _priced(model, routes, found) if p[0] in asked], sure)
    made = dict[int, tuple[Cause, ...]]()
    for j, told in found.items():
        extra = again.get(j)
        priced = _price_way(told)
        if priced is not None and extra is not None and extra < 0:
            made[j] = (_not_tried(priced, extra),)
        else:
            made[j] = tuple(_cause(j, way, extra) for way in told) or (_no_day(model, j),)
    return made


def _priced(
    model: Model, routes: Mapping[int, Sequence[int]], found: Mapping[int, list[Way]]
) -> Iterable[tuple[int, Mapping[int, Sequence[int]]]]:
    """Yield the jobs that go where a price is paid, with the plan that pays it, also where less than that would do."""
    for j, told in found.items():
        way = _price_way(told)
        if way is None:
            continue
        begin = {k: [x for x in jobs if x not in way.place.out] for k, jobs in routes.items()}
        begin[model.crew_day[way.opened.at(way.place.k)]] = way.order
        yield j, {k: jobs for k, jobs in begin.items() if jobs}


def _price_way(told: Iterable[Way]) -> Way | None:
    """Return the way in which nothing but a price keeps the job out, whatever else would do as well."""
    return next((way for way in told if not way.place.hindered and way.place.extra >= 0), None)


def _cause(j: int, way: Way, extra: int | None) -> Cause:
    if extra is not None and not way.place.hindered:
        way = dataclasses.replace(way, remedy=dataclasses.replace(way.remedy, again_cents=min(extra, way.place.extra)))
    return Cause(tuple(ToldReason(j, way).group()), way.remedy)


def _not_tried(way: Way, extra: int) -> Cause:
    text = f"With everything planned again it would save {amount(-extra)}: plan again with more time."
    return Cause((Because("not_tried", text),), dataclasses.replace(way.remedy, cents=None, again_cents=extra))


def _no_day(model: Model, j: int) -> Cause:
    """Return what is said where no crew's day takes the job, four hours longer and at any hour of the day."""
    job = model.week.jobs[j]
    text = f"Its {job.minutes} minutes and the drive fit into no crew's day, four hours longer and at any hour."
    return Cause((Because("out_of_reach", text),), None)
