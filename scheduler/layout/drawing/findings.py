"""Findings in full words, set in columns; those for which a sheet has no room are named at its end, never dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.layout.documents import Finding
from scheduler.layout.drawing.cautions import called
from scheduler.layout.drawing.paper.lettering import wrap
from scheduler.layout.drawing.paper.measures import Say, in_english
from scheduler.layout.drawing.paper.sheet import GRAPHITE, Box, DrawingSheet
from scheduler.layout.drawing.setting import (
    INDENT,
    LINE,
    SIZE,
    SetIn,
    SetLine,
    best_way,
    lead,
    lead_width,
    lines_in,
    lines_of,
)

_ORDER = ("stop", "caution", "note")
_MANY = {"stop": "stops", "caution": "cautions", "note": "notes"}
_MOST_NAMED = 30  # of the findings that found no room
_REST_LINES = 4  # the most that are kept free for the statement on what stands elsewhere


@dataclass(frozen=True)
class Set:
    """Findings set in columns; `left_over` says what found no room, empty where all did, and `rest` holds it."""

    lines: tuple[SetLine, ...]
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

    What finds no room is named at the end of a column, with what was to stand elsewhere anyway (`beyond`). Where all
    found room, so may those of `also` that fit; the others are `rest`, unnamed.
    """
    way = best_way(findings, columns, say)
    if not way.left_out:
        every = [*findings, *also]
        way = best_way(every, columns, say, len(findings)) if also else way
        return Set(tuple(lines_of(way, every, columns, say)), "", tuple(every[n] for n in way.left_out))
    best: tuple[SetIn, list[SetLine], list[Finding]] | None = None
    for at in reversed(range(len(columns))):  # at the end of the last column, unless more finds room by another one
        column = columns[at]
        if at < len(columns) - 1 and lines_in(column) < _REST_LINES:
            continue
        for kept in range(1, _REST_LINES + 1):
            shorter = Box(column.left, column.top, column.right, column.bottom - kept * LINE)
            way = best_way(findings, boxes := [*columns[:at], shorter, *columns[at + 1 :]], say)
            rest = [findings[n] for n in way.left_out]
            words = _stated([*rest, *beyond], column, kept, say)
            if len(words) <= kept:
                break
        if len(words) <= kept and (best is None or way.worth < best[0].worth):
            y = column.bottom - (len(words) - 1) * LINE - 0.7
            end = [SetLine(column.left + INDENT, y + k * LINE, text, "more", k == 0) for k, text in enumerate(words)]
            best = way, [*lines_of(way, findings, boxes, say), *end], rest
    assert best is not None
    _, lines, rest = best
    return Set(tuple(lines), _left_over([*rest, *beyond], say), (*rest, *also))


def _stated(rest: Sequence[Finding], column: Box, most: int, say: Say) -> list[str]:
    """Return the lines that say what stands elsewhere: with all of its names, of which only the most lines go short."""
    words: list[str] = []
    for named in range(min(len(rest), _MOST_NAMED), -1, -1):
        words = wrap(_left_over(rest, say, named), SIZE, column.right - column.left - INDENT)
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


def draw(sheet: DrawingSheet, done: Set, say: Say = in_english) -> None:
    """Draw the lines with a mark before each finding: a full square for a stop, a triangle for a caution."""
    for line in done.lines:
        x, y = line.x - INDENT, line.y
        if line.level in _ORDER and (line.first or line.continued):  # before its text: so it is read out, too
            x -= lead_width(line.level, say, continued=line.continued)
            sheet.text(x + INDENT, y, lead(line.level, say, continued=line.continued), SIZE, bold=True)
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
