"""Reading tables and settings that people edit: CSV and YAML, with one sentence for each cell that is wrong."""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from typing import Any, TypeVar

from api.fields.column_limits import MOST_DIGITS, ColumnLimit, Decimal
from api.fields.files.yaml_text import plain_yaml
from api.fields.limits import DAY
from api.fields.shown import DAY_MIN
from scheduler.errors import BadInput

T = TypeVar("T")

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
Span = tuple[int, int]  # minutes after midnight, first and last
Allowed = tuple[int | datetime.date, Span]  # on a weekday (0 = Monday) or on one date
NO_HOURS: list[Allowed] = []
_NUMBER = re.compile(r"[+-]?[0-9]+")


class BadFiles(BadInput):
    """Everything that is wrong with a folder of files, one fault a cell."""

    def __init__(self, faults: list[BadInput]) -> None:
        super().__init__("", "\n".join(str(f) for f in faults))
        self.faults = tuple(faults)

    def __reduce__(self) -> tuple[Any, ...]:
        return BadFiles, (list(self.faults),)


class Row:
    """One line of a table; what cannot be read is noted in the sheet's faults and makes the row `bad`."""

    def __init__(self, where: str, cells: dict[str, str], faults: list[BadInput]) -> None:
        self.where, self.cells, self._faults, self.bad = where, cells, faults, False

    def read(self, column: str, parse: Callable[[str], T], default: T) -> T:
        """Return the cell as `parse` reads it; `default` where that raises `BadInput`, whose problem is noted."""
        try:
            return parse(self.cells[column])
        except BadInput as fault:
            self.fault(column, fault.problem)
            return default

    def fault(self, column: str, problem: str) -> None:
        self.bad = True
        self._faults.append(BadInput(f"{self.where}, {column}", problem))

    def text(self, column: str) -> str:
        return self.cells[column]

    def name(self, column: str) -> str:
        return self.read(column, _filled, "?")

    def value(self, column: str, limit: ColumnLimit, default: Any = "?") -> Any:
        """Return the cell as its column's `limit` takes it; `default` where it does not, which is noted."""
        return self.read(column, limit.parse, default)

    def given(self, column: str, limit: ColumnLimit) -> dict[str, Any]:
        """Return the cell of a column that may be missing, by its name; empty where it is: then what is held stays."""
        return {column: self.value(column, limit)} if column in self.cells else {}

    def value_or_none(self, column: str, limit: ColumnLimit) -> Any:
        """Return the cell as its column's `limit` takes it, None where it is empty."""
        return self.value(column, limit, None) if self.cells[column] else None

    def decimal(self, column: str, limit: Decimal) -> float:
        found: float = self.value(column, limit, limit.least)
        return found

    def date(self, column: str, limit: ColumnLimit = DAY) -> datetime.date:
        found: datetime.date = self.value(column, limit, datetime.date.min)
        return found

    def date_or_none(self, column: str, limit: ColumnLimit = DAY) -> datetime.date | None:
        return self.date(column, limit) if self.cells[column] else None

    def one_of(self, column: str, allowed: Collection[str]) -> str:
        return self.read(column, lambda cell: one_of(cell, allowed), "?")

    def known(self, column: str, ids: Collection[str], file: str) -> str:
        """Return the id in the cell, which must stand in `file` (whose ids are `ids`)."""

        def parse(cell: str) -> str:
            if cell not in ids:
                raise BadInput(
                    "", f'"{cell}" does not stand in {file}' if cell else f"must name one of {file}, is empty"
                )
            return cell

        return self.read(column, parse, "?")

    def known_or_none(self, column: str, ids: Collection[str], file: str) -> str | None:
        return self.known(column, ids, file) if self.cells[column] else None


def columns_of(columns: str) -> tuple[list[str], set[str]]:
    """Return the names of a table's columns, and which of them may be missing: they end in "?"."""
    names = columns.split()
    return [name.rstrip("?") for name in names], {name[:-1] for name in names if name.endswith("?")}


