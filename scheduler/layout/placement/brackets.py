"""Where the brackets go: the shift of the awning, and the places of its brackets on the bar and on the wall.

The rules are common practice of the trade, without a published source; the manufacturer's instructions and local codes
go first. Lengths are millimetres; those that differ by less than `EQUAL` count as equal.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.layout.documents import CARRIES_NOTHING, CONTINUOUS, Survey
from scheduler.layout.placement.bar import EQUAL, Bar, even_places, fits, outer_places
from scheduler.layout.placement.grid import Grid, best_on_grid
from scheduler.layout.placement.members import best_on_members

FOUR_UP_TO = 4876.8  # 16 ft; PRACTICE, as are the others
FOOT_FOUR = 1219.2  # one bracket more for each 4 ft begun
SHIFT_STEP = 12.7
GRID_STEP = 5.0


@dataclass(frozen=True, slots=True)
class BracketSpot:
    """A bracket's centre, `at` from the bar's left end and `wall` from the zero; see `documents.Bracket`."""

    at: float
    wall: float
    member: int | None
    arm: int | None


@dataclass(frozen=True, slots=True)
class Placement:
    """`spots` from left to right, empty where no layout exists; `blocked` the obstacles behind the closed awning.

    Without a layout `shift` is the first choice of the shifts that are allowed, None where the band allows none.
    """

    required: int
    shift: float | None
    spots: tuple[BracketSpot, ...]
    spread: float | None
    blocked: tuple[int, ...]


def required_brackets(width: float, at_least: int = 0) -> int:
    """Return how many brackets a bar of `width` needs; `at_least` is the manufacturer's number where there is one."""
    more = math.ceil((width - FOUR_UP_TO - EQUAL) / FOOT_FOUR)
    return max(4 + max(more, 0), at_least)


def bar_of(survey: Survey, count: int) -> Bar:
    awning = survey.awning
    keep_off = awning.arm_half + awning.bracket_width / 2
    return Bar(awning.width, awning.arms, keep_off, awning.bracket_width, count)


def place_brackets(survey: Survey, at_least: int = 0) -> Placement:
    """Return the best placement by the rules, in their order; without `spots` where none exists.

    The shift first: fewest obstacles behind the closed awning, most outer brackets outside their arms, smallest, left.
    At that shift: most inner arms served, smallest spread, smallest sum of distances from the even places, leftmost.
    """
    count = required_brackets(survey.awning.width, at_least)
    shifts = list(allowed_shifts(survey))
    nothing = Placement(count, None, (), None, ())
    if not shifts:
        return nothing
    nothing = Placement(count, shifts[0], (), None, blocked_by(survey, shifts[0]))
    if survey.wall.kind in CARRIES_NOTHING:
        return nothing
    bar = bar_of(survey, count)
    if survey.wall.kind in CONTINUOUS:
        places = grid_places(bar)
        outside = _most_outside(bar, places)
        if outside is None:
            return nothing
        chosen = best_continuous(bar, outside)
        left = survey.place.left_end + shifts[0]
        return _placement(survey, bar, shifts[0], [(at, left + at, None) for at in chosen])
    best: tuple[int, float, int] | None = None  # outside, shift, obstacles
    for shift in shifts:
        hidden = len(blocked_by(survey, shift))
        if best is not None and hidden > best[2]:
            break
        outside = _most_outside(bar, [at for at, _ in member_places(survey, bar, shift)])
        if outside is not None and (best is None or outside > best[0]):
            best = (outside, shift, hidden)
            if outside == 2:
                break
    if best is None:
        return nothing
    outside, shift, _ = best
    members = dict(member_places(survey, bar, shift))
    chosen = best_on_members(bar, list(members), outside)
    return _placement(survey, bar, shift, [(at, survey.wall.members[members[at]], members[at]) for at in chosen])


def _placement(survey: Survey, bar: Bar, shift: float, spots: Sequence[tuple[float, float, int | None]]) -> Placement:
    last = len(spots) - 1
    outer = {0: 0, last: len(bar.arms) - 1}
    # Rounded to a nanometre, to lose the dust of binary fractions.
    made = tuple(
        BracketSpot(round(at, 6), round(wall, 6), member, outer.get(n)) for n, (at, wall, member) in enumerate(spots)
    )
    even = even_places(made[0].at, made[-1].at, bar.count)
    spread = max((abs(spot.at - at) for spot, at in zip(made[1:-1], even, strict=True)), default=0.0)
    return Placement(bar.count, shift, made, round(spread, 6), blocked_by(survey, shift))


