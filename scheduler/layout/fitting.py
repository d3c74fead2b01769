"""Which awnings a wall can take that was measured before one was chosen: each is tried in the middle of the clear band.

What is taken as usual here is common practice, no published source: it only helps to choose, and is never drilled from.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Awning, Layout, Survey
from scheduler.layout.measured import BoltHole

USUAL_SIZES = {
    "arm_half": 80.0, "bracket_width": 130.0, "bracket_lever": 190.0, "bolts": 4, "body_above": 70.0,
    "body_below": 190.0, "pitch_deg": 15.0, "front_drop": 90.0,
}  # fmt: skip
USUAL_INSET = 0.1  # of the width: how far the outer arms are from the bar's ends
_MOST_SLIDE = 10_000.0  # what a survey may say


def usual_arms(width: float, arms: int = 2) -> tuple[float, ...]:
    """Return the centres of arms on a bar of `width` mm where nobody has said them: evenly, between two insets."""
    first, last = USUAL_INSET * width, (1 - USUAL_INSET) * width
    return tuple(first + n * (last - first) / (arms - 1) for n in range(arms))


def usual_holes(lever: float, bolts: int) -> tuple[BoltHole, ...]:
    """Return the bolt pattern of a bracket where nobody has said it: one line, evenly."""
    return tuple(BoltHole(0.0, n * 0.8 * lever / bolts) for n in range(bolts))


def usual_awning(width: float, projection: float, weight_kg: float, arms: int = 2) -> Awning:
    """Return an awning of which only width and projection in mm, weight and number of arms are known."""
    holes = usual_holes(USUAL_SIZES["bracket_lever"], int(USUAL_SIZES["bolts"]))
    return Awning(
        width=width, projection=projection, weight_kg=weight_kg, hood=False, arms=usual_arms(width, arms), motor=None,
        valance=0.0, holes=holes, **USUAL_SIZES,  # type: ignore[arg-type]  # bolts are whole
    )  # fmt: skip


def of_width(known: Awning, width: float, arms: int) -> Awning:
    """Return `known` as its model is made `width` mm wide with `arms` arms.

    Outer arms keep their distances from the bar's ends, those between them their share; another number of arms is
    spread as usual.
    """
    if len(known.arms) != arms:
        return msgspec.structs.replace(known, width=width, arms=usual_arms(width, arms))
    first, last = known.arms[0], known.arms[-1]
    right = width - (known.width - last)
    if not 0 <= first < right <= width:
        return msgspec.structs.replace(known, width=width, arms=usual_arms(width, arms))
    spread = (right - first) / (last - first)
    return msgspec.structs.replace(known, width=width, arms=tuple(first + (arm - first) * spread for arm in known.arms))


def in_the_middle(left: float, right: float, width: float) -> tuple[float, float]:
    """Return left end and slide of an awning in the middle of a band, free to move as far as the band goes; mm."""
    room = right - left - width
    return left + room / 2, min(max(0.0, room / 2), _MOST_SLIDE)


def hung(survey: Survey, awning: Awning) -> Survey:
    """Return `survey` with `awning` in the middle of its clear band."""
    left_end, slide = in_the_middle(survey.band.left, survey.band.right, awning.width)
    place = msgspec.structs.replace(survey.place, left_end=left_end, slide=slide)
    return msgspec.structs.replace(survey, awning=awning, place=place)


def widths_to_try(least: float, most: float, step: float) -> Sequence[float]:
    """Return widths from `least` to `most` mm in whole steps, the greatest itself with them; narrow to wide."""
    found = [n * step for n in range(1, int(most // step) + 1) if n * step >= least]
    return [*found, *([most] if most >= least and (not found or most - found[-1] > 1) else [])]


def tried(survey: Survey, awning: Awning, at_least: int) -> Layout:
    """Return the layout of a wall with an awning that it was not measured for, with `at_least` brackets or more."""
    return lay_out(hung(survey, awning), at_least)
