"""What is missing where no layout exists: the members that would be needed, and where backing has to be put in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scheduler.layout.documents import CONTINUOUS, Finding, Survey
from scheduler.layout.placement.bar import EQUAL, Bar
from scheduler.layout.placement.brackets import (
    Placement,
    allowed_shifts,
    bar_of,
    best_continuous,
    blocked_by,
    grid_places,
    member_places,
)
from scheduler.units import both, feet_inches

_MARGIN = 50.8  # backing above the upper fasteners and below the lower bearing edge, 2 in: common practice
_NEW_PLACE = 1e9  # one new place is worse than any distance, and than an outer bracket inside its arm
_INSIDE = 1e6
_WORD = {"rafters": "rafters", "hollow-block": "grouted cells"}


def missing_findings(survey: Survey, placement: Placement) -> list[Finding]:
    """Return the `stop` that says why `placement` has no brackets and what would mend it; nothing where it has some."""
    if placement.spots:
        return []
    kind, awning = survey.wall.kind, survey.awning
    if kind == "brick-veneer":
        text = (
            "Brick veneer carries nothing but itself (residential code, R703.7; no deck ledger may hang on it either,"
            " R507.2.2): reach the framing behind it with the manufacturer's through-veneer bracket, or have an"
            " engineer design the fixing; survey the studs behind it as wood-studs then."
        )
        return [Finding("stop", "veneer", text)]
    if kind == "fascia":
        text = (
            "A fascia board carries nothing by itself (common practice: it is nailed to the rafter tails): mount to the"
            " rafters with the manufacturer's roof brackets, or to the wall below; survey those instead."
        )
        return [Finding("stop", "fascia", text)]
    if placement.shift is None:
        return [Finding("stop", "outside-band", _outside_band(survey))]
    bar = bar_of(survey, placement.required)
    found = _fewest_new(survey, bar)
    if found is None:
        text = (
            f"{bar.count} brackets {both(bar.bracket)} wide have no room on a bar of {both(bar.width)} beside the zones"
            f" of its {len(bar.arms)} arms with one within 12 in of each outer arm: check the measures, or ask the"
            " manufacturer for narrower brackets."
        )
        return [Finding("stop", "no-room-on-bar", text)]
    shift, places = found
    left = survey.place.left_end + shift
    word = _WORD.get(kind, "studs")
    new = [left + at for at, member in places if member is None]
    used = [survey.wall.members[member] for _, member in places if member is not None]
    side = "right" if shift > 0 else "left"
    moved = f"with the awning {both(abs(shift))} to the {side}" if shift else "with the awning at the wished place"
    stand = f"none of the {word} found serves"
    if used:
        stand = f"{len(used)} stand{'s' * (len(used) == 1)} on the {word} at {_listed(used)}"
    more = f"{len(new)} more {'is' if len(new) == 1 else 'are'} needed at {_listed(new)} from the datum"
    low, high = survey.place.height - awning.bracket_lever - _MARGIN, survey.place.height + _MARGIN
    if survey.is_second:
        put = "put in solid backing, fixed to the framing, centered"
        put = "grout the cells solid, centered" if kind == "hollow-block" else put
    else:  # layouts of first surveys keep their very words
        put = "put in solid backing, fixed to the framing, centred"
        put = "grout the cells solid centred" if kind == "hollow-block" else put
    text = (
        f"The {word} found do not give {bar.count} bracket places; {moved} {stand}, and {more}: find {word} there that"
        f" the survey missed, or {put} there ({_between(survey, new)}), {both(bar.bracket)}"
        f" wide or more, from {both(max(low, 0))} to {both(high)} up, as local code or an engineer asks for it."
    )
    return [Finding("stop", "no-backing", text)]


def _listed(places: Sequence[float]) -> str:
    return ", ".join(both(place) for place in places)


def _outside_band(survey: Survey) -> str:
    band, awning, place = survey.band, survey.awning, survey.place
    room = band.right - band.left
    if awning.width > room + EQUAL:
        return (
            f"The awning is {both(awning.width)} wide, {both(awning.width - room)} more than the clear band from"
            f" {both(band.left)} to {both(band.right)}: it needs a narrower awning or what bounds the band moved."
        )
    over_left, over_right = band.left - place.left_end, place.left_end + awning.width - band.right
    over, side = (over_left, "right") if over_left > 0 else (over_right, "left")
    return (
        f"At the wished place the awning reaches {both(over)} beyond the clear band, and a slide of {both(place.slide)}"
        f" in steps of 1/2 in does not bring it inside: move its place at least that far to the {side}."
    )


def _between(survey: Survey, places: Sequence[float]) -> str:
    """Say between which members each place lies, in a carpenter's short words; in both units for a second survey."""

    def named(place: float) -> str:
        if not survey.is_second:
            return feet_inches(place)
        return both(place) if place >= 0 else f"{both(-place)} left of the datum"

    members = sorted(survey.wall.members)
    words = []
    for place in places:
        before = [member for member in members if member <= place]
        after = [member for member in members if member > place]
        if before and after:
            words.append(f"between {named(before[-1])} and {named(after[0])}")
        elif before or after:
            words.append(f"{'right' if before else 'left'} of {named(before[-1] if before else after[0])}")
        else:
            words.append("no member found at all")
    return "; ".join(dict.fromkeys(words))