def allowed_shifts(survey: Survey) -> Iterator[float]:
    """Yield the shifts that slide and band allow: fewest obstacles behind the closed awning first, smallest, left."""
    band, left, width = survey.band, survey.place.left_end, survey.awning.width
    most = int((survey.place.slide + EQUAL) / SHIFT_STEP)
    steps = (round(n * SHIFT_STEP, 1) for n in range(-most, most + 1))
    inside = [s for s in steps if left + s > band.left - EQUAL and left + s + width < band.right + EQUAL]
    hidden = {shift: len(blocked_by(survey, shift)) for shift in inside}
    yield from sorted(inside, key=lambda shift: (hidden[shift], abs(shift), shift))


def blocked_by(survey: Survey, shift: float) -> tuple[int, ...]:
    """Return the indices of the obstacles that the closed awning would cover at `shift`."""
    left = survey.place.left_end + shift
    right = left + survey.awning.width
    bottom, top = survey.place.height - survey.awning.body_below, survey.place.height + survey.awning.body_above
    return tuple(
        n
        for n, it in enumerate(survey.obstacles)
        if min(right, it.right) - max(left, it.left) >= EQUAL and min(top, it.top) - max(bottom, it.bottom) >= EQUAL
    )


def member_places(survey: Survey, bar: Bar, shift: float) -> list[tuple[float, int]]:
    """Return (place on the bar, index in `wall.members`) of each member that admits a bracket, from left to right."""
    left = survey.place.left_end + shift
    found: list[tuple[float, int]] = []
    for wall, index in sorted((wall, index) for index, wall in enumerate(survey.wall.members)):
        if bar.admits(wall - left) and not (found and wall - left - found[-1][0] < EQUAL):
            found.append((wall - left, index))
    return found


def grid_places(bar: Bar) -> list[float]:
    """Return the places of the 5 mm grid that admit a bracket; as `Bar.admits`, for all of them at once."""
    at = np.arange(int((bar.width + EQUAL) / GRID_STEP) + 1) * GRID_STEP
    half = bar.bracket / 2
    fine = (at - half > -EQUAL) & (at + half < bar.width + EQUAL)
    for arm in bar.arms:
        fine &= np.abs(at - arm) > bar.keep_off - EQUAL
    places: list[float] = at[fine].tolist()
    return places


def _most_outside(bar: Bar, places: Sequence[float]) -> int | None:
    """Return how many outer brackets can be outside their arms, None where no layout exists.

    The outermost place of each side is enough to try: an outer bracket moved outwards takes no room from the others.
    """
    lefts, rights = outer_places(bar, places)
    for left_out, right_out in ((1, 1), (1, 0), (0, 1), (0, 0)):
        if lefts[left_out] and rights[right_out] and fits(bar, places, lefts[left_out][0], rights[right_out][-1]):
            return left_out + right_out
    return None


def best_continuous(bar: Bar, outside: int | None = None) -> list[float]:
    """Return the best places on the 5 mm grid with `outside` outer brackets outside (None: as many as can be).

    Empty where the bar has no room for its brackets.
    """
    places = grid_places(bar)
    if outside is None:
        outside = _most_outside(bar, places)
        if outside is None:
            return []
    allowed = np.zeros(int((bar.width + EQUAL) / GRID_STEP) + 1, dtype=bool)
    allowed[[round(at / GRID_STEP) for at in places]] = True
    apart = max(int((bar.bracket - EQUAL) / GRID_STEP) + 1, 1)
    arms = [
        (math.ceil((arm - bar.reach) / GRID_STEP), math.floor((arm + bar.reach) / GRID_STEP)) for arm in bar.arms[1:-1]
    ]
    lefts, rights = outer_places(bar, places)
    pairs = [
        (round(left / GRID_STEP), round(right / GRID_STEP))
        for left_out in (0, 1)
        for right_out in (0, 1)
        if left_out + right_out == outside
        for left in lefts[left_out]
        for right in rights[right_out]
    ]
    chosen = best_on_grid(Grid(allowed, bar.count, apart), np.array(pairs, dtype=np.int64), arms)
    return [step * GRID_STEP for step in chosen]
