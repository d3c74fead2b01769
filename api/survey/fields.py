"""The fields of the survey form: what each is called, how it is written, and which values it may have.

A field's name is the way to its value in the survey document (`awning.width`, `obstacles.2.left`); rows count from 0.
"""

from __future__ import annotations

import types
import typing
from dataclasses import dataclass, replace
from typing import Any, Literal

import msgspec

from scheduler.layout.documents import Survey

Kind = Literal["length", "number", "whole", "weight", "force", "choice", "yes", "text"]


@dataclass(frozen=True)
class FormField:
    """One field; `choices` are (value, words). One that `may_be_empty` then has no value (null)."""

    name: str
    label: str
    kind: Kind = "length"
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    may_be_empty: bool = False


@dataclass(frozen=True)
class RowsOf:
    """A list in the document: each row has `fields`, named below the row; a single one named "" is the row itself."""

    name: str
    title: str
    row: str
    hint: str
    fields: tuple[FormField, ...]


@dataclass(frozen=True)
class SurveySection:
    """A part of the form; what is `optional` is left out of the document as a whole where nothing of it is filled."""

    name: str
    title: str
    hint: str
    parts: tuple[FormField | RowsOf, ...]
    optional: bool = False


_WALLS = (
    ("wood-studs", "wood studs behind siding"), ("rim-board", "rim board"), ("rafters", "rafters or truss tails"),
    ("stucco-on-studs", "stucco on studs"), ("concrete", "concrete"), ("solid-masonry", "solid masonry"),
    ("hollow-block", "hollow block"), ("brick-veneer", "brick veneer (carries nothing)"),
    ("fascia", "fascia board (carries nothing)"),
)  # fmt: skip
_ENDS = (("", "none, by hand"), ("left", "left end"), ("right", "right end"))
_WIND = (("0", "0: none"), ("1", "1: 40 Pa"), ("2", "2: 70 Pa"), ("3", "3: 110 Pa"))

_SPECIES = (
    ("", "none: masonry"), ("spruce-pine-fir", "spruce-pine-fir (0.42)"),
    ("douglas-fir-larch", "Douglas fir-larch (0.50)"), ("hem-fir", "hem-fir (0.43)"),
    ("southern-pine", "southern pine (0.55)"), ("unknown", "unknown: reckoned as the lightest"),
)  # fmt: skip
_UNDER = (("private", "a private patio"), ("public", "a way that the public uses"))

