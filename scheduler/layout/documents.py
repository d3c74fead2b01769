"""The survey and the layout document: what a site survey measured, and what the crew drills.

Lengths are millimetres and may have a fraction, weights kilograms, loads newtons, angles degrees. Positions along the
wall count from the wall datum to the right, heights up from the standing surface below. A survey of the first form
gives a layout of the first form for ever, byte for byte; one of the second form the second.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from scheduler.documents import convert, decode
from scheduler.layout.checks import checked
from scheduler.layout.measured import (
    CARRIES_NOTHING,
    CONTINUOUS,
    MASONRY,
    WOOD,
    Anchor,
    Awning,
    Band,
    Depth,
    Door,
    HangingPlace,
    HoleSize,
    Length,
    MeasuredPart,
    Name,
    Obstacle,
    Survey,
    Wall,
    WallKind,
)

__all__ = [
    "CARRIES_NOTHING", "CONTINUOUS", "MASONRY", "WOOD", "Anchor", "Awning", "Band", "Bracket", "Door", "Fastener",
    "Finding", "HangingPlace", "Layout", "MemberUse", "Obstacle", "Survey", "Wall", "WallKind", "checked",
    "read_survey", "survey_from_data",
]  # fmt: skip


class Bracket(MeasuredPart, frozen=True):
    """One bracket: `at` from the bar's left end, `wall` from the datum, both to its centre.

    `member` is the index in the survey's `wall.members`, None on continuous backing; `arm` the index of the arm that
    it serves as an outer bracket, None for an inner one. `tension_n` and `shear_n` are the loads on the whole bracket,
    `use` the fraction of the allowable load that its fasteners take: None where no allowable load is known.
    """

    at: float
    wall: float
    member: int | None
    arm: int | None
    tension_n: float
    shear_n: float
    use: float | None


class Fastener(MeasuredPart, frozen=True):
    """What holds each bracket, `count` of them a bracket; a size that only the anchor's own report gives is None.

    The second form has all of it as numbers: an anchor's `hole` and `hole_depth` (from the masonry's face), `edge`,
    `spacing` and `torque_nm` as its report has them, its `penetration` being the embedment; a lag screw's holes by
    their depth from the wall's face: `shank_depth` of the wide one, `thread_depth` of the pilot, with the least
    distance to the member's edge and to the next screw. What does not apply is null.
    """

    kind: Name
    diameter: float | None
    length: float | None
    penetration: float | None
    pilot: float | None
    shank_hole: float | None
    count: Annotated[int, Meta(ge=0)]
    hole: HoleSize | UnsetType | None = UNSET
    hole_depth: Depth | UnsetType | None = UNSET
    shank_depth: Length | UnsetType | None = UNSET
    thread_depth: Length | UnsetType | None = UNSET
    edge: Length | UnsetType | None = UNSET
    spacing: Length | UnsetType | None = UNSET
    torque_nm: Annotated[float, Meta(ge=0)] | UnsetType | None = UNSET


class Finding(MeasuredPart, frozen=True):
    """`stop`: do not install so; `caution`: settle this before drilling; `note`: worth knowing on site."""

    level: Literal["stop", "caution", "note"]
    code: Name
    text: Annotated[str, Meta(min_length=1)]


class MemberUse(MeasuredPart, frozen=True):
    """What the wood behind one bracket takes of what it may: the larger of bending and shear, in its hardest case."""

    bending: float
    shear: float
    case: Name


class Layout(MeasuredPart, frozen=True):
    """`brackets` come from left to right; `required` is how many the width asks for.

    `shift` is how far the awning moves from the wished place, to the right positive; `spread` is None without brackets.
    A survey of the second form gives the second, with `members`: the use of the wood behind each bracket, empty where
    the drawing cannot check it.
    """

    format: Literal["layout/1", "layout/2"]
    survey: Name
    shift: float
    required: Annotated[int, Meta(ge=0)]
    brackets: tuple[Bracket, ...]
    spread: float | None
    fastener: Fastener | None
    findings: tuple[Finding, ...]
    tools: tuple[Name, ...]
    members: tuple[MemberUse, ...] | UnsetType = UNSET


def read_survey(data: bytes | str) -> Survey:
    """Return the survey in JSON text `data`; raises `BadInput` naming the first key that is wrong."""
    return checked(decode(data, Survey, "survey file"))


def survey_from_data(value: object) -> Survey:
    """Return the survey held as plain data (dicts and lists); raises `BadInput` as `read_survey` does."""
    return checked(convert(value, Survey, "survey"))