def read_sheet(folder: Path, file: str, columns: str, faults: list[BadInput]) -> Iterator[Row]:
    """Yield the rows of `file`, whose first line must hold just `columns`, in any order; empty lines are left out.

    A column that ends in "?" may be missing.

    Faults of form go to `faults`; a table that cannot be read at all gives no rows.
    """
    text = _text(folder / file, file, faults)
    if text is None:
        return
    reader = csv.reader(io.StringIO(text))
    try:
        list(csv.reader(io.StringIO(text)))
    except csv.Error as fault:
        faults.append(BadInput(file, f"cannot be read as a CSV table ({fault}): save it again as CSV UTF-8"))
        return
    head = [cell.strip() for cell in next(reader, [])]
    wanted, may_lack = columns_of(columns)
    for name in wanted:
        if name not in head and name not in may_lack:
            faults.append(BadInput(f"{file}, row 1", f'has no column "{name}"; it needs {", ".join(wanted)}'))
    for name in head:
        if name not in wanted or head.count(name) > 1:
            faults.append(
                BadInput(f"{file}, row 1", f'column "{name}" is not known or stands twice; mend or remove it')
            )
    if sorted(head) != sorted(name for name in wanted if name in head or name not in may_lack):
        return
    for cells in reader:
        where = f"{file}, row {reader.line_num}"
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(head):
            faults.append(
                BadInput(where, f"has {len(cells)} cells, the first line {len(head)}; text with commas needs quotes")
            )
            continue
        yield Row(where, {name: cell.strip() for name, cell in zip(head, cells, strict=True)}, faults)


def read_yaml(folder: Path, file: str, faults: list[BadInput]) -> dict[str, Any] | None:
    """Return the YAML `file` as plain data, dates left as text; None where it cannot be read (noted in `faults`)."""
    text = _text(folder / file, file, faults)
    if text is None:
        return None
    try:
        value = plain_yaml(text)
    except BadInput as fault:
        faults.append(BadInput(f"{file}, {fault.where}" if fault.where else file, fault.problem))
        return None
    if not isinstance(value, dict):
        faults.append(BadInput(file, "must hold keys with values"))
        return None
    return value


def _text(path: Path, file: str, faults: list[BadInput]) -> str | None:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        faults.append(BadInput(file, f"is missing from {path.parent}"))
    except UnicodeDecodeError:
        faults.append(BadInput(file, "is not UTF-8 text; save it as UTF-8"))
    return None


def _filled(cell: str) -> str:
    if not cell:
        raise BadInput("", "must not be empty")
    return cell


def whole(cell: str, least: int, most: int) -> int:
    if not _NUMBER.fullmatch(cell):
        raise BadInput("", f'must be a whole number, is "{cell}"')
    if len(cell) > MOST_DIGITS or not least <= int(cell) <= most:
        raise BadInput("", f"must be from {least} to {most}, is {cell}")
    return int(cell)


def decimal(cell: str, least: float, most: float) -> float:
    try:
        value = float(cell)
    except ValueError:
        raise BadInput("", f'must be a number, is "{cell}"') from None
    if not least <= value <= most:
        raise BadInput("", f"must be from {least:g} to {most:g}, is {cell}")
    return value


def date(cell: str) -> datetime.date:
    """Return the date of a cell such as 2027-04-12."""
    found: datetime.date = DAY.parse(cell)
    return found


def one_of(cell: str, allowed: Collection[str]) -> str:
    if cell not in allowed:
        raise BadInput("", f'must be one of {", ".join(sorted(allowed))}, is "{cell}"')
    return cell