SECTIONS = (
    SurveySection("datum", "The zero",
                  "Where all positions count from, to the right. Left is left as seen from outside, facing the wall.", (
        FormField("datum.name", "What the zero is", "text", "as: left jamb of the patio door"),
        FormField("datum.control.what", "A second thing to check it by", "text", "as: right edge of the downspout"),
        FormField("datum.control.at", "Where that is", hint="from the zero, to the right; left of it with a minus"),
        FormField("built", "Year of the house", "whole", "empty where nobody knows", may_be_empty=True),
    )),
    SurveySection("wall", "The wall", "Positions count from the zero to the right.", (
        FormField("wall.kind", "Kind of wall", "choice", choices=_WALLS),
        RowsOf("wall.members", "Centers of studs or rafters found", "member",
               "From the zero to each center; none on concrete, solid masonry and rim board.",
               (FormField("", "center"),)),
        FormField("wall.member_width", "Width of a member", hint="along the wall: a 2x stud has 1 1/2\"",
                  may_be_empty=True),
        FormField("wall.member_depth", "Depth of a member", may_be_empty=True,
                  hint="a 2×4 has 3 1/2\", a 2×6 5 1/2\", a rim 1 1/2\"; a rafter: its own depth"),
        FormField("wall.species", "Species group of the wood", "choice", choices=_SPECIES, may_be_empty=True),
        FormField("wall.gravity", "Its specific gravity, where measured", "number",
                  "empty: that of the group (NDS table 12.3.3A)", may_be_empty=True),
        FormField("wall.end_grain", "Screws go into the rafters' cut ends", "yes"),
        FormField("wall.cover", "Cladding and sheathing before it", hint="siding, stucco, board; 0 where bare"),
        FormField("wall.wet", "Exposed to moisture", "yes"),
    )),
    SurveySection("wall.tie", "What ties a rim board to the floor",
            "Only for a rim board, and only where you saw it: joists nailed into end grain hold no pull.", (
        FormField("wall.tie.what", "Tie behind each bracket", "text", "as: hold-down to the joist"),
        FormField("wall.tie.pull_n", "Its allowable pull", "force"),
        FormField("wall.tie.source", "From which list or table", "text"),
    ), optional=True),
    SurveySection("anchor", "Anchor, in masonry or concrete",
            "Every number from the anchor's own evaluation report, for this base: there are none to assume.", (
        FormField("anchor.name", "Anchor", "text"),
        FormField("anchor.tension_n", "Allowable tension", "force", "as 6400 N or 1440 lbf"),
        FormField("anchor.shear_n", "Allowable shear", "force"),
        FormField("anchor.source", "From which report and table", "text"),
        FormField("anchor.base", "For which base material", "text", "as the report names it"),
        FormField("anchor.hole", "Hole: diameter"),
        FormField("anchor.hole_depth", "Hole: depth", hint="from the masonry's own face"),
        FormField("anchor.embedment", "Embedment"),
        FormField("anchor.edge", "Least distance to an edge"),
        FormField("anchor.spacing", "Least distance to the next anchor"),
        FormField("anchor.torque_nm", "Torque, N·m", "number", "1 ft-lb is 1.356 N·m; 0 where the report has none"),
    ), optional=True),
    SurveySection("place", "Where it shall hang", "Heights count from the surface that people stand on.", (
        FormField("place.left_end", "Left end of the awning", hint="from the zero"),
        FormField("place.slide", "May move to either side by"),
        FormField("place.height", "Height of the upper fasteners"),
        FormField("band.left", "Clear band: left"),
        FormField("band.right", "Clear band: right"),
        FormField("band.bottom", "Clear band: bottom"),
        FormField("band.top", "Clear band: top"),
        FormField("wind_class", "Wind class (EN 13561)", "choice", choices=_WIND),
        FormField("place.under", "What lies below", "choice", choices=_UNDER),
        FormField("place.facing_deg", "The wall faces, compass degrees", "number",
                  "0 north, 90 east, 180 south; empty: no shade is drawn", may_be_empty=True),
    )),
    SurveySection("outlet", "Outlet for the motor", "Left empty where there is none.", (
        FormField("outlet.at", "Where", hint="from the zero"),
        FormField("outlet.height", "How high"),
        FormField("outlet.gfci", "GFCI-protected", "yes"),
    ), optional=True),
    SurveySection("openings", "Doors, openings and obstacles", "What stands on the wall or opens under the awning.", (
        RowsOf("doors", "Doors and openings", "door", "", (
            FormField("left", "left"), FormField("right", "right"), FormField("top", "top"),
            FormField("swings_out", "swings out", "yes"))),
        RowsOf("obstacles", "Obstacles", "obstacle", "Lights, spouts, boxes, vents.", (
            FormField("what", "what", "text"), FormField("left", "left"), FormField("right", "right"),
            FormField("bottom", "bottom"), FormField("top", "top"))),
    )),
    SurveySection("awning", "The awning", "From the maker's sheet of this model; measure again what is in the crate.", (
        FormField("awning.width", "Width of the mounting bar"),
        FormField("awning.projection", "Projection", hint="along the cloth, fully out"),
        FormField("awning.weight_kg", "Weight", "weight", "as 54 kg or 119 lb"),
        FormField("awning.hood", "With a hood", "yes"),
        FormField("awning.motor", "Motor", "choice", choices=_ENDS, may_be_empty=True),
        FormField("awning.pitch_deg", "Pitch, degrees", "number"),
        RowsOf("awning.arms", "Arm centers", "arm", "From the bar's left end, two or more.",
               (FormField("", "center"),)),
        FormField("awning.arm_half", "Half the zone of an arm", hint="no bracket may touch it"),
        FormField("awning.bracket_width", "Width of a bracket"),
        FormField("awning.bracket_lever", "Lever of a bracket", hint="upper fastener down to its lower bearing edge"),
        FormField("awning.bolts", "Fasteners a bracket", "whole"),
        FormField("awning.body_above", "Reaches above the fasteners", hint="the closed awning"),
        FormField("awning.body_below", "Reaches below them"),
        FormField("awning.front_drop", "Front bar below its axis"),
        FormField("awning.valance", "Valance below the front bar", hint="0 for none"),
        RowsOf("awning.holes", "Bolt pattern of a bracket", "hole",
               "Each hole's place: right of the bracket's middle (left with a minus), and below the upper fasteners.",
               (FormField("across", "across"), FormField("down", "down"))),
    )),
)  # fmt: skip


def is_asked(name: str, *, before: bool) -> bool:
    """Say whether a form asks for a field or list: `before` an awning is chosen neither for it nor for its place."""
    return not before or not (name.startswith("awning.") or name in ("place.left_end", "place.slide"))


def sections(*, before: bool) -> list[SurveySection]:
    """Return the sections of a form with the parts that it asks for."""
    asked = [(one, tuple(part for part in one.parts if is_asked(part.name, before=before))) for one in SECTIONS]
    return [replace(section, parts=parts) for section, parts in asked if parts]


def parts() -> typing.Iterator[FormField | RowsOf]:
    """Yield all fields and lists in the order of the form."""
    for section in SECTIONS:
        yield from section.parts


def single_fields() -> typing.Iterator[FormField]:
    """Yield the fields that stand once."""
    yield from (part for part in parts() if isinstance(part, FormField))


def lists() -> typing.Iterator[RowsOf]:
    """Yield the lists."""
    yield from (part for part in parts() if isinstance(part, RowsOf))


def type_of(path: str) -> Any:
    """Return the type, with its limits, of the document's value at `path`, where a list's entries are one step: `*`."""
    kind: Any = Survey
    for step in path.split("."):
        kind = _bare(kind)
        kind = typing.get_args(kind)[0] if step == "*" else typing.get_type_hints(kind, include_extras=True)[step]
    return kind


def limits_of(kind: Any) -> dict[str, float]:
    """Return the limits (ge, gt, le, lt) that a type states."""
    found: dict[str, float] = {}
    for part in _unions(kind):
        for meta in getattr(part, "__metadata__", ()):
            if isinstance(meta, msgspec.Meta):
                for name in ("ge", "gt", "le", "lt"):
                    value = getattr(meta, name)
                    if value is not None:
                        found[name] = value
    return found


def _unions(kind: Any) -> tuple[Any, ...]:
    return typing.get_args(kind) if _is_union(kind) else (kind,)


def _is_union(kind: Any) -> bool:
    return typing.get_origin(kind) in (typing.Union, types.UnionType)


def _bare(kind: Any) -> Any:
    """Return a type without its limits and without null."""
    if _is_union(kind):
        kind = next(part for part in typing.get_args(kind) if part is not type(None))
    return typing.get_args(kind)[0] if typing.get_origin(kind) is typing.Annotated else kind
