"""Findings in full words, set in columns; those for which a sheet has no room are named at its end, never dropped."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from scheduler.layout.documents import Finding
from scheduler.layout.drawing.cautions import called
from scheduler.layout.drawing.paper.lettering import clean, width_of, wrap
from scheduler.layout.drawing.paper.measures import Say, in_english
from scheduler.layout.drawing.paper.sheet import GRAPHITE, Box, DrawingSheet

SIZE = 2.8
_LINE = SIZE * 1.24
_INDENT = 4.0
_ORDER = ("stop", "caution", "note")
_MANY = {"stop": "stops", "caution": "cautions", "note": "notes"}
_WORD = {"stop": "Stop", "caution": "Caution", "note": "Note"}
_MOST_TRIED = 30  # findings that found no room, after which no more are tried
_LEAST_LINES = 3  # of a finding at the foot of a column, where it runs on
_REST_LINES = 4  # the most that are kept free for the statement on what stands elsewhere


@dataclass(frozen=True)
class _Line:
    x: float
    y: float
    text: str
    level: str
    first: bool
    continued: bool = False  # the first in its column of a finding that began in another


@dataclass(frozen=True)
class Set:
    """Findings set in columns; `left_over` says what found no room, empty where all did, and `rest` holds it."""

    lines: tuple[_Line, ...]
    left_over: str
    rest: tuple[Finding, ...] = ()


def fill(
    findings: Sequence[Finding],
    columns: Sequence[Box],
    also: Sequence[Finding] = (),
    beyond: Sequence[Finding] = (),
    say: Say = in_english,
) -> Set:
    """Set `findings` into `columns`, each whole where one column can take it, else running on into the next one.

    Where room is short, the first in order go first, and a later short one may take what a long one could not; what is
    left out is named at the end, with what was to stand elsewhere anyway (`beyond`). Where all found room, so may those
    of `also` that fit; the others are `rest`, unnamed.
    """
    lines, left_out = _set(findings, columns, say)
    if not left_out:
        if not also:
            return Set(tuple(lines), "")
        lines, rest = _set([*findings, *also], columns, say, len(findings))
        return Set(tuple(lines), "", tuple(rest))
    last = columns[-1]
    for kept in range(1, _REST_LINES + 1):
        shorter = [*columns[:-1], Box(last.left, last.top, last.right, last.bottom - kept * _LINE)]
        lines, rest = _set(findings, shorter, say)
        if not rest:  # set in another way, all of them find room after all
            return Set(tuple(lines), "", tuple(also))
        words = _stated([*rest, *beyond], last, kept, say)
        if len(words) <= kept:
            break
    y = last.bottom - (len(words) - 1) * _LINE - 0.7
    end = [_Line(last.left + _INDENT, y + k * _LINE, text, "more", k == 0) for k, text in enumerate(words)]
    return Set((*lines, *end), _left_over([*rest, *beyond], say), (*rest, *also))


def _stated(rest: Sequence[Finding], column: Box, most: int, say: Say) -> list[str]:
    """Return the lines that say what stands elsewhere: with all of its names, of which only the most lines go short."""
    words: list[str] = []
    for named in range(min(len(rest), _MOST_TRIED), -1, -1):
        words = wrap(_left_over(rest, say, named), SIZE, column.right - column.left - _INDENT)
        if len(words) <= most or most < _REST_LINES:
            break
    return words


def _left_over(rest: Sequence[Finding], say: Say, named: int | None = None) -> str:
    codes = [say(called(finding.code)) for finding in rest]
    named = len(codes) if named is None else named
    listed = ", ".join(codes[:named]) + (f" {say(f'and {len(codes) - named} more')}" if named < len(codes) else "")
    counts = [
        f"{count} {say(level if count == 1 else _MANY[level])}"
        for level in _ORDER
        if (count := sum(f.level == level for f in rest))
    ]
    told = f" {say('and')} ".join(part for part in (", ".join(counts[:-1]), counts[-1]) if part)
    return f"{say('No room here, so on the next page')}: {told} ({listed.strip()})."


def _set(
    findings: Sequence[Finding], columns: Sequence[Box], say: Say, must: int | None = None
) -> tuple[list[_Line], list[Finding]]:
    """Return the lines of those findings that find room, and the findings that do not.

    Each whole in the first column that can take it, or all run on from column to column: whichever leaves fewer stops
    out, then tears fewer and leaves fewer of the first `must` out; where both are alike, nothing is torn.
    """
    whole, running = _set_whole(findings, columns, say), _set_running(findings, columns, say)
    needed = {id(finding) for finding in findings[:must]}

    def worth_less(way: tuple[list[_Line], list[Finding]], torn: int) -> tuple[int, int]:
        return sum(one.level == "stop" for one in way[1]), torn + sum(id(one) in needed for one in way[1])

    never = bool(whole[1]) and whole[1][0] is findings[0]  # longer than any column: it would be put off for ever
    return whole if not never and worth_less(whole, 0) <= worth_less(running, _torn(running[0])) else running


def _torn(lines: Sequence[_Line]) -> int:
    """How many findings run on from one column into the next: their line follows at the next one's top."""
    return sum(not after.first and after.y < before.y for before, after in itertools.pairwise(lines))


