"""Where findings go in columns: the best way to set them, each whole where it can be, else run on with a mark."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from scheduler.layout.documents import Finding
from scheduler.layout.drawing.paper.lettering import clean, width_of, wrap
from scheduler.layout.drawing.paper.measures import Say
from scheduler.layout.drawing.paper.sheet import Box

SIZE = 2.8
LINE = SIZE * 1.24
INDENT = 4.0
_BETWEEN = LINE * 0.28
_LEAST_LINES = 3  # of a finding at the foot of a column, where it runs on
_MOST_TRIED = 30  # findings that found no room, after which no more are tried
_MOST_WAYS = 60  # kept of the ways to set what has been set so far: three columns seldom have more that differ
_MANY, _WAYS_OF_MANY = 30, 3  # findings, of which no sheet has room for all in any way, and the ways kept of so many
_WORD = {"stop": "Stop", "caution": "Caution", "note": "Note"}


class FindingPart(Finding, frozen=True):
    """A piece of a finding that is too long for a column; of all but the first `continued` is true."""

    continued: bool = False


@dataclass(frozen=True)
class SetLine:
    """A line of a finding: `first` of it, or the first in its column of what began elsewhere (`continued`)."""

    x: float
    y: float
    text: str
    level: str
    first: bool
    continued: bool = False


@dataclass(frozen=True)
class SetIn:
    """Findings set so far: where the next base line of each column is, and what went where.

    `pieces` has for each finding its columns with the lines in each, none for one that found no room; `full` are the
    columns whose last finding runs on into the next. `left_out` has the places of those without room, from 0.
    """

    ends: tuple[float, ...]
    full: frozenset[int] = frozenset()
    pieces: tuple[tuple[tuple[int, tuple[str, ...]], ...], ...] = ()
    left_out: tuple[int, ...] = ()
    stops_out: int = 0
    torn: int = 0

    @property
    def worth(self) -> tuple[object, ...]:
        """What tells ways apart, the least the best: few stops left out, then few of all, nothing torn, in order."""
        put = tuple(found[0][0] if found else -1 for found in self.pieces)
        return self.stops_out, len(self.left_out), tuple(-n for n in self.left_out), self.torn, put


def best_way(findings: Sequence[Finding], columns: Sequence[Box], say: Say, must: int | None = None) -> SetIn:
    """Return the best way to set `findings`, in order of rank, into `columns`.

    Of stops as many as can find room do. Of the rest each finds it that can beside those before it. Only the first
    `must` (None: all) and stops may run on from one column into the next, and do where one more finds room by that; so
    may the very first, which would be put off for ever where no column takes it whole.
    """
    must = len(findings) if must is None else must
    most = _MOST_WAYS if len(findings) <= _MANY else _WAYS_OF_MANY
    ways = [SetIn(tuple(box.top + SIZE for box in columns))]
    for n, finding in enumerate(findings):
        stop = finding.level == "stop"
        tried = [way for way in ways if len(way.left_out) <= _MOST_TRIED]
        if not tried:
            return _without_more(min(ways, key=lambda way: way.worth), findings, n)
        set_in = [found for way in tried for found in _with(way, finding, columns, say, n < must or stop or not n)]
        without = [_without(way, n, stop) for way in ways]
        if set_in and not stop:  # else who comes after would be set in place of who comes before
            without = []
        distinct: dict[object, SetIn] = {}
        for way in sorted([*set_in, *without], key=lambda way: way.worth):
            distinct.setdefault((tuple(round(y, 3) for y in way.ends), way.full, way.stops_out), way)
        ways = list(distinct.values())[:most]
        if n + 1 == len(findings) or (stop and findings[n + 1].level != "stop"):
            fewest = min(way.stops_out for way in ways)
            ways = [way for way in ways if way.stops_out == fewest]
    return min(ways, key=lambda way: way.worth)


def lines_of(way: SetIn, findings: Sequence[Finding], columns: Sequence[Box], say: Say) -> list[SetLine]:
    """Return the lines of `way`, finding by finding; what runs on into a column stands at its head."""
    starts = [box.top + SIZE for box in columns]
    for set_in in way.pieces:
        for column, texts in set_in[1:]:
            ended = column == set_in[-1][0]
            starts[column] += len(texts) * LINE + _BETWEEN * ended
    heads = [box.top + SIZE for box in columns]
    lines: list[SetLine] = []
    for finding, set_in in zip(findings, way.pieces, strict=True):
        for piece, (column, texts) in enumerate(set_in):
            goes_on = bool(piece) or is_continued(finding)
            y = heads[column] if piece else starts[column]
            indent = lead_width(finding.level, say, continued=goes_on)
            for k, text in enumerate(texts):
                x = columns[column].left + INDENT + (0.0 if k else indent)
                begins = not k and not goes_on
                lines.append(SetLine(x, y + k * LINE, text, finding.level, begins, not k and goes_on))
            if not piece:
                starts[column] = y + len(texts) * LINE + _BETWEEN
    return lines


def lines_in(column: Box) -> int:
    """Return how many lines find room in a column, 0 where it is not even that high."""
    return _room(column, column.top + SIZE)


def is_continued(finding: Finding) -> bool:
    return isinstance(finding, FindingPart) and finding.continued


def lead(level: str, say: Say, *, continued: bool) -> str:
    """The bold word with which a finding begins; where it runs on in another column or sheet, it says so there."""
    return f"{say(_WORD[level])}, {say('continued')}:" if continued else f"{say(_WORD[level])}:"


def lead_width(level: str, say: Say, *, continued: bool) -> float:
    """How far the first line of a finding begins after its lead, mm."""
    return width_of(lead(level, say, continued=continued), SIZE, True) + 1.0


def _without(way: SetIn, n: int, stop: bool) -> SetIn:
    pieces, left_out = (*way.pieces, ()), (*way.left_out, n)
    return replace(way, pieces=pieces, left_out=left_out, stops_out=way.stops_out + stop)


def _without_more(way: SetIn, findings: Sequence[Finding], n: int) -> SetIn:
    """Return `way` without any of the findings from place `n` on."""
    more = range(n, len(findings))
    stops = sum(finding.level == "stop" for finding in findings[n:])
    return replace(
        way, pieces=(*way.pieces, *(() for _ in more)), left_out=(*way.left_out, *more), stops_out=way.stops_out + stops
    )


def _with(way: SetIn, finding: Finding, columns: Sequence[Box], say: Say, may_run_on: bool) -> Iterator[SetIn]:
    """Yield `way` with the finding whole in each column that can take it, then begun in each and run on."""
    begins = lead_width(finding.level, say, continued=is_continued(finding))
    before = way.pieces[-1] if way.pieces and is_continued(finding) else ((0, ()),)
    if not before:
        return  # what goes on comes after what it goes on from
    for column in range(before[-1][0], len(columns)):
        if column in way.full:
            continue
        texts = _wrapped(_words(finding), columns[column], begins)
        if len(texts) <= _room(columns[column], way.ends[column]):
            ends = _moved(way.ends, column, len(texts) * LINE + _BETWEEN)
            yield replace(way, ends=ends, pieces=(*way.pieces, ((column, texts),)))
        elif may_run_on and (found := _run_on(way, finding, columns, column, texts, say)) is not None:
            yield found


def _run_on(
    way: SetIn, finding: Finding, columns: Sequence[Box], column: int, texts: tuple[str, ...], say: Say
) -> SetIn | None:
    """Return `way` with the finding begun at the end of a column and run on, None where it cannot.

    What comes over stands at the head of the next column. Only a stop fills that one whole, if empty, and goes on.
    """
    pieces: list[tuple[int, tuple[str, ...]]] = []
    ends, full, rest = way.ends, set(way.full), _words(finding)
    indent = lead_width(finding.level, say, continued=True)
    while True:
        room = _room(columns[column], ends[column])
        if column in full:
            return None
        if pieces and len(texts) <= room:
            ends = _moved(ends, column, len(texts) * LINE + _BETWEEN)
            pieces.append((column, texts))
            torn = way.torn + len(pieces) - 1
            return replace(way, ends=ends, full=frozenset(full), pieces=(*way.pieces, tuple(pieces)), torn=torn)
        twice = pieces and (finding.level != "stop" or ends[column] > columns[column].top + SIZE + 1e-6)
        if twice or column + 1 == len(columns) or room < min(_LEAST_LINES, len(texts)):
            return None
        here, left, over = _torn(rest, texts, room, columns[column + 1], indent)
        if len(over) == 1:  # a last line alone in the next column would be overlooked
            if room > _LEAST_LINES:
                here, left, over = _torn(rest, texts, room - 1, columns[column + 1], indent)
            elif finding.level != "stop":
                return None
        pieces.append((column, here))
        ends = _moved(ends, column, len(here) * LINE)
        full.add(column)
        column, texts, rest = column + 1, over, left


def _torn(
    words: str, texts: tuple[str, ...], room: int, after: Box, indent: float
) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    """Return the first lines of `words`, as many as have room, the words after them, and those in lines."""
    for text in texts[:room]:
        words = words[len(text) :].lstrip()
    return texts[:room], words, _wrapped(words, after, indent)


def _moved(ends: tuple[float, ...], column: int, by: float) -> tuple[float, ...]:
    return (*ends[:column], ends[column] + by, *ends[column + 1 :])


def _room(box: Box, y: float) -> int:
    """How many lines find room in a column from a base line on."""
    return max(0, math.floor((box.bottom - y - SIZE * 0.3) / LINE) + 1)


def _wrapped(words: str, box: Box, indent: float) -> tuple[str, ...]:
    return _in_lines(words, round(box.right - box.left - INDENT, 6), indent)


@lru_cache(maxsize=8192)  # the same words are set in one column after the other, in many ways
def _in_lines(words: str, width: float, indent: float) -> tuple[str, ...]:
    return tuple(wrap(words, SIZE, width, indent=indent))


@lru_cache(maxsize=512)
def _words(finding: Finding) -> str:
    return clean(finding.text)
