"""Because: why each job that is not planned is not, found by undoing just one rule and planning the job again.

A job that no crew day could take even if nothing else were planned is kept off by rules alone
(`scheduler.engine.alone`). Any other is tried in every place of the plan with the rest left as it is
(`scheduler.engine.room`). Several reasons are alternatives, each of them sufficient: undo one and the job can go. Where
nothing short of undoing two or more at once would free it, the last sentence says so. `causes` keeps the groups apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.alone import blocks, ways
from scheduler.engine.reasons.promises import broken_by, why_broken
from scheduler.engine.reasons.room import Opening, openings
from scheduler.engine.reasons.sentences import SHARED, ToldReason, amount, words
from scheduler.engine.search.route_cost import arrays
from scheduler.engine.search.state import state_of
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
    "no_second_crew": "Its second crew has no hour on any day on which a crew could do it.",
    "follows": "The job that it follows is not planned, or not where this one could follow it.",
    "no_helper": "All helpers are out with other crews.",
    "van_full": "The van that could take it is full.",
    "dearer": "There is room, but going costs more than leaving it out.",
    "no_room": "No room: it would push out a job that is worth more, or there is none at all.",
    "not_tried": "It would pay to plan it: the search was stopped before it was tried.",
    "promise_broken": "A firm or day booking that is not kept.",
}
_AT_ONCE = " All of these stand in the way at once: undoing one is not enough."
_MOST_WAYS = 3

Group = tuple[Because, ...]


def reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Because, ...]]:
    """Return for every job on no route why it is not planned, plainest reason first.

    routes: crew day of the model -> jobs in visiting order; they keep every rule.
    """
    promises = promise_reasons(model, routes)
    found = causes(model, routes)
    return {j: _flat([*groups, *([(promises[j],)] if j in promises else [])]) for j, groups in found.items()}


def causes(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Group, ...]]:
    """Return what `reasons` does in groups: undoing all of one group, and nothing else, lets the job be planned.

    For `dearer` and `no_room`, undoing is paying what the sentence says. Broken promises are not among them.
    """
    week = arrays(model)
    state, told = state_of(model, week, routes), ToldReason(model, routes)
    planned = {j for jobs in routes.values() for j in jobs}
    return {j: _causes(model, week, state, told, j) for j in range(len(model.week.jobs)) if j not in planned}


def promise_reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, Because]:
    """Return for every job whose firm or day booking is not kept, planned or not, by name why it is not."""
    week = arrays(model)
    return {j: Because("promise_broken", why_broken(model, week, routes, j)) for j in broken_by(model, routes)}


def _causes(model: Model, week: Any, state: Any, told: ToldReason, j: int) -> tuple[Group, ...]:
    open_places = openings(week, state, j, int(model.skip_cost[j]))
    if not open_places or open_places[0].undoings > 1:
        found = list(blocks(model, model.week.jobs[j], told.visits))
        if not found:
            return ((Because("no_crew", "No crew works this week."),),)
        if all(b.rules - {"follows"} for b in found):
            kept_off = ways(found)
            return tuple(
                words(told, j, found, rules) for rules in kept_off[: _MOST_WAYS if len(kept_off[0]) == 1 else 1]
            )
        if not open_places:
            return ((Because("no_room", told.no_hours(j)),),)
    most = _MOST_WAYS if open_places[0].undoings == 1 else 1
    return tuple(_group(told, j, place) for place in open_places[:most])


def _group(told: ToldReason, j: int, place: Opening) -> Group:
    group = [Because(code, told.shared(code, j, place)) for bit, code in SHARED.items() if place.hindered & bit]
    others = told.jobs_at(place)
    if place.extra < 0:
        if not group:
            saving = f"Planned {told.how(place)} on {told.day_of(place.k)} it would save {amount(-place.extra)}"
            text = f"{saving}; the search was stopped before: plan again with more time."
            group.append(Because("not_tried", text))
    elif others:
        worth = f"worth more: {amount(place.extra)} dearer" if place.extra else "worth as much"
        worse = f"{amount(place.extra)} worse" if place.extra else "no better"
        text = f"No room: it would push out {others} ({told.where(place.k)}), {worse}."
        if place.other >= 0:
            freed = told.where(told.day_with(place.other))
            only = f"only with the {told.given(place)} of {others} ({freed})"
            text = f"It could go with {told.where(place.k)}, but {only}, which is {worth}."
        group.append(Because("no_room", text))
    else:
        price = f"{amount(place.extra)} more than" if place.extra else "as much as"
        text = f"The cheapest place for it, {told.where(place.k)}, costs {price} leaving it out."
        group.append(Because("dearer", text))
    return tuple(group)


def _flat(groups: Iterable[Group]) -> tuple[Because, ...]:
    found: dict[tuple[str, str], Because] = {}
    for group in groups:
        for n, because in enumerate(group):
            last = len(group) > 1 and n == len(group) - 1
            told = Because(because.code, because.detail + _AT_ONCE) if last else because
            found.setdefault((told.code, told.detail), told)
    return tuple(found.values())
