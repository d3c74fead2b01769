"""The wall seen from the front: members, band, obstacles, doors, the closed awning and its brackets, dimensioned."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from string import ascii_lowercase

from scheduler.layout.drawing.paper import materials
from scheduler.layout.drawing.paper.lettering import width_of
from scheduler.layout.drawing.paper.sheet import (
    FIGURE,
    GRAPHITE,
    GREY,
    PAPER,
    RUST,
    RUST_TINT,
    SMALL,
    Box,
    DrawingSheet,
    n,
    text_box,
)
from scheduler.layout.drawing.wall import running
from scheduler.layout.drawing.wall.naming import name_all
from scheduler.layout.drawing.wall.view import (
    NUMBERS,
    Elevation,
    View,
    awning_box,
    backing_boxes,
    box_of,
    bracket_boxes,
    is_visible,
    member_numbers,
    member_word,
)
from scheduler.layout.measured import Outlet

_OVER_EDGE = 3.0  # how far a member's number may stand out over the wall's right edge, on the sheet


def draw(sheet: DrawingSheet, elevation: Elevation) -> list[str]:
    """Draw the elevation; return in words what it shows without a name or cannot show."""
    survey, view = elevation.survey, elevation.view
    wall, band = view.wall, survey.band
    materials.surface(sheet, wall, survey.wall.kind, view.scale)
    clear = Box(view.x(band.left), view.y(band.top), view.x(band.right), view.y(band.bottom))
    if is_visible(clear):
        sheet.rect(clear, pen=0.15, ink=GREY, fill=PAPER, dash="2 1")
    _members(sheet, elevation)
    for door in survey.doors:
        _door(sheet, view, view.x(door.left), view.x(door.right), view.y(door.top))
    for obstacle in survey.obstacles:
        box = box_of(view, obstacle)
        if is_visible(box):
            sheet.rect(box, pen=0.3, fill=PAPER)
            materials.slanted(sheet, box, 1.1)
    _break(sheet, view)
    _awning(sheet, elevation)
    body = awning_box(elevation)
    for obstacle in survey.obstacles:
        box = box_of(view, obstacle)
        if is_visible(box) and box.overlaps(body):  # behind the closed awning: still there
            sheet.rect(box, pen=0.3, dash="0.9 0.6")
    sheet.line(wall.left - 6.5, wall.bottom, wall.right + 0.8, wall.bottom, pen=0.6)
    lines = _dimension_lines(sheet, elevation)
    _brackets(sheet, elevation)
    _chalk_line(sheet, elevation)
    _member_numbers(sheet, elevation)
    letters = iter(ascii_lowercase)
    return [*name_all(sheet, elevation, lines, letters), *_outlet(sheet, elevation, letters)]


def _members(sheet: DrawingSheet, elevation: Elevation) -> None:
    survey, view = elevation.survey, elevation.view
    half = (survey.wall.member_width or 0.0) / 2
    used = {bracket.member for bracket in elevation.layout.brackets}
    for index, centre in enumerate(survey.wall.members):
        if not view.left <= centre <= view.right:
            continue
        pen = 0.22 if index in used else 0.13
        for x in {view.x(centre - half), view.x(centre + half)}:
            sheet.line(x, view.wall.top, x, view.ground, pen=pen, ink=GREY, dash="1.6 0.8")


def _door(sheet: DrawingSheet, view: View, left: float, right: float, top: float) -> None:
    box = Box(left, top, right, view.ground)
    if not is_visible(box):
        return
    sheet.rect(box, pen=0.35, fill=PAPER)
    inset = min(1.0, (right - left) / 5)
    if box.bottom - box.top > inset:
        sheet.path(
            f"M{n(left + inset)} {n(view.ground)}V{n(top + inset)}H{n(right - inset)}V{n(view.ground)}", pen=0.13
        )


def _outlet(sheet: DrawingSheet, elevation: Elevation, letters: Iterator[str]) -> list[str]:
    """Draw the motor's outlet with its name, or a letter; return it in words where it is not shown or has a letter."""
    outlet, view, measures = elevation.survey.outlet, elevation.view, elevation.measures
    named = measures.say("outlet")
    if not isinstance(outlet, Outlet):
        return []
    words = measures.say(f"outlet at {measures.worded(outlet.at)}, {measures.worded(outlet.height)} up")
    left_out = view.cut is not None and view.cut[0] < outlet.height < view.cut[1]
    x, y = view.x(outlet.at), view.y(outlet.height)
    if not view.left < outlet.at < view.right or left_out or y - 1.4 < view.wall.top:
        return [words]  # on the edge it would be taken for a mark of the dimensions
    if not sheet.is_free(Box(x - 1.0, y - 1.0, x + 1.0, y + 1.0), gap=0.3):
        return [words]
    sheet.circle(x, y, 1.0, pen=0.3, fill=PAPER)
    for side in (-0.35, 0.35):
        sheet.line(x + side, y - 0.45, x + side, y + 0.45, pen=0.25)
    body, wide = awning_box(elevation), width_of(named, SMALL) / 2
    spots = [(x + 1.6 + wide, y + 1), (x - 1.6 - wide, y + 1), (x, y + 4), (x, y - 1.8)]
    if any(_written(sheet, view, named, spot, [body]) for spot in spots):
        return []
    letter = next(letters, "")
    spots = [(x + 2.4, y + 1), (x - 2.4, y + 1), (x, y + 4), (x, y - 1.8)]
    if letter and any(_written(sheet, view, letter, spot, []) for spot in spots):
        return [f"{letter}: {words}"]
    return [words]


