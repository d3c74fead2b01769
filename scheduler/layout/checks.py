"""Whether a survey's measures are possible together, and whether it has all keys of its form and no others."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from msgspec import UNSET

from scheduler.errors import BadInput
from scheduler.layout.measured import (
    CONTINUOUS,
    GRAVITY,
    MASONRY,
    WOOD,
    Awning,
    Band,
    Door,
    MeasuredPart,
    Obstacle,
    Survey,
    Wall,
)

_MOST_ARMS = 6  # twice what wide awnings have; the search for places grows fast with their number
# A measured gravity further than 0.06 from its species group's is another wood; the rest is dust of binary fractions.
_GRAVITY_APART = 0.06 + 1e-9
_LEAST_APART = 1.0  # mm between two holes of a bracket: less is the same hole twice


def checked(survey: Survey) -> Survey:
    """Return `survey` itself where its measures are possible together; raises `BadInput` otherwise."""
    _check_form(survey)
    _check_awning(survey.awning)
    if survey.is_second:
        _check_second(survey)
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


def _parts(survey: Survey) -> Iterator[tuple[str, MeasuredPart]]:
    """Yield the parts that differ from form to form, each with the beginning of its keys' names."""
    yield "", survey
    yield "awning.", survey.awning
    yield "wall.", survey.wall
    yield "place.", survey.place
    if survey.anchor is not None:
        yield "anchor.", survey.anchor


def _check_form(survey: Survey) -> None:
    for where, part in _parts(survey):
        defaults = part.__struct_defaults__
        for name, default in zip(part.__struct_fields__[-len(defaults) :], defaults, strict=True):
            if default is not UNSET:
                continue
            given = getattr(part, name) is not UNSET
            if given and not survey.is_second:
                raise BadInput(f"{where}{name}", 'is a key of "survey/2"; this survey says that it is "survey/1"')
            if not given and survey.is_second:
                raise BadInput(f"{where}{name}", 'is missing, and "survey/2" asks for it')


def _check_awning(awning: Awning) -> None:
    if len(awning.arms) < 2:
        raise BadInput("awning.arms", f"must hold two arm centers or more, holds {len(awning.arms)}")
    if len(awning.arms) > _MOST_ARMS:
        raise BadInput("awning.arms", f"must hold {_MOST_ARMS} arm centers or fewer, holds {len(awning.arms)}")
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
    if wall.kind in WOOD and not wall.wood_gravity:
        raise BadInput("wall.gravity", f"must be the wood's specific gravity (spruce-pine-fir 0.42), is {wall.gravity}")
    if wall.kind in WOOD - CONTINUOUS and not wall.member_width:
        raise BadInput("wall.member_width", f"must be the members' width along the wall, is {wall.member_width}")


def _check_second(survey: Survey) -> None:
    wall, awning, anchor = survey.wall, survey.awning, survey.anchor
    if wall.kind in WOOD:
        if wall.member_depth is None:
            raise BadInput("wall.member_depth", "must be the member's depth behind the cover (2×6: 139.7), is null")
        if not isinstance(wall.species, str):
            raise BadInput("wall.species", 'must be the wood\'s species group, "unknown" where nobody can say, is null')
        usual = GRAVITY[wall.species]
        if wall.gravity is not None and wall.species != "unknown" and abs(wall.gravity - usual) > _GRAVITY_APART:
            problem = f"must be near that of the species group ({wall.species}: {usual:g}), is {wall.gravity:g}"
            raise BadInput("wall.gravity", f"{problem}; or say that the species is unknown")
        if anchor is not None:
            raise BadInput("anchor", f"is for masonry and concrete; this wall is {wall.kind}: leave it null")
    if wall.end_grain and wall.kind != "rafters":
        raise BadInput("wall.end_grain", f"can be true of rafters alone, whose cut ends show; this wall is {wall.kind}")
    if wall.tie and wall.kind != "rim-board":
        raise BadInput("wall.tie", f"is for a rim board; this wall is {wall.kind}: leave it null")
    if anchor is not None and wall.kind in MASONRY:
        assert isinstance(anchor.hole_depth, float)
        assert isinstance(anchor.embedment, float)
        if anchor.hole_depth < anchor.embedment:
            problem = f"must be the embedment ({anchor.embedment:g}) or more, is {anchor.hole_depth:g}"
            raise BadInput("anchor.hole_depth", problem)
    _check_holes(awning)


def _check_holes(awning: Awning) -> None:
    holes = awning.holes
    assert isinstance(holes, tuple)
    if len(holes) != awning.bolts:
        raise BadInput(
            "awning.holes", f"must hold one hole for each of the {awning.bolts} fasteners, holds {len(holes)}"
        )
    for n, hole in enumerate(holes):
        if hole.down >= awning.bracket_lever:
            problem = f"must be less than the bracket's lever ({awning.bracket_lever:g}), is {hole.down:g}"
            raise BadInput(f"awning.holes[{n}].down", problem)
        if abs(hole.across) > awning.bracket_width / 2:
            problem = f"must be on the bracket, {awning.bracket_width:g} wide, is {hole.across:g} off its middle"
            raise BadInput(f"awning.holes[{n}].across", problem)
    if min(hole.down for hole in holes) > 0:
        raise BadInput("awning.holes", "must have a hole at the upper fasteners' height (down 0)")
    for (n, one), (k, other) in combinations(enumerate(holes), 2):
        if abs(one.across - other.across) < _LEAST_APART and abs(one.down - other.down) < _LEAST_APART:
            raise BadInput(f"awning.holes[{k}]", f"must be another hole than awning.holes[{n}]")


def _spans(where: str, part: Band | Obstacle | Door) -> None:
    if part.right <= part.left:
        raise BadInput(f"{where}.right", f"must be further right than left ({part.left:g}), is {part.right:g}")


def _above(where: str, bottom: float, top: float) -> None:
    raise BadInput(f"{where}.top", f"must be above bottom ({bottom:g}), is {top:g}")
