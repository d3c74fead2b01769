"""Where the elevation goes on the sheet: its scale, the stretch of wall that it shows, and its running dimensions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.layout.documents import CARRIES_NOTHING, WOOD, Layout, Obstacle, Survey
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import Box
from scheduler.layout.drawing.wall import running
from scheduler.layout.drawing.wall.running import Mark, Running
from scheduler.layout.placement.backing import _MARGIN, _fewest_new
from scheduler.layout.placement.brackets import bar_of

_GUTTER = 18.5  # left of the wall, for the chalk-line height
_LEAST_ROOM = 24.0  # sheet height of the wall below which the second chain of dimensions goes
_EDGE = 1.0  # right of the wall
_BREAK = 3.0  # sheet height of the gap where a stretch of wall is left out
_FOOT = 5.0  # what is shown of the wall below that gap
NUMBERS = 5.4  # row of member numbers below the ground line
_BESIDE = (0.15, 0.05, 0.0)  # parts of the awning's width that may be shown beside it, the first that costs no scale
_MEMBER_WORD = {
    "rafters": "rafter", "hollow-block": "cell", "brick-veneer": "member", "fascia": "member", "rim-board": "joist",
    "concrete": "member", "solid-masonry": "member",
}  # fmt: skip


def member_word(survey: Survey) -> str:
    """Return what a member of this wall is called: stud, rafter, joist, cell, or member where it is none of these."""
    return _MEMBER_WORD.get(survey.wall.kind, "stud")


def is_probed(survey: Survey) -> bool:
    """Whether the wall is of wood, whose members are felt for before each hole."""
    return survey.wall.kind in WOOD


def member_numbers(survey: Survey) -> dict[int, int]:
    """Return each member's number on the drawing, from 1 at the left, by its index in the survey."""
    order = sorted(range(len(survey.wall.members)), key=lambda k: (survey.wall.members[k], k))
    return {index: number for number, index in enumerate(order, 1)}


@dataclass(frozen=True)
class View:
    """From wall millimetres to the sheet, at 1 : `scale`; heights between `cut` are left out where it is not None."""

    scale: int
    left: float
    right: float
    top: float
    cut: tuple[float, float] | None
    sheet_left: float
    ground: float

    def x(self, position: float) -> float:
        return self.sheet_left + (min(max(position, self.left), self.right) - self.left) / self.scale

    def y(self, height: float) -> float:
        height = min(max(height, 0.0), self.top)
        if self.cut is None or height <= self.cut[0]:
            return self.ground - height / self.scale
        low, high = self.cut
        foot = self.ground - low / self.scale
        if height < high:
            return foot - _BREAK * (height - low) / (high - low)
        return foot - _BREAK - (height - high) / self.scale

    @property
    def wall(self) -> Box:
        return Box(self.x(self.left), self.y(self.top), self.x(self.right), self.ground)


@dataclass(frozen=True)
class StandsOn:
    """Where the awning stands on the wall: its left end and its brackets, from the zero.

    Without brackets: where it would stand with the least `backing` to put in, and the `members` found that would serve.
    """

    bar_left: float
    brackets: tuple[float, ...] = ()
    backing: tuple[float, ...] = ()
    members: tuple[float, ...] = ()


def standing(survey: Survey, layout: Layout) -> StandsOn:
    """Return where the awning of `layout` stands, or would stand as the layout's `stop` says."""
    left = survey.place.left_end + layout.shift
    if layout.brackets:
        return StandsOn(left, tuple(bracket.wall for bracket in layout.brackets))
    found = None
    if survey.wall.kind not in CARRIES_NOTHING:
        found = _fewest_new(survey, bar_of(survey, layout.required))
    if found is None:
        return StandsOn(left)
    shift, places = found
    left = survey.place.left_end + shift
    return StandsOn(
        left,
        backing=tuple(left + at for at, member in places if member is None),
        members=tuple(survey.wall.members[member] for _, member in places if member is not None),
    )


@dataclass(frozen=True)
class Elevation:
    """The elevation as laid out between the sheet heights `top` and `bottom`, from `left` on.

    `is_enough` says whether all of the band about the awning is shown.
    """

    survey: Survey
    layout: Layout
    stands: StandsOn
    measures: Measures
    view: View
    from_datum: Running
    from_bar: Running | None
    top: float
    left: float
    bottom: float
    is_enough: bool

    @property
    def bar_left(self) -> float:
        return self.stands.bar_left


def lay_out(survey: Survey, layout: Layout, stands: StandsOn, measures: Measures, area: Box) -> Elevation:
    """Return the elevation laid out in `area` of the sheet at the largest usual scale that shows what matters.

    Where the wall is too high for that, a stretch of it between the ground and the band is left out, with break lines,
    unless the next scale shows it whole and is not much smaller.
    """
    bar_left = stands.bar_left
    wide = area.right - area.left - _GUTTER - _EDGE
    stretches = [_stretch(survey, bar_left, share) for share in _BESIDE]
    usual = measures.scales()
    finest = [next((s for s in usual if (right - left) / s <= wide), usual[-1]) for left, right in stretches]
    left, right = stretches[finest.index(min(finest))]
    scales = [s for s in usual if s >= min(finest)]
    first = _at_scale(survey, layout, stands, measures, area, scales[0], left, right)
    if first.is_enough and (first.view.cut is None or len(scales) < 2 or scales[1] > 1.5 * scales[0]):
        return first
    for scale in scales[1:4]:
        found = _at_scale(survey, layout, stands, measures, area, scale, left, right)
        if first.is_enough:
            return first if found.view.cut else found
        if found.is_enough:
            return found
    return first