def _written(sheet: DrawingSheet, view: View, word: str, spot: tuple[float, float], around: Sequence[Box]) -> bool:
    """Write `word` centred on `spot` where that is free; say if so."""
    box = text_box(*spot, word, SMALL, anchor="middle")
    if not (sheet.is_free(box, around, gap=0.3) and box.inside(view.wall)):
        return False
    sheet.text(*spot, word, SMALL, anchor="middle", ground=True)
    return True


def _break(sheet: DrawingSheet, view: View) -> None:
    """Draw the gap where a stretch of wall is left out, white between two kinked lines."""
    if view.cut is None:
        return
    low, high = view.y(view.cut[0]), view.y(view.cut[1])
    wall = view.wall
    sheet.rect(Box(wall.left - 0.3, high, wall.right + 0.3, low), pen=0.01, ink=PAPER, fill=PAPER)
    kinks = [wall.left + (wall.right - wall.left) * part for part in (0.2, 0.5, 0.8)]
    for y in (low, high):
        d = f"M{n(wall.left - 1.5)} {n(y)}"
        for x in kinks:
            d += f"H{n(x - 1.2)}L{n(x - 0.5)} {n(y - 1)}L{n(x + 0.5)} {n(y + 1)}L{n(x + 1.2)} {n(y)}"
        sheet.path(f"{d}H{n(wall.right + 0.8)}", pen=0.2)


def _awning(sheet: DrawingSheet, elevation: Elevation) -> None:
    """Draw the closed awning: its outline, the hood's line where it has one, the zone and shoulder of each arm."""
    survey, view = elevation.survey, elevation.view
    awning, height, left = survey.awning, survey.place.height, elevation.bar_left
    body = awning_box(elevation)
    sheet.rect(body, pen=0.45, ink=RUST, fill=RUST_TINT)
    if awning.hood and body.bottom - body.top > 2.5:
        y = body.top + 0.8
        sheet.line(body.left, y, body.right, y, pen=0.2, ink=RUST)
    for arm in awning.arms:
        zone = Box(
            view.x(left + max(0.0, arm - awning.arm_half)), view.y(height),
            view.x(left + min(awning.width, arm + awning.arm_half)), body.bottom,
        )  # fmt: skip
        if is_visible(zone):
            sheet.rect(zone, pen=0.2, ink=RUST)
            sheet.line(zone.left, zone.top, zone.right, zone.bottom, pen=0.2, ink=RUST)
            sheet.line(zone.left, zone.bottom, zone.right, zone.top, pen=0.2, ink=RUST)


def _brackets(sheet: DrawingSheet, elevation: Elevation) -> None:
    stands = elevation.stands
    for box in bracket_boxes(elevation, stands.brackets):
        sheet.rect(box, pen=0.3, fill=GRAPHITE)
        sheet.line((box.left + box.right) / 2, box.top, (box.left + box.right) / 2, box.bottom, pen=0.25, ink=PAPER)
    for box in bracket_boxes(elevation, stands.members):
        sheet.rect(box, pen=0.25, dash="0.9 0.6")
    for box in backing_boxes(elevation):
        sheet.rect(box, pen=0.4, fill=PAPER)
        sheet.line(box.left, box.top, box.right, box.bottom, pen=0.3)
        sheet.line(box.left, box.bottom, box.right, box.top, pen=0.3)


