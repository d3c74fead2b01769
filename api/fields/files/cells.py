"""Cells of tables that people open in spreadsheets: how a value is written, and the usual ways in which one is read."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable

from api.fields.files.sheets import WEEKDAYS, date
from scheduler.errors import BadInput

# A cell that begins so is taken for a formula by spreadsheets (tab and return count: some strip them first).
_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_WRITTEN_HARMLESS = re.compile(r"'+[=+\-@\t\r]")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def harmless(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula: an apostrophe before = + - @ tab and return.

    A text that has apostrophes there already gets one more, so that `bare` gives back any text exactly.
    """
    return f"'{text}" if _FORMULA.match(text) else text


def bare(cell: str) -> str:
    """Return the text that `harmless` made the cell of."""
    return cell[1:] if _WRITTEN_HARMLESS.match(cell) else cell


def lines_joined(text: str) -> str:
    """Return `text` with every line end as one newline, as it is written and compared."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def clock_text(minute: int) -> str:
    """Return minutes after midnight as tables have them: 7:05."""
    return f"{minute // 60}:{minute % 60:02}"


def weekdays_text(days: Iterable[int]) -> str:
    """Return weekdays (0 = Monday) as `api.fields.files.sheets.weekdays` reads them, in their order: "Mon-Wed Fri"."""
    runs: list[list[int]] = []
    for day in days:
        if runs and runs[-1][-1] + 1 == day:
            runs[-1].append(day)
        else:
            runs.append([day])
    return " ".join(WEEKDAYS[run[0]] if len(run) == 1 else f"{WEEKDAYS[run[0]]}-{WEEKDAYS[run[-1]]}" for run in runs)


def hours_text(spans: Iterable[tuple[int | datetime.date, tuple[int, int]]]) -> str:
    """Return (weekday or date, (start, end)) as `sheets.hours` reads them; equal hours of weekdays are joined."""
    by_span: dict[tuple[int, int], list[int]] = {}
    dated = []
    for day, span in spans:
        if isinstance(day, int):
            by_span.setdefault(span, []).append(day)
        else:
            dated.append((day, span))
    parts = []
    for span, days in sorted(by_span.items(), key=lambda item: (min(item[1]), item[0])):
        repeated: list[list[int]] = []  # the same hours twice on a day stay two entries
        for day in sorted(days):
            free = next((one for one in repeated if day not in one), None)
            if free is None:
                repeated.append([day])
            else:
                free.append(day)
        parts += [f"{weekdays_text(one)} {_span_text(span)}" for one in repeated]
    parts += [f"{day} {_span_text(span)}" for day, span in sorted(dated)]
    return "; ".join(parts)


def _span_text(span: tuple[int, int]) -> str:
    return f"{clock_text(span[0])}-{clock_text(span[1])}"


def usual_date(cell: str) -> datetime.date:
    """Return the date of a cell: 2027-04-12, 12 Apr 2027, April 12, 2027, 12.4.2027, and 4/13/2027 where it is clear.

    A year of two figures is one of this century.

    Raises `BadInput` for one that is none, and for 4/12/2027, which is April or December as one grew up.
    """
    words = re.fullmatch(
        r"(?:([A-Za-z]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,?|([0-9]{1,2})\.? ([A-Za-z]{3,9})\.?),? ([0-9]{4})", cell
    )
    if words:
        month, day = words[1] or words[4], words[2] or words[3]
        if month[:3].lower() in _MONTHS:
            return _date(int(words[5]), _MONTHS.index(month[:3].lower()) + 1, int(day), cell)
    dotted = re.fullmatch(r"([0-9]{1,2})\.([0-9]{1,2})\.((?:20)?[0-9]{2})", cell)
    if dotted:
        return _date(whole_year(dotted[3]), int(dotted[2]), int(dotted[1]), cell)
    slashed = re.fullmatch(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4}|[0-9]{2})", cell)
    if slashed:
        a, b, year = int(slashed[1]), int(slashed[2]), whole_year(slashed[3])
        if a <= 12 and b <= 12 and a != b:
            one, other = _date(year, a, b, cell), _date(year, b, a, cell)
            raise BadInput("", f'can be read in two ways, is "{cell}": write {one} or {other}')
        return _date(year, *((a, b) if a <= 12 else (b, a)), cell)
    return date(cell)


def whole_year(figures: str) -> int:
    """Return the year that two or four figures mean: 27 is 2027; `BadInput` of anything else."""
    if re.fullmatch(r"[0-9]{2}|[0-9]{4}", figures) is None:
        raise BadInput("", f'must be a year of two or four figures, is "{figures}"')
    return int(figures) + (2000 if len(figures) == 2 else 0)


def _date(year: int, month: int, day: int, cell: str) -> datetime.date:
    try:
        return datetime.date(year, month, day)
    except ValueError:
        raise BadInput("", f'must be a date such as 2027-04-12, is "{cell}"') from None


def usual_number(cell: str) -> str:
    """Return a number as the plain readers take it: without commas between thousands, and 12 for 12.0."""
    if re.fullmatch(r"[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?", cell):
        cell = cell.replace(",", "")
    elif re.fullmatch(r"[+-]?[0-9]+,[0-9]+", cell):
        raise BadInput("", f'must have a point before its decimals, is "{cell}": write {cell.replace(",", ".")}')
    return re.sub(r"\.0+$", "", cell)


def usual_time(cell: str) -> str:
    """Return a time of day as the plain readers take it: 13:30 for 1:30 PM."""
    found = re.fullmatch(r"(1[0-2]|0?[1-9])(?::([0-5][0-9]))?(?::00)? ?([AaPp])\.?[Mm]\.?", cell)
    if found:
        return f"{int(found[1]) % 12 + (12 if found[3] in 'Pp' else 0)}:{found[2] or '00'}"
    return re.sub(r"^([0-9]{1,2}:[0-9]{2}):00$", r"\1", cell)