def _at_scale(
    survey: Survey,
    layout: Layout,
    stands: StandsOn,
    measures: Measures,
    area: Box,
    scale: int,
    left: float,
    right: float,
) -> Elevation:
    sheet_left = area.left + _GUTTER
    sheet_left += max(0.0, (area.right - _EDGE - sheet_left - (right - left) / scale) / 2)
    flat = View(scale, left, right, 1.0, None, sheet_left, area.bottom)
    upper, lower = _chains(survey, stands, measures, flat, area)
    if lower and area.bottom - area.top - NUMBERS - upper.height - lower.height < _LEAST_ROOM:
        lower = None  # the wall goes first: the drill schedule has these places too
    ground = area.bottom - NUMBERS - (lower.height if lower else 0.0)
    room = ground - area.top - upper.height
    top, least = _heights(survey)
    shown = max(1.0, room - _FOOT - _BREAK) * scale
    cut = (_FOOT * scale, top - shown) if top / scale > room else None
    spare = 0.0 if cut else room - top / scale
    view = View(scale, left, right, top, cut, sheet_left, ground - spare)
    enough = cut is None or shown >= top - least
    bottom = area.bottom - spare
    return Elevation(survey, layout, stands, measures, view, upper, lower, area.top, area.left, bottom, enough)


def _stretch(survey: Survey, bar_left: float, share: float) -> tuple[float, float]:
    """The stretch of wall to show: the awning, the band within `share` of its width beside it, the datum where near."""
    width = survey.awning.width
    bar_right = bar_left + width
    left = min(bar_left, max(survey.band.left, bar_left - share * width))
    if left > 0 and bar_left <= 0.3 * width + 600:
        left = 0.0
    right = max(bar_right, min(survey.band.right, bar_right + share * width))
    margin = 0.006 * width + 30
    return left - margin, right + margin


def _heights(survey: Survey) -> tuple[float, float]:
    """The top of the stretch to show and the height down to which it must be shown without a break."""
    height, awning, band = survey.place.height, survey.awning, survey.band
    upper = height + awning.body_above
    lower = height - max(awning.body_below, awning.bracket_lever)
    top = max(upper, min(band.top, upper + 500)) + 90
    return top, max(0.0, min(lower, max(band.bottom, lower - 500)) - 150)


def _chains(
    survey: Survey, stands: StandsOn, measures: Measures, view: View, area: Box
) -> tuple[Running, Running | None]:
    bar_left, bar_right, say = stands.bar_left, stands.bar_left + survey.awning.width, measures.say

    def mark(position: float, zero: float, name: str, ringed: bool) -> Mark:
        length = position - zero
        name = name if ringed else say(name)
        return Mark(view.x(position), measures.first(length), measures.other(length), name, ringed)

    places = [(at, str(number)) for number, at in enumerate(stands.brackets or stands.backing, 1)]
    put_in = "cell to be grouted solid" if survey.wall.kind == "hollow-block" else "backing to be put in"
    what = "each bracket's center" if stands.brackets else f"the middle of each {put_in}"
    same = abs(bar_left) < 0.5
    seen = view.left <= 0 <= view.right
    ends = "the awning's right end" if same else "the awning's ends"
    zero = "From the wall's zero (0) to"
    if same:
        zero = "From the wall's zero (0), which is the awning's left end, to"
    elif not seen:
        side = "left" if view.left > 0 else "right"
        away = measures.both(abs(view.left if view.left > 0 else view.right))
        zero = f"From the wall's zero, {away} {side} of this picture, to"
    marks = [] if same else [mark(bar_left, 0.0, "left end", False)]
    marks.append(mark(bar_right, 0.0, "right end", False))
    upper = running.lay_out(
        [*marks, *(mark(at, 0.0, name, True) for at, name in places)],
        f"{say(zero)} {say(f'{what} and to {ends}' if places else ends)}",
        view.x(0.0) if seen else None, area.left, area.right,
    )  # fmt: skip
    if same or not places:
        return upper, None
    lower = running.lay_out(
        [mark(bar_right, bar_left, "right end", False), *(mark(at, bar_left, name, True) for at, name in places)],
        say(f"From the awning's left end (0) to {what} and to its right end"),
        view.x(bar_left), area.left, area.right,
    )  # fmt: skip
    # Turned labels are long: one chain of them is enough, the drill schedule has the other.
    return upper, None if lower.turned or upper.turned else lower


def awning_box(elevation: Elevation) -> Box:
    survey, view, left = elevation.survey, elevation.view, elevation.bar_left
    height = survey.place.height
    return Box(
        view.x(left), view.y(height + survey.awning.body_above),
        view.x(left + survey.awning.width), view.y(max(0.0, height - survey.awning.body_below)),
    )  # fmt: skip


def bracket_boxes(elevation: Elevation, places: Sequence[float], margin: float = 0.0) -> list[Box]:
    """Return the outlines of brackets, or of backing in their stead, at `places` on the wall.

    They reach from the lower bearing edge to just over the upper fasteners, and `margin` mm of wall beyond both.
    """
    survey, view = elevation.survey, elevation.view
    half, height = survey.awning.bracket_width / 2, survey.place.height
    top = min(view.y(height) - 0.7, view.y(height + margin))
    bottom = view.y(max(0.0, height - survey.awning.bracket_lever - margin))
    return [Box(view.x(at - half), top, view.x(at + half), bottom) for at in places]


def backing_boxes(elevation: Elevation) -> list[Box]:
    """Return the outlines of the backing to be put in."""
    return bracket_boxes(elevation, elevation.stands.backing, _MARGIN)


def box_of(view: View, part: Obstacle) -> Box:
    return Box(view.x(part.left), view.y(part.top), view.x(part.right), view.y(part.bottom))


def is_visible(box: Box) -> bool:
    """Whether a shape clipped to the picture has anything left."""
    return box.right - box.left > 0.05 and box.bottom - box.top > 0.05