def time_of_day(cell: str) -> int:
    """Return minutes after midnight of a time such as 7:30, 14:30 or 2:30 pm."""
    found = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})(?: ?([ap])\.?m\.?)?", cell.strip().lower())
    half = found[3] if found else None
    if found and half and 1 <= int(found[1]) <= 12 and int(found[2]) <= 59:
        return int(found[1]) % 12 * 60 + int(found[2]) + (DAY_MIN // 2 if half == "p" else 0)
    if not found or half or int(found[1]) * 60 + int(found[2]) > DAY_MIN or int(found[2]) > 59:
        raise BadInput("", f'must be a time such as 7:30, is "{cell}"')
    return int(found[1]) * 60 + int(found[2])


_DAY = re.compile(r"[^\W\d_]+")
# Days as they are typed, with and without accents: short names of both languages that pages are read in.
_DAYS = {
    name: day
    for day, names in zip(
        WEEKDAYS,
        ("mo mon monday lun lunes", "tu tue tues tuesday mar martes", "we wed wednesday mié mie miércoles miercoles",
         "th thu thur thurs thursday jue jueves", "fr fri friday vie viernes", "sa sat saturday sáb sab sábado sabado",
         "su sun sunday dom domingo"),
        strict=True,
    )
    for name in names.split()
}  # fmt: skip
_ALL_OF = {
    "weekdays": "Mon-Fri", "every weekday": "Mon-Fri", "daily": "Mon-Sun", "every day": "Mon-Sun",
    "all week": "Mon-Sun",
}  # fmt: skip
_UNTIL = re.compile(r"\s*(?:[-–—]|\b(?:to|thru|through|until|a|al)\b)\s*")
_AND = re.compile(r"\s*(?:[,;/&+.]|\b(?:and|y|e)\b)\s*")


def weekdays(cell: str) -> list[int]:
    """Return the days of a text such as "Mon-Wed Fri", "Monday to Thursday", "Mon, Wed" or "weekdays", 0 = Monday."""
    days: list[int] = []
    said = _ALL_OF.get(" ".join(cell.casefold().split()), cell)
    said = _AND.sub(" ", _UNTIL.sub("-", _DAY.sub(lambda day: _DAYS.get(day[0].casefold(), day[0]), said)))
    for part in said.split():
        first, dash, last = part.partition("-")
        last = last if dash else first
        if first not in WEEKDAYS or last not in WEEKDAYS:
            raise BadInput("", f'must name weekdays such as Mon-Fri or "Mon Wed", "{part}" is none')
        a, b = WEEKDAYS.index(first), WEEKDAYS.index(last)
        if b < a:
            raise BadInput("", f'"{part}" runs backwards; write the earlier day first')
        days += range(a, b + 1)
    if len(set(days)) != len(days):
        raise BadInput("", f'"{cell}" names a day twice')
    return days


# Days, then from and to: of the days no part after the first begins with a figure.
_TIME = r"([0-9][^\s-]*(?:\s*[ap]\.?m\.?)?)"
_HOURS = re.compile(rf"(\S.*?)\s+{_TIME}\s*-\s*{_TIME}", re.IGNORECASE)


def hours(cell: str) -> list[Allowed]:
    """Return (weekday or date, (start, end)) for a text such as "Mon-Fri 8:00-17:00; 2027-04-17 9:00 am-12:00 pm"."""
    spans: list[Allowed] = []
    for part in filter(None, (p.strip() for p in cell.split(";"))):
        read = _HOURS.fullmatch(part)
        if read is None:
            raise BadInput("", f'must read like "Mon-Fri 8:00-17:00; Sat 9:00-12:00", "{part}" does not')
        days, first, last = read.groups()
        span = time_of_day(first), time_of_day(last)
        if span[1] <= span[0]:
            raise BadInput("", f'"{first}-{last}" ends before it starts')
        if days[0].isdigit():
            spans.append((date(days), span))
        else:
            spans += [(day, span) for day in weekdays(days)]
    return spans


def amounts(cell: str) -> dict[str, int]:
    """Return {name: count} for a text such as "stepladder-8: 2, ladder-24: 1"; empty for an empty text."""
    found: dict[str, int] = {}
    for part in filter(None, (p.strip() for p in cell.split(","))):
        name, colon, count = (x.strip() for x in part.partition(":"))
        if not colon or not name or name in found:
            raise BadInput("", f'must read like "ladder-24: 2, scaffold: 1", "{part}" does not')
        found[name] = whole(count, 0, 1000)
    return found
