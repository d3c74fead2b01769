"""The survey and the layout document: what a site survey measured, and what the crew drills.

Lengths are millimetres and may have a fraction, weights kilograms, loads newtons, angles degrees. Positions along the
wall count from the wall datum to the right, heights up from the standing surface below.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from scheduler.documents import convert, decode
from scheduler.errors import BadInput

# The upper limits are far beyond any awning or house wall; they catch a slipped decimal point or inches taken for
# millimetres twice, and bound the work that one survey can ask for.
Name = Annotated[str, Meta(min_length=1, max_length=200)]
Length = Annotated[float, Meta(ge=0, le=100_000)]
Size = Annotated[float, Meta(gt=0, le=100_000)]
Position = Annotated[float, Meta(ge=-100_000, le=100_000)]
Load = Annotated[float, Meta(gt=0, le=10_000_000)]

WallKind = Literal[
    "wood-studs", "rim-board", "rafters", "stucco-on-studs", "concrete", "solid-masonry", "hollow-block",
    "brick-veneer", "fascia",
]  # fmt: skip
CONTINUOUS = frozenset({"rim-board", "concrete", "solid-masonry"})
CARRIES_NOTHING = frozenset({"brick-veneer", "fascia"})
WOOD = frozenset({"wood-studs", "rim-board", "rafters", "stucco-on-studs"})
MASONRY = frozenset({"concrete", "solid-masonry", "hollow-block"})
_MOST_ARMS = 6  # twice what wide awnings have; the search for places grows fast with their number


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class Awning(_Part, frozen=True):
    """`projection` lies along the cloth; `arms` and `arm_half` count from the bar's left end, which is `width` long."""

    width: Annotated[float, Meta(gt=0, le=20_000)]
    projection: Annotated[float, Meta(gt=0, le=10_000)]
    weight_kg: Annotated[float, Meta(gt=0, le=2_000)]
    hood: bool
    arms: tuple[Length, ...]
    arm_half: Length
    bracket_width: Size
    bracket_lever: Annotated[float, Meta(gt=0, le=2_000)]
    bolts: Annotated[int, Meta(ge=1, le=20)]
    body_above: Annotated[float, Meta(ge=0, le=2_000)]
    body_below: Annotated[float, Meta(ge=0, le=2_000)]
    pitch_deg: Annotated[float, Meta(ge=0, le=85)]
    front_drop: Annotated[float, Meta(ge=0, le=2_000)]
    motor: Literal["left", "right"] | None


class Wall(_Part, frozen=True):
    """`members` are the centres found, in any order; a masonry wall may leave `member_width` and `gravity` null."""

    kind: WallKind
    members: Annotated[tuple[Position, ...], Meta(max_length=500)]
    member_width: Annotated[float, Meta(ge=0, le=2_000)] | None
    gravity: Annotated[float, Meta(ge=0, le=3)] | None
    wet: bool
    cover: Annotated[float, Meta(ge=0, le=1_000)]


class Anchor(_Part, frozen=True):
    """Allowable loads of a masonry or concrete anchor as its own evaluation report (`source`) gives them."""

    name: Name
    tension_n: Load
    shear_n: Load
    source: Name


class HangingPlace(_Part, frozen=True):
    """Where the awning's left end should be, how far it may move to either side, and the upper fasteners' height."""

    left_end: Position
    slide: Annotated[float, Meta(ge=0, le=10_000)]
    height: Size


class Band(_Part, frozen=True):
    """The clear stretch of wall."""

    left: Position
    right: Position
    bottom: Length
    top: Length


class Obstacle(_Part, frozen=True):
    what: Name
    left: Position
    right: Position
    bottom: Length
    top: Length


class Door(_Part, frozen=True):
    left: Position
    right: Position
    top: Size
    swings_out: bool


class Survey(_Part, frozen=True):
    format: Literal["survey/1"]
    id: Name
    awning: Awning
    wall: Wall
    anchor: Anchor | None
    place: HangingPlace
    band: Band
    obstacles: Annotated[tuple[Obstacle, ...], Meta(max_length=500)]
    doors: Annotated[tuple[Door, ...], Meta(max_length=100)]
    wind_class: Annotated[int, Meta(ge=0, le=3)]