def _set_whole(findings: Sequence[Finding], columns: Sequence[Box], say: Say) -> tuple[list[_Line], list[Finding]]:
    lines: list[_Line] = []
    left_out: list[Finding] = []
    tops = [box.top for box in columns]
    for finding in findings:
        for column, box in enumerate(columns if len(left_out) <= _MOST_TRIED else ()):
            free = Box(box.left, tops[column], box.right, box.bottom)
            found = _set_one(finding, [free], 0, free.top + SIZE, say)
            if found is not None:
                lines += found[0]
                tops[column] = found[2] - SIZE
                break
        else:
            left_out.append(finding)
    return lines, left_out


def _set_running(findings: Sequence[Finding], columns: Sequence[Box], say: Say) -> tuple[list[_Line], list[Finding]]:
    lines: list[_Line] = []
    left_out: list[Finding] = []
    column, y = 0, columns[0].top + SIZE
    for finding in findings:
        found = None if len(left_out) > _MOST_TRIED else _set_one(finding, columns, column, y, say)
        if found is None:
            left_out.append(finding)
        else:
            column, y = found[1:]
            lines += found[0]
    return lines, left_out


def _set_one(
    finding: Finding, columns: Sequence[Box], column: int, y: float, say: Say
) -> tuple[list[_Line], int, float] | None:
    """Return the lines of a finding set from `y` in a column on, and where the next one begins; None without room."""
    lines: list[_Line] = []
    rest = _words(finding)
    while rest:
        box, first = columns[column], not lines
        indent = _indent(finding.level, say, continued=not first)
        set_in = wrap(rest, SIZE, box.right - box.left - _INDENT, indent=indent)
        room = max(0, math.floor((box.bottom - y - SIZE * 0.3) / _LINE) + 1)
        if first and room < min(_LEAST_LINES, len(set_in)):
            room = 0  # begin in the next column rather than tear the finding
        if len(set_in) - 1 == room > _LEAST_LINES:
            room -= 1  # a last line alone in the next column would be overlooked
        for n, text in enumerate(set_in[:room]):
            x = box.left + _INDENT + (0.0 if n else indent)
            lines.append(_Line(x, y, text, finding.level, first and not n, not first and not n))
            y += _LINE
        for text in set_in[:room]:
            rest = rest[len(text) :].lstrip()
        if rest:
            column += 1
            if column == len(columns):
                return None
            y = columns[column].top + SIZE
    return lines, column, y + _LINE * 0.28


@lru_cache(maxsize=512)
def _words(finding: Finding) -> str:
    return clean(finding.text)


def _lead(level: str, say: Say, *, continued: bool) -> str:
    """The bold word with which a finding begins; where it runs on in another column, it says so there."""
    return f"{say(_WORD[level])}, {say('continued')}:" if continued else f"{say(_WORD[level])}:"


def _indent(level: str, say: Say, *, continued: bool) -> float:
    return width_of(_lead(level, say, continued=continued), SIZE, True) + 1.0


def draw(sheet: DrawingSheet, done: Set, say: Say = in_english) -> None:
    """Draw the lines with a mark before each finding: a full square for a stop, a triangle for a caution."""
    for line in done.lines:
        x, y = line.x - _INDENT, line.y
        if line.level in _WORD and (line.first or line.continued):  # before its text: so it is read out, too
            x -= _indent(line.level, say, continued=line.continued)
            sheet.text(x + _INDENT, y, _lead(line.level, say, continued=line.continued), SIZE, bold=True)
        sheet.text(line.x, y, line.text, SIZE)
        if not line.first:
            continue
        if line.level == "stop":
            sheet.rect(Box(x, y - 2.3, x + 2.4, y + 0.1), fill=GRAPHITE)
        elif line.level == "caution":
            sheet.polygon([(x, y), (x + 2.6, y), (x + 1.3, y - 2.3)], pen=0.3)
            sheet.line(x + 1.3, y - 1.6, x + 1.3, y - 0.9, pen=0.3)
            sheet.line(x + 1.3, y - 0.45, x + 1.3, y - 0.43, pen=0.3)
        elif line.level == "more":
            sheet.path(f"M{x:.2f} {y - 1:.2f}h2.4m-0.9 -0.9l0.9 0.9l-0.9 0.9", pen=0.3)
        else:
            sheet.circle(x + 1.2, y - 0.95, 0.45, fill=GRAPHITE)