def _fewest_new(survey: Survey, bar: Bar) -> tuple[float, list[tuple[float, int | None]]] | None:
    """Return the shift that needs the fewest new places, with the places and their members; None: no room on the bar.

    Of the shifts with the fewest obstacles, in their usual order; the brackets as near as can be to where they would
    stand on continuous backing.
    """
    ideal, grid = best_continuous(bar), grid_places(bar)
    if not ideal or survey.wall.kind in CONTINUOUS:
        return None
    best: tuple[int, float, list[tuple[float, int | None]]] | None = None
    hidden: int | None = None
    for shift in allowed_shifts(survey):
        now = len(blocked_by(survey, shift))
        if hidden is not None and now > hidden:
            break
        hidden = now
        places = _with_new_places(bar, ideal, grid, member_places(survey, bar, shift))
        new = sum(member is None for _, member in places)
        if best is None or new < best[0]:
            best = (new, shift, places)
        if new == 1:
            break
    return None if best is None else best[1:]


def _with_new_places(
    bar: Bar, ideal: Sequence[float], grid: Sequence[float], members: Sequence[tuple[float, int]]
) -> list[tuple[float, int | None]]:
    """Return the places with the fewest new ones, least far from `ideal` in sum; new ones are of `grid`.

    From left to right: the least cost of each place as the n-th bracket, with the best before it far enough away.
    """
    # Members first, so that of two equal places the member comes first in the stable sort.
    places = np.array([*(at for at, _ in members), *grid])
    order = np.argsort(places, kind="stable")
    at, new = places[order], np.where(order < len(members), 0.0, _NEW_PLACE)
    before = np.searchsorted(at, at - bar.bracket + EQUAL)
    least: list[np.ndarray[tuple[int], np.dtype[np.float64]]] = []
    for n, place in enumerate(ideal):
        cost = new + np.abs(at - place)
        if n in (0, bar.count - 1):
            arm = bar.arms[0 if n == 0 else -1]
            inside = at > arm if n == 0 else at < arm
            cost = np.where(np.abs(at - arm) < bar.reach, cost + np.where(inside, _INSIDE, 0.0), np.inf)
        if n:
            upto = np.minimum.accumulate(least[-1])
            cost = np.where(before > 0, cost + upto[before - 1], np.inf)
        least.append(cost)
    chosen = [int(np.argmin(least[-1]))]
    for costs in reversed(least[:-1]):
        chosen.append(int(np.argmin(costs[: before[chosen[-1]]])))
    picked = [int(order[index]) for index in reversed(chosen)]
    return [members[n] if n < len(members) else (grid[n - len(members)], None) for n in picked]