def _dimension_lines(sheet: DrawingSheet, elevation: Elevation) -> list[Box]:
    """Draw both running dimensions and the thin lines from them to the awning; return where these lines run."""
    view, body = elevation.view, awning_box(elevation)
    chains = [(elevation.from_datum, elevation.top + elevation.from_datum.height, True)]
    if elevation.from_bar:
        chains.append((elevation.from_bar, view.ground + NUMBERS, False))
    lines: list[Box] = []
    edge = view.wall.left if view.left > 0 else view.wall.right
    for chain, base, upwards in chains:
        running.draw(sheet, chain, base, upwards, elevation.left, edge)
        for label in chain.labels:
            ends = body.top if upwards else body.bottom
            if upwards and label.mark.ringed:
                ends = view.y(elevation.survey.place.height) - 0.7
            x = label.mark.x
            sheet.line(x, base, x, ends, pen=0.13, ink=GREY, dash="" if upwards else "0.5 0.9")
            lines.append(Box(x - 0.1, min(base, ends), x + 0.1, max(base, ends)))
        if chain.zero is not None:
            target = view.ground if upwards else body.bottom
            sheet.line(chain.zero, base, chain.zero, target, pen=0.13, ink=GREY, dash="4 0.8 0.6 0.8")
            lines.append(Box(chain.zero - 0.1, min(base, target), chain.zero + 0.1, max(base, target)))
    return lines


def _chalk_line(sheet: DrawingSheet, elevation: Elevation) -> None:
    """Draw the chalk line through the upper fasteners and its height above the standing surface, left of the wall."""
    survey, view, measures = elevation.survey, elevation.view, elevation.measures
    y, x = view.y(survey.place.height), view.wall.left - 4.8
    sheet.line(x - 1, y, awning_box(elevation).left, y, pen=0.2, dash="3 0.7 0.7 0.7")
    sheet.line(awning_box(elevation).left, y, awning_box(elevation).right, y, pen=0.15, dash="3 0.7 0.7 0.7")
    sheet.line(x, y, x, view.ground, pen=0.18)
    for end in (y, view.ground):
        sheet.line(x - 0.9, end + 0.9, x + 0.9, end - 0.9, pen=0.35)
    if view.cut is not None:
        middle = (view.y(view.cut[0]) + view.y(view.cut[1])) / 2
        sheet.rect(Box(x - 1.2, middle - 0.7, x + 1.2, middle + 0.7), pen=0.01, ink=PAPER, fill=PAPER)
        sheet.path(f"M{n(x - 1.3)} {n(middle - 0.3)}l2.6 -0.8M{n(x - 1.3)} {n(middle + 1.1)}l2.6 -0.8", pen=0.18)
    length, other = measures.first(survey.place.height), measures.other(survey.place.height)
    say = measures.say
    tries = [
        (words, max(width_of(length, FIGURE, True), width_of(words, SMALL)) / 2, low)
        for words in (f"{say('chalk line height')}, {other}", f"{say('chalk line')}, {other}", other)
        for low in (False, True)
    ]
    for words, half, low in tries:
        lowest = view.ground - 1.5 - half
        middle = lowest if low else min(max((y + view.ground) / 2, elevation.top + SMALL + 3 + half), lowest)
        boxes = (
            text_box(x - 5.6, middle, length, FIGURE, anchor="middle", bold=True, turned=True),
            text_box(x - 1.9, middle, words, SMALL, anchor="middle", turned=True),
        )
        if all(sheet.is_free(box, gap=0.3) for box in boxes):
            break
    sheet.text(x - 5.6, middle, length, FIGURE, anchor="middle", bold=True, turned=True)
    sheet.text(x - 1.9, middle, words, SMALL, anchor="middle", ink=GREY, turned=True)


def _member_numbers(sheet: DrawingSheet, elevation: Elevation) -> None:
    """Write the members' numbers below the ground line: those with a bracket first, others where there is room."""
    survey, view = elevation.survey, elevation.view
    numbers = member_numbers(survey)
    if not numbers:
        return
    y = view.ground + 3.4
    say = elevation.measures.say
    word = f"{say(member_word(survey))} {say('no.')}"
    if width_of(word, SMALL) <= view.wall.left - elevation.left:
        sheet.text(view.wall.left - 1, y, word, SMALL, anchor="end", ink=GREY)
    used = {bracket.member for bracket in elevation.layout.brackets}
    for index in sorted(numbers, key=lambda index: (index not in used, numbers[index])):
        centre, text = survey.wall.members[index], str(numbers[index])
        if not view.left <= centre <= view.right:
            continue
        box = text_box(view.x(centre), y, text, SMALL, anchor="middle", bold=index in used)
        if sheet.is_free(box, gap=0.6) and box.right < view.wall.right + _OVER_EDGE:
            sheet.text(view.x(centre), y, text, SMALL, anchor="middle", bold=index in used, ground=True)
