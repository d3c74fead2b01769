"""The drill schedule: each bracket's place, member, hole and the share of the allowable load that it takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import msgspec

from scheduler.layout.documents import Bracket, Fastener, Layout, Survey
from scheduler.layout.drawing.paper.lettering import width_of, wrap
from scheduler.layout.drawing.paper.measures import Measures, Say, millimetres
from scheduler.layout.drawing.paper.sheet import FIGURE, GREY, LEADING, PALE, SMALL, Box, DrawingSheet
from scheduler.layout.drawing.wall.view import member_numbers, member_word
from scheduler.layout.statics import nds
from scheduler.layout.statics.anchors import NM_PER_LBF_FT
from scheduler.layout.statics.lag import PLATE_IN, fastener_name
from scheduler.layout.statics.loads import bracket_loads
from scheduler.units import INCH_MM, feet_inches

_ROW = FIGURE * 1.34
_MOST_ROWS = 9  # of one column of the sheet
_LEAST_GAP = 1.8
_LONGEST_NAME = 60
_SAME_N = 0.5  # the layout's loads name their case if they are this near, newtons


@lru_cache(maxsize=16)  # each height that a drawing tries asks anew
def case_names(survey: Survey, layout: Layout) -> tuple[str | None, ...]:
    """Return for each bracket the load case whose loads the layout gives, None where none of today's cases has them."""
    if len(layout.brackets) < 2:
        return (None,) * len(layout.brackets)
    cases = bracket_loads(survey, [bracket.at for bracket in layout.brackets])
    names: list[str | None] = []
    for k, bracket in enumerate(layout.brackets):
        fitting = (
            case.name
            for case in cases
            if abs(case.brackets[k].tension_n - bracket.tension_n) < _SAME_N
            and abs(abs(case.brackets[k].shear_n) - bracket.shear_n) < _SAME_N
        )
        names.append(next(fitting, None))
    return tuple(names)


def hole(fastener: Fastener, measures: Measures, cover_mm: float = 0.0) -> tuple[str, str] | None:
    """Return the hole's size and its depth from the wall's face, as the sheet writes them.

    A screw's pilot is as deep as its length less the bracket's plate; an anchor's hole as its report has it, with the
    cover before the masonry on top. None for an anchor of a first survey, which has no hole: nothing may be drilled.
    """
    if isinstance(fastener.hole, float) and isinstance(fastener.hole_depth, float):
        return _size(fastener.hole, measures), measures.worded(fastener.hole_depth + cover_mm)
    if fastener.pilot is None or fastener.length is None:
        return None
    deep = fastener.length - PLATE_IN * INCH_MM
    return _size(fastener.pilot, measures), feet_inches(deep) if measures.units == "imperial" else _size(deep, measures)


def fastener_words(fastener: Fastener, measures: Measures, cover_mm: float = 0.0) -> str:
    """Return what goes into each bracket and into what hole, every size as a number; `cover_mm` lies before masonry."""
    text = f"Each bracket: {fastener.count} × {fastener_name(fastener)}"
    sizes = hole(fastener, measures)
    if sizes is None:
        return f"{text}. No hole is known: the survey lacks the numbers of the anchor's report, so nothing is drilled."
    size, deep = sizes
    if isinstance(fastener.hole, float):
        setting, through = _setting(fastener, measures), hole(fastener, measures, cover_mm)
        if cover_mm and through is not None:
            whole = through[1]
            return f"{text}. Hole {size}, {deep} deep from the masonry's face, {whole} with the cover{setting}."
        return f"{text}. Hole {size}, {deep} deep from the masonry's face{setting}."
    assert fastener.shank_hole is not None
    return (
        f"{text}. Pilot {size} for the thread, {deep} deep from the wall's face;"
        f" {_size(fastener.shank_hole, measures)} for the shank, {measures.worded(shank_depth(fastener))} deep; hold in"
        f" the wood {measures.both(fastener.penetration or 0.0)} without the tip."
    )