class Bracket(_Part, frozen=True):
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


class Fastener(_Part, frozen=True):
    """What holds each bracket, `count` of them a bracket; a size that only the anchor's own report gives is None."""

    kind: Name
    diameter: float | None
    length: float | None
    penetration: float | None
    pilot: float | None
    shank_hole: float | None
    count: Annotated[int, Meta(ge=0)]


class Finding(_Part, frozen=True):
    """`stop`: do not install so; `caution`: settle this before drilling; `note`: worth knowing on site."""

    level: Literal["stop", "caution", "note"]
    code: Name
    text: Annotated[str, Meta(min_length=1)]


class Layout(_Part, frozen=True):
    """`brackets` come from left to right; `required` is how many the width asks for.

    `shift` is how far the awning moves from the wished place, to the right positive; `spread` is None without brackets.
    """

    format: Literal["layout/1"]
    survey: Name
    shift: float
    required: Annotated[int, Meta(ge=0)]
    brackets: tuple[Bracket, ...]
    spread: float | None
    fastener: Fastener | None
    findings: tuple[Finding, ...]
    tools: tuple[Name, ...]


def read_survey(data: bytes | str) -> Survey:
    """Return the survey in JSON text `data`; raises `BadInput` naming the first key that is wrong."""
    return checked(decode(data, Survey, "survey file"))


def survey_from_data(value: object) -> Survey:
    """Return the survey held as plain data (dicts and lists); raises `BadInput` as `read_survey` does."""
    return checked(convert(value, Survey, "survey"))


def read_layout(data: bytes | str) -> Layout:
    """Return the layout in JSON text `data`; raises `BadInput` naming the first key that is wrong."""
    return decode(data, Layout, "layout file")


def checked(survey: Survey) -> Survey:
    """Return `survey` itself where its measures are possible together; raises `BadInput` otherwise."""
    _check_awning(survey.awning)
    _check_wall(survey.wall)
    _spans("band", survey.band)
    if survey.band.top <= survey.band.bottom:
        _above("band", survey.band.bottom, survey.band.top)
    for n, obstacle in enumerate(survey.obstacles):
        _spans(f"obstacles[{n}]", obstacle)
        if obstacle.top <= obstacle.bottom:
            _above(f"obstacles[{n}]", obstacle.bottom, obstacle.top)
    for n, door in enumerate(survey.doors):
        _spans(f"doors[{n}]", door)
    return survey


def _check_awning(awning: Awning) -> None:
    if len(awning.arms) < 2:
        raise BadInput("awning.arms", f"must hold two arm centres or more, holds {len(awning.arms)}")
    if len(awning.arms) > _MOST_ARMS:
        raise BadInput("awning.arms", f"must hold {_MOST_ARMS} arm centres or fewer, holds {len(awning.arms)}")
    for n, arm in enumerate(awning.arms):
        where = f"awning.arms[{n}]"
        if arm > awning.width:
            raise BadInput(where, f"must be on the bar, from 0 to its width ({awning.width:g}), is {arm:g}")
        if n and arm <= awning.arms[n - 1]:
            raise BadInput(where, f"must be further right than the arm before it ({awning.arms[n - 1]:g}), is {arm:g}")
    for name in ("arm_half", "bracket_width"):
        if getattr(awning, name) > awning.width:
            problem = f"must not be more than the awning's width ({awning.width:g}), is {getattr(awning, name):g}"
            raise BadInput(f"awning.{name}", problem)


def _check_wall(wall: Wall) -> None:
    if wall.kind in WOOD and not wall.gravity:
        raise BadInput("wall.gravity", f"must be the wood's specific gravity (spruce-pine-fir 0.42), is {wall.gravity}")
    if wall.kind in WOOD - CONTINUOUS and not wall.member_width:
        raise BadInput("wall.member_width", f"must be the members' width along the wall, is {wall.member_width}")


def _spans(where: str, part: Band | Obstacle | Door) -> None:
    if part.right <= part.left:
        raise BadInput(f"{where}.right", f"must be further right than left ({part.left:g}), is {part.right:g}")


def _above(where: str, bottom: float, top: float) -> None:
    raise BadInput(f"{where}.top", f"must be above bottom ({bottom:g}), is {top:g}")
