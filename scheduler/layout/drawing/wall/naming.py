"""The words in the elevation: each put where it covers nothing, or handed back to be said beside the picture."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from scheduler.layout.documents import Door
from scheduler.layout.drawing.paper.lettering import clean, width_of
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import GRAPHITE, GREY, RUST, SMALL, Box, DrawingSheet, text_box
from scheduler.layout.drawing.wall.view import (
    Elevation,
    View,
    awning_box,
    backing_boxes,
    box_of,
    bracket_boxes,
    is_visible,
)

_LONGEST = 46.0  # mm; a longer name of an obstacle goes beside the picture
_MOST_NAMED = 60  # obstacles; in a picture with more nobody would find a name
_SWINGS = "swings out"
_STEP = SMALL * 1.05  # from one line of a name to the next

Spots = Iterable[tuple[float, float]]


def name_all(sheet: DrawingSheet, elevation: Elevation, lines: Sequence[Box], letters: Iterator[str]) -> list[str]:
    """Name what the picture shows, off the dimension `lines`; return in words what is not shown or has no room.

    What has room for a letter only gets the next of `letters`, and its sentence begins with it. Several doors have
    their numbers, by which findings call them.
    """
    survey, view, measures = elevation.survey, elevation.view, elevation.measures
    say = measures.say
    wall, body = view.wall, awning_box(elevation)
    stands = elevation.stands
    solid = [*bracket_boxes(elevation, (*stands.brackets, *stands.members)), *backing_boxes(elevation), *lines]
    if view.cut is not None:
        solid.append(Box(wall.left, view.y(view.cut[1]) - 0.8, wall.right, view.y(view.cut[0]) + 0.8))
    picture = Box(wall.left, wall.top, wall.right, wall.bottom - 0.3)
    shapes = [box_of(view, obstacle) for obstacle in survey.obstacles]
    around = [*solid, *shapes]
    unnamed: list[str] = []
    for number, (obstacle, shape) in enumerate(zip(survey.obstacles, shapes, strict=True)):
        name = say(clean(obstacle.what))
        where = f"{name}, {_reaching(measures, obstacle.left, obstacle.right)}"
        if not is_visible(shape):
            unnamed.append(f"{where}, {say('outside this picture')}")
            continue
        wide, others = width_of(name, SMALL), [*solid, body, *shapes[:number], *shapes[number + 1 :]]
        if number < _MOST_NAMED and wide <= _LONGEST and _put(sheet, [name], _around(shape, wide), picture, others):
            continue
        letter = next(letters, None)
        lettered = letter and _put(sheet, [letter], _around(shape, width_of(letter, SMALL)), picture, solid)
        unnamed.append(f"{letter}: {where}" if lettered else where)
    for number, door in enumerate(survey.doors, 1):
        name = say(f"door {number}" if len(survey.doors) > 1 else "door")
        if not _name_door(sheet, view, door, name, say(_SWINGS) if door.swings_out else "", around):
            if len(survey.doors) > 1:
                _name_door(sheet, view, door, name, "", around)
            what = f"{name}, {say(_SWINGS)}" if door.swings_out else name
            unnamed.append(f"{what}, {_reaching(measures, door.left, door.right)}")
    for number, arm in enumerate(survey.awning.arms, 1):
        name = say(f"arm {number}")
        x, aside = view.x(elevation.bar_left + arm), width_of(name, SMALL) / 2 + 0.7
        spots = (
            (x + k * aside, y)
            for y in (body.bottom + 3.1, body.bottom + 6.4, body.top - 1.2)
            for k in (0, 1, -1, 2, -2)
        )
        _put(sheet, [name], spots, picture, around, RUST)
    _name_band(sheet, elevation, around)
    return unnamed


def _reaching(measures: Measures, left_mm: float, right_mm: float) -> str:
    return measures.say(f"{measures.both(left_mm)} to {measures.both(right_mm)} from the zero")


def _put(
    sheet: DrawingSheet,
    lines: Sequence[str],
    spots: Spots,
    within: Box,
    around: Sequence[Box],
    ink: str = GRAPHITE,
    ground: bool = True,
) -> bool:
    """Write `lines` one below the other, the first centred on the first of `spots` where all are free; say if so."""
    for x, y in spots:
        boxes = [text_box(x, y + k * _STEP, line, anchor="middle") for k, line in enumerate(lines)]
        if all(box.inside(within) and sheet.is_free(box, around) for box in boxes):
            for k, line in enumerate(lines):
                sheet.text(x, y + k * _STEP, line, anchor="middle", ink=ink, ground=ground)
            return True
    return False


def _name_door(sheet: DrawingSheet, view: View, door: Door, name: str, swings: str, around: Sequence[Box]) -> bool:
    box = Box(view.x(door.left) + 0.6, view.y(door.top), view.x(door.right) - 0.6, view.ground)
    if not is_visible(box):
        return False
    kinds = [[f"{name}, {swings}"], [f"{name},", *swings.split()]] if swings else [[name]]
    return any(
        _put(sheet, lines, _down(box, max(width_of(line, SMALL) for line in lines)), box, around) for lines in kinds
    )


def _name_band(sheet: DrawingSheet, elevation: Elevation, around: Sequence[Box]) -> None:
    survey, view, body = elevation.survey, elevation.view, awning_box(elevation)
    band, say = survey.band, elevation.measures.say
    clear_band, closed = say("clear band"), say("closed awning")
    clear = Box(view.x(band.left), view.y(band.top), view.x(band.right), view.y(band.bottom))
    half = width_of(clear_band, SMALL) / 2 + 1
    ends = (clear.left + half, clear.right - half, (clear.left + clear.right) / 2)
    spots = ((x, y) for y in (clear.bottom - 1, clear.top + 2.6, body.bottom + 3) for x in ends)
    _put(sheet, [clear_band], spots, clear, [*around, body], GREY)
    half = width_of(closed, SMALL) / 2 + 1
    free = body.right - body.left - 2 * half
    heights = ((body.top + body.bottom) / 2 + 1.2, body.bottom - 0.9)
    along = [body.left + half + free * k / 40 for k in range(41)] if free > 0 else []
    height = view.y(survey.place.height)
    chalk = Box(view.wall.left, height - 0.05, view.wall.right, height + 0.05)
    spots = ((x, y) for y in heights for x in along)
    blocked = [*around, *_arm_boxes(elevation), chalk]
    _put(sheet, [closed], spots, body, blocked, RUST, ground=False)


def _arm_boxes(elevation: Elevation) -> list[Box]:
    awning, view, body = elevation.survey.awning, elevation.view, awning_box(elevation)
    left = elevation.bar_left
    return [
        Box(view.x(left + arm - awning.arm_half), body.top, view.x(left + arm + awning.arm_half), body.bottom)
        for arm in awning.arms
    ]


def _around(shape: Box, wide: float) -> Iterator[tuple[float, float]]:
    """Places for the middle of a name's base line about `shape`, the best first: below, right, left, above, upon it."""
    middle, height = (shape.left + shape.right) / 2, (shape.top + shape.bottom) / 2 + 1.1
    yield middle, shape.bottom + 3
    for y in (height, shape.top + 2.6, shape.bottom - 0.9):
        yield shape.right + wide / 2 + 1, y
        yield shape.left - wide / 2 - 1, y
    yield middle, shape.top - 1.2
    for k in range(1, 5):
        y = shape.top + 2.6 + 4 * k
        if y < shape.bottom + 3:  # further down nobody would take it for this shape's name
            yield shape.right + wide / 2 + 1, y
            yield shape.left - wide / 2 - 1, y
    for dx in (wide / 2, -wide / 2):
        yield middle + dx, shape.bottom + 3
    yield middle, height


def _down(box: Box, wide: float) -> Iterator[tuple[float, float]]:
    """Places for the middle of a base line inside a door, from its head down, the last one at its foot."""
    spare = max(0.0, (box.right - box.left - wide) / 2 - 0.5)
    for y in (*(box.top + 4.5 + 3 * k for k in range(12)), box.bottom - 1.4):
        for dx in (0.0, -spare, spare):
            yield (box.left + box.right) / 2 + dx, y