def shank_depth(fastener: Fastener) -> float:
    """Return how deep the plain shank's hole is from the wall's face, mm: a screw's shank less the bracket's plate."""
    if isinstance(fastener.shank_depth, float):
        return fastener.shank_depth
    diameter, length = round((fastener.diameter or 0.0) / INCH_MM, 6), (fastener.length or 0.0) / INCH_MM
    shank = length - nds.TIP_IN[diameter] - nds.thread_in(length, diameter)
    return max(shank - PLATE_IN, 0.0) * INCH_MM


def _setting(fastener: Fastener, measures: Measures) -> str:
    """Return the rest of an anchor's numbers, each after a semicolon."""
    told = [("embedment", fastener.penetration), ("to any edge", fastener.edge), ("to the next", fastener.spacing)]
    words = "".join(f"; {what} {measures.worded(value)}" for what, value in told if isinstance(value, float))
    torque = fastener.torque_nm
    if not isinstance(torque, float) or not torque:
        return f"{words}; no torque"
    return f"{words}; torque {torque:g} N·m ({torque / NM_PER_LBF_FT:.0f} ft-lb)"


def _size(size_mm: float, measures: Measures) -> str:
    return feet_inches(size_mm, 64) if measures.units == "imperial" else f"{millimetres(size_mm)} mm"


def draw(sheet: DrawingSheet, survey: Survey, layout: Layout, measures: Measures, areas: Sequence[Box]) -> list[float]:
    """Draw the schedule at the top of `areas[0]`, its second half in `areas[1]` where it is long.

    Returns the sheet height at which it ends in each of the areas.
    """
    area = areas[0]
    y = area.top + SMALL * 1.1
    sheet.text(area.left, y, measures.say("Drill schedule"), SMALL, bold=True)
    if not layout.brackets:
        text = (
            f"No holes: no brackets, where {layout.required} are required. Drill nothing before every stop is settled."
        )
        lines = wrap(measures.say(text), SMALL, area.right - area.left)
        return [sheet.paragraph(area.left, y + SMALL * LEADING + 1, lines), areas[1].top]
    cases = case_names(survey, layout)
    letters = {case: chr(ord("A") + k) for k, case in enumerate(dict.fromkeys(case for case in cases if case))}
    columns = _columns(survey, layout, measures, [letters.get(case or "") for case in cases])
    long = len(layout.brackets) > _MOST_ROWS
    half = (len(layout.brackets) + 1) // 2 if long else len(layout.brackets)
    width = min(box.right - box.left for box in areas) if long else area.right - area.left
    columns = _fitting(columns, width)
    y = _table(sheet, area.left, y + SMALL * LEADING + 0.6, width, columns, range(half))
    if long:
        second = areas[1]
        _table(
            sheet,
            second.left,
            second.top + SMALL * (1.1 + LEADING) + 0.6,
            width,
            columns,
            range(half, len(layout.brackets)),
        )
    ends = [y, y if long else areas[1].top]
    y += SMALL * LEADING + 1.6
    words = (
        fastener_words(_named(layout.fastener), measures, survey.wall.cover)
        if layout.fastener
        else "No fastener is named: see the stops."
    )
    y = sheet.paragraph(area.left, y, wrap(measures.say(words), SMALL, area.right - area.left))
    words = measures.say(use_words(letters, cases, measures.say))
    return [sheet.paragraph(area.left, y, wrap(words, SMALL, area.right - area.left), ink=GREY) - SMALL, ends[1]]


def _named(fastener: Fastener) -> Fastener:
    """Return the fastener with a name that leaves room for its numbers; the whole name stands in the notes."""
    if len(fastener.kind) <= _LONGEST_NAME:
        return fastener
    return msgspec.structs.replace(fastener, kind=f"{fastener.kind[: _LONGEST_NAME - 1]}…")


@dataclass(frozen=True)
class _Column:
    head: str
    size: float
    bold: tuple[bool, ...]
    cells: tuple[str, ...]
    rank: int  # 2 stays always, 0 goes first where room is short

    @property
    def width(self) -> float:
        cells = (width_of(cell, self.size, bold) for cell, bold in zip(self.cells, self.bold, strict=True))
        return max(width_of(self.head, SMALL), *cells)


