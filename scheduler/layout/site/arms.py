"""Which arms of the awning have no bracket where they need one: outside the outer arms, near the inner ones."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.layout.documents import MASONRY, Finding, Survey
from scheduler.layout.placement.bar import ARM_REACH, Bar
from scheduler.layout.placement.brackets import Placement, bar_of
from scheduler.units import both


def arm_findings(survey: Survey, placement: Placement) -> Iterator[Finding]:
    """Yield which arms have no bracket outside them or near them at the placement."""
    if not placement.spots:
        return
    bar, places = bar_of(survey, placement.required), [spot.at for spot in placement.spots]
    if survey.is_second:
        yield from _arms_together(survey, bar, places)
        return
    last = len(bar.arms) - 1
    for arm, at, inside in ((0, places[0], places[0] > bar.arms[0]), (last, places[-1], places[-1] < bar.arms[-1])):
        if inside:
            text = (
                f"The outer bracket of arm {arm + 1} is {both(abs(at - bar.arms[arm]))} inside the arm, where no place"
                " outside it can be had: check that the manufacturer allows it (outside is common practice)."
            )
            yield Finding("caution", "outer-inside", text)
    for number, arm_at in enumerate(bar.arms[1:-1], start=2):
        if not any(bar.serves(at, arm_at) for at in places):
            off = min(abs(at - arm_at) for at in places)
            text = (
                f"Arm {number} has no bracket within {both(ARM_REACH)}, the nearest is {both(off)} away: ask the"
                f" manufacturer{_nearer(survey)}."
            )
            yield Finding("caution", "arm-unserved", text)


def _arms_together(survey: Survey, bar: Bar, places: list[float]) -> Iterator[Finding]:
    """Say of all arms in one sentence which have no bracket outside them, or none near them."""
    last = len(bar.arms) - 1
    ends = ((0, places[0], places[0] > bar.arms[0]), (last, places[-1], places[-1] < bar.arms[-1]))
    inside = [(arm + 1, abs(at - bar.arms[arm])) for arm, at, is_inside in ends if is_inside]
    asks = "where no place outside can be had: check that the manufacturer allows it (outside is common practice)."
    if len(inside) == 1:
        text = f"The outer bracket of arm {inside[0][0]} is {both(inside[0][1])} inside the arm, {asks}"
        yield Finding("caution", "outer-inside", text)
    elif inside:
        (one, far), (other, further) = inside
        text = (
            f"The outer brackets of arms {one} and {other} are {both(far)} and {both(further)} inside the arms, {asks}"
        )
        yield Finding("caution", "outer-inside", text)
    off = {
        number: min(abs(at - arm_at) for at in places)
        for number, arm_at in enumerate(bar.arms[1:-1], start=2)
        if not any(bar.serves(at, arm_at) for at in places)
    }
    if len(off) == 1:
        ((number, away),) = off.items()
        text = (
            f"Arm {number} has no bracket within {both(ARM_REACH)}, the nearest is {both(away)} away: ask the"
            f" manufacturer{_nearer(survey)}."
        )
        yield Finding("caution", "arm-unserved", text)
    elif off:
        numbers, aways = " and ".join(map(str, off)), " and ".join(map(both, off.values()))
        text = (
            f"Arms {numbers} have no bracket within {both(ARM_REACH)}, the nearest are {aways} away: ask the"
            f" manufacturer{_nearer(survey)}."
        )
        yield Finding("caution", "arm-unserved", text)


def _nearer(survey: Survey) -> str:
    """Return what else brings a bracket nearer to an arm: in masonry no backing does."""
    if not survey.is_second or survey.wall.kind not in MASONRY:
        return ", or put in backing nearer to it"
    return ", or grout a cell nearer to it solid" if survey.wall.kind == "hollow-block" else ""
