"""Because: why each job that is not planned is not, found by undoing just one rule and planning the job again.

A job that no crew day could take even if nothing else were planned is kept off by rules alone
(`scheduler.engine.alone`). Any other is tried in every place of the plan with the rest left as it is
(`scheduler.engine.room`). Several reasons are alternatives, each of them sufficient: undo one and the job can go. Where
nothing short of undoing two or more at once would free it, the last sentence says so. `causes` keeps the groups apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from scheduler.engine.alone import blocks, ways
from scheduler.engine.model import Model
from scheduler.engine.room import FOLLOW, HELPER, LADDER, LOAD, STOCK, Place, exchanges, insertions, state_of
from scheduler.engine.ruin import arrays
from scheduler.engine.sentences import Told, amount, words
from scheduler.plan import Because

CODES: dict[str, str] = {
    "kit_not_ready": "Its kit is not complete in time for its work windows.",
    "no_work_window": "Customer, daylight and weather leave no window in which a crew that could do it works.",
    "no_skills": "No crew at work on its days has all the skills.",
    "no_van": "No van is long or strong enough.",
    "no_hands": "Crew and helpers together have too few hands.",
    "ladder_out": "A ladder or tool is not in the yard, or out with other crews.",
    "stock_out": "A part on the shelf is too short, or taken by other jobs.",
    "out_of_reach": "Drive, work and rest do not fit into a shift.",
    "other_yard": "Its kit lies at a yard whose crews cannot take it.",
    "no_crew": "No crew works this week.",
    "follows": "The job that it follows is not planned, or not where this one could follow it.",
    "no_helper": "All helpers are out with other crews.",
    "van_full": "The van that could take it is full.",
    "dearer": "There is room, but going costs more than leaving it out.",
    "no_room": "There is room only in place of a dearer job, or nowhere.",
    "not_tried": "It would pay to plan it: the search was stopped before it was tried.",
    "promise_broken": "A firm or day booking that is not kept.",
}
_BITS = {LADDER: "ladder_out", STOCK: "stock_out", HELPER: "no_helper", FOLLOW: "follows", LOAD: "van_full"}
_AT_ONCE = " All of these stand in the way at once: undoing one is not enough."
_MOST_WAYS = 3

Group = tuple[Because, ...]


def reasons(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Because, ...]]:
    """Return for every job on no route why it is not planned, plainest reason first.

    routes: crew day of the model -> jobs in visiting order; they keep every rule.
    """
    return {j: _flat(groups) for j, groups in causes(model, routes).items()}


def causes(model: Model, routes: Mapping[int, Sequence[int]]) -> dict[int, tuple[Group, ...]]:
    """Return what `reasons` does in groups: undoing all of one group, and nothing else, lets the job be planned.

    For `dearer` and `no_room`, undoing is paying what the sentence says.
    """
    search = _Search(model, routes)
    planned = {j for jobs in routes.values() for j in jobs}
    return {j: search.causes(j) for j in range(len(model.week.jobs)) if j not in planned}


def _flat(groups: Iterable[Group]) -> tuple[Because, ...]:
    found: dict[tuple[str, str], Because] = {}
    for group in groups:
        for n, because in enumerate(group):
            last = len(group) > 1 and n == len(group) - 1
            told = Because(because.code, because.detail + _AT_ONCE) if last else because
            found.setdefault((told.code, told.detail), told)
    return tuple(found.values())


class _Search:
    """One plan, and what can be asked of it."""

    def __init__(self, model: Model, routes: Mapping[int, Sequence[int]]) -> None:
        self.model = model
        self.week = arrays(model)
        self.state = state_of(model, self.week, routes)
        self.told = Told(model, routes)

    def causes(self, j: int) -> tuple[Group, ...]:
        worth = int(self.model.skip_cost[j])
        places = insertions(self.week, self.state, j, worth)
        groups = self._groups(j, places)
        if groups and len(groups[0]) == 1:
            return groups
        found = list(blocks(self.model, self.model.week.jobs[j], self.told.visits))
        if not found:
            return ((Because("no_crew", "No crew works this week."),),)
        kept_off = ways(found)
        if all(len(b.rules - {"follows"}) > 0 for b in found):
            chosen = kept_off[: _MOST_WAYS if len(kept_off[0]) == 1 else 1]
            return tuple(words(self.told, j, found, rules) for rules in chosen)
        groups = self._groups(j, places + exchanges(self.week, self.state, j, worth))
        return groups or ((Because("no_room", self.told.no_hours(j)),),)

    def _groups(self, j: int, places: list[Place]) -> tuple[Group, ...]:
        """Return the smallest groups of reasons of which one, undone, opens one of `places`; [] where there is none."""
        best: dict[tuple[int, bool, bool], Place] = {}
        for place in places:
            key = (place.hindered, place.extra >= 0, place.length > 0)
            if key not in best or (place.extra, place.k, place.first) < (best[key].extra, best[key].k, best[key].first):
                best[key] = place
        if not best:
            return ()
        sizes = {key: max(1, key[0].bit_count() + (key[1] or key[2])) for key in best}
        least = min(sizes.values())
        chosen = sorted(key for key, size in sizes.items() if size == least)
        chosen = [key for key in chosen if key[:2] == (0, False)][:1] or chosen  # cheaper than this plan
        if any(not key[2] for key in chosen):
            chosen = [key for key in chosen if not key[2]]
        chosen.sort(key=lambda key: (key[1], key))
        return tuple(self._group(j, best[key]) for key in chosen[: _MOST_WAYS if least == 1 else 1])

    def _group(self, j: int, place: Place) -> Group:
        group = [Because(code, self.told.shared(code, j, place)) for bit, code in _BITS.items() if place.hindered & bit]
        if place.length:
            group.append(self._instead(place))
        elif place.extra >= 0:
            price = (
                f"costs {amount(place.extra)} more than leaving it out"
                if place.extra
                else "costs as much as leaving it out"
            )
            group.append(Because("dearer", f"The cheapest place for it, {self.told.where(place.k)}, {price}."))
        elif not group:
            saving = f"{self.told.where(place.k)}, would save {amount(-place.extra)}"
            group.append(
                Because(
                    "not_tried", f"Planning it, {saving}; the search was stopped before: plan again with more time."
                )
            )
        return tuple(group)

    def _instead(self, place: Place) -> Because:
        jobs = self.told.jobs_at(place)
        verb = "is" if place.length == 1 else "are"
        if place.extra < 0:
            text = f"In place of {jobs} ({self.told.where(place.k)}) it would save {amount(-place.extra)}"
            return Because("not_tried", f"{text}; the search was stopped before: plan again with more time.")
        worth = (
            f"which {verb} worth more: {amount(place.extra)} dearer" if place.extra else f"which {verb} worth as much"
        )
        return Because("no_room", f"There is room only in place of {jobs} ({self.told.where(place.k)}), {worth}.")