def _columns(survey: Survey, layout: Layout, measures: Measures, letters: Sequence[str | None]) -> list[_Column]:
    brackets, numbers, word = layout.brackets, member_numbers(survey), member_word(survey)
    say, yes, no = measures.say, (True,) * len(brackets), (False,) * len(brackets)
    columns = [
        _Column(say("no."), FIGURE, yes, tuple(str(k + 1) for k in range(len(brackets))), 2),
        _Column(say("from zero"), FIGURE, yes, tuple(measures.first(bracket.wall) for bracket in brackets), 2),
    ]
    if any(abs(bracket.wall - bracket.at) >= 0.5 for bracket in brackets):
        ats = tuple(measures.first(bracket.at) for bracket in brackets)
        columns.append(_Column(say("from left end"), FIGURE, no, ats, 0))
    if any(bracket.member is not None for bracket in brackets):
        members = (str(numbers[b.member]) if b.member is not None else "–" for b in brackets)
        columns.append(_Column(say(word), FIGURE, no, tuple(members), 2))
    if layout.fastener and (sizes := hole(layout.fastener, measures, survey.wall.cover)):
        size = say("hole") if isinstance(layout.fastener.hole, float) else say("pilot")
        for head, cell in zip((size, say("depth")), sizes, strict=True):
            columns.append(_Column(head, FIGURE, no, (cell,) * len(brackets), 1))
    over = tuple(bracket.use is not None and bracket.use > 1 for bracket in brackets)
    uses = (_use(bracket, letter, say) for bracket, letter in zip(brackets, letters, strict=True))
    columns.append(_Column(say("use"), SMALL, over, tuple(uses), 2))
    return columns


def _fitting(columns: list[_Column], width: float) -> list[_Column]:
    """The columns that `width` has room for; the others, whose figures stand elsewhere on the sheet, go.

    What one drills by stays as long as it has room in small letters.
    """
    kept = [column for column in columns if column.rank >= 1]
    small = [replace(column, size=SMALL) if column.rank == 1 else column for column in kept]
    least = [column for column in columns if column.rank >= 2]
    for chosen in (columns, kept, small):
        if sum(column.width + _LEAST_GAP for column in chosen) - _LEAST_GAP <= width:
            return chosen
    return least


def _table(sheet: DrawingSheet, left: float, y: float, width: float, columns: Sequence[_Column], rows: range) -> float:
    """Draw the rows of the table with its head at base line `y`; return the height of its last rule."""
    spare = width - sum(column.width for column in columns)
    gap = max(_LEAST_GAP, min(6.0, spare / max(1, len(columns) - 1)))
    lefts = [left + sum(column.width + gap for column in columns[:c]) for c in range(len(columns))]
    right = lefts[-1] + columns[-1].width
    for x, column in zip(lefts, columns, strict=True):
        sheet.text(x, y, column.head, SMALL, ink=GREY)
    y += 1.3
    sheet.line(left, y, right, y, pen=0.25)
    for row in rows:
        y += _ROW
        for x, column in zip(lefts, columns, strict=True):
            sheet.text(x, y - 1.3, column.cells[row], column.size, bold=column.bold[row])
        sheet.line(left, y, right, y, pen=0.1, ink=PALE)
    return y


def use_words(letters: dict[str, str], cases: Sequence[str | None], say: Say) -> str:
    """Return what the column "use" means, with its load cases by name, each as `say` has it."""
    text = "Use: share of the fasteners' allowable load, in the load case that asks most"
    named = "; ".join(f"{letter} {say(case)}" for case, letter in letters.items())
    if None in cases:
        named = f"{named}; " * bool(named) + "without a letter: the case that the layout was computed with"
    return f"{text}: {named}."


def _use(bracket: Bracket, letter: str | None, say: Say) -> str:
    share = say("unknown") if bracket.use is None else f"{100 * bracket.use:.0f} %"
    return f"{share} {letter}" if letter else share
