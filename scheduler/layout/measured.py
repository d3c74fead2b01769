"""The survey document: what was measured at a wall, in its first form (survey/1) and its second (survey/2).

Lengths are millimetres and may have a fraction, weights kilograms, loads newtons, angles degrees. Positions along the
wall count from the wall datum to the right, as seen from outside with the wall in front of you; heights up from the
standing surface below. Keys of the second form alone are `UNSET` in a survey of the first: they are neither read nor
written there.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

# The upper limits are far beyond any awning or house wall; they catch a slipped decimal point or inches taken for
# millimetres twice, and bound the work that one survey can ask for.
Name = Annotated[str, Meta(min_length=1, max_length=200)]
Length = Annotated[float, Meta(ge=0, le=100_000)]
Size = Annotated[float, Meta(gt=0, le=100_000)]
Position = Annotated[float, Meta(ge=-100_000, le=100_000)]
Load = Annotated[float, Meta(gt=0, le=10_000_000)]
HoleSize = Annotated[float, Meta(gt=0, le=100)]
Depth = Annotated[float, Meta(gt=0, le=1_000)]

WallKind = Literal[
    "wood-studs", "rim-board", "rafters", "stucco-on-studs", "concrete", "solid-masonry", "hollow-block",
    "brick-veneer", "fascia",
]  # fmt: skip
CONTINUOUS = frozenset({"rim-board", "concrete", "solid-masonry"})
CARRIES_NOTHING = frozenset({"brick-veneer", "fascia"})
WOOD = frozenset({"wood-studs", "rim-board", "rafters", "stucco-on-studs"})
MASONRY = frozenset({"concrete", "solid-masonry", "hollow-block"})

Species = Literal["spruce-pine-fir", "douglas-fir-larch", "hem-fir", "southern-pine", "unknown"]
# Specific gravity of the species groups, NDS Table 12.3.3A: Douglas fir-larch and southern pine confirmed by worked
# examples, the others from memory. Unknown wood counts as spruce-pine-fir (south), the lightest sold for framing.
GRAVITY: dict[str, float] = {
    "spruce-pine-fir": 0.42, "douglas-fir-larch": 0.50, "hem-fir": 0.43, "southern-pine": 0.55, "unknown": 0.36,
}  # fmt: skip


class MeasuredPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class BoltHole(MeasuredPart, frozen=True):
    """One hole of a bracket: `across` from its middle to the right, `down` from the height of its upper fasteners."""

    across: Annotated[float, Meta(ge=-500, le=500)]
    down: Annotated[float, Meta(ge=0, le=2_000)]


class Awning(MeasuredPart, frozen=True):
    """`projection` lies along the cloth; `arms` and `arm_half` count from the bar's left end, which is `width` long.

    `valance` is how far a valance hangs below the front bar's lowest edge, 0 for none; `holes` the bracket's bolt
    pattern, one entry a fastener.
    """

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
    valance: Annotated[float, Meta(ge=0, le=2_000)] | UnsetType = UNSET
    holes: Annotated[tuple[BoltHole, ...], Meta(max_length=20)] | UnsetType = UNSET


class Tie(MeasuredPart, frozen=True):
    """What ties a rim board to the floor behind it: the allowable pull of one tie, and where that number comes from."""

    what: Name
    pull_n: Load
    source: Name


class Wall(MeasuredPart, frozen=True):
    """`members` are the centres found, in any order; a masonry wall may leave `member_width` and `gravity` null.

    `member_depth` is the member's size from the wall's face inwards, `species` its group; `end_grain` says whether
    screws go into the rafters' cut ends, `tie` what holds a rim board to the floor.
    """

    kind: WallKind
    members: Annotated[tuple[Position, ...], Meta(max_length=500)]
    member_width: Annotated[float, Meta(ge=0, le=2_000)] | None
    gravity: Annotated[float, Meta(ge=0, le=3)] | None
    wet: bool
    cover: Annotated[float, Meta(ge=0, le=1_000)]
    member_depth: Annotated[float, Meta(gt=0, le=2000)] | UnsetType | None = UNSET
    species: Species | UnsetType | None = UNSET
    end_grain: bool | UnsetType = UNSET
    tie: Tie | UnsetType | None = UNSET

    @property
    def wood_gravity(self) -> float | None:
        """The wood's specific gravity: as measured, else that of its species group."""
        if self.gravity is None and isinstance(self.species, str):
            return GRAVITY[self.species]
        return self.gravity


class Anchor(MeasuredPart, frozen=True):
    """Allowable loads of a masonry or concrete anchor as its own evaluation report (`source`) gives them.

    The second form has all of its setting too: the hole's diameter and depth, the embedment, the least distance to an
    edge and to the next anchor, the torque, and the base material that the report is for.
    """

    name: Name
    tension_n: Load
    shear_n: Load
    source: Name
    base: Name | UnsetType = UNSET
    hole: HoleSize | UnsetType = UNSET
    hole_depth: Depth | UnsetType = UNSET
    embedment: Depth | UnsetType = UNSET
    edge: Depth | UnsetType = UNSET
    spacing: Depth | UnsetType = UNSET
    torque_nm: Annotated[float, Meta(ge=0, le=1_000)] | UnsetType = UNSET


class HangingPlace(MeasuredPart, frozen=True):
    """Where the awning's left end should be, how far it may move to either side, and the upper fasteners' height.

    `facing_deg` is the compass bearing that the wall faces (0 north, 90 east), null where it was not taken; `under`
    says what lies below: a private patio, or a way that the public or people with a right to an accessible route use.
    """

    left_end: Position
    slide: Annotated[float, Meta(ge=0, le=10_000)]
    height: Size
    facing_deg: Annotated[float, Meta(ge=0, lt=360)] | UnsetType | None = UNSET
    under: Literal["private", "public"] | UnsetType = UNSET


class Band(MeasuredPart, frozen=True):
    """The clear stretch of wall."""

    left: Position
    right: Position
    bottom: Length
    top: Length


class Obstacle(MeasuredPart, frozen=True):
    what: Name
    left: Position
    right: Position
    bottom: Length
    top: Length


class Door(MeasuredPart, frozen=True):
    left: Position
    right: Position
    top: Size
    swings_out: bool


class Control(MeasuredPart, frozen=True):
    """One more thing that can be seen, and where it is: whoever measures it again knows that the zero is the same."""

    what: Name
    at: Position


class Datum(MeasuredPart, frozen=True):
    """What the zero is, by its name, with a control dimension."""

    name: Name
    control: Control


class Outlet(MeasuredPart, frozen=True):
    """An outlet for the motor: where it is, and whether it is protected by a ground-fault interrupter."""

    at: Position
    height: Length
    gfci: bool


class Survey(MeasuredPart, frozen=True):
    """A survey in either form; `built` is the year of the house, null where nobody knows."""

    format: Literal["survey/1", "survey/2"]
    id: Name
    awning: Awning
    wall: Wall
    anchor: Anchor | None
    place: HangingPlace
    band: Band
    obstacles: Annotated[tuple[Obstacle, ...], Meta(max_length=500)]
    doors: Annotated[tuple[Door, ...], Meta(max_length=100)]
    wind_class: Annotated[int, Meta(ge=0, le=3)]
    datum: Datum | UnsetType = UNSET
    outlet: Outlet | UnsetType | None = UNSET
    built: Annotated[int, Meta(ge=1600, le=2200)] | UnsetType | None = UNSET

    @property
    def is_second(self) -> bool:
        """Whether this survey is of the second form, and its layout made by what that form asks."""
        return self.format == "survey/2"
