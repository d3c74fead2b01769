"""Tables that somebody hands in, as CSV or XLSX: read whole as text, and every oddity of form told with its cell."""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import PurePath
from typing import Any

from api.fields.files.cells import bare, clock_text, lines_joined
from api.fields.files.sheets import BadFiles
from api.uploads.screen import Refused, screen
from scheduler.errors import BadInput

MOST_BYTES = 10_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 200
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"}


class CellFault(BadInput):
    """What is wrong with one cell, row, sheet or file; what is not known of its place is None."""

    def __init__(
        self, file: str, problem: str, *, sheet: str | None = None, row: int | None = None, column: str | None = None
    ) -> None:
        places = [file, f'sheet "{sheet}"' if sheet else "", f"row {row}" if row else "", column or ""]
        super().__init__(", ".join(place for place in places if place), problem)
        self.file, self.sheet, self.row, self.column = file, sheet, row, column

    def __reduce__(self) -> tuple[Any, ...]:
        again = partial(CellFault, sheet=self.sheet, row=self.row, column=self.column)
        return again, (self.file, self.problem)


@dataclass(frozen=True)
class Upload:
    """One table as it was handed in: `lines` are (row number, cells), cells in the order of `head`, all as text.

    `faults` are cells that hold no value at all (an error, a control character); their text is not to be judged.
    """

    name: str
    file: str
    sheet: str | None
    head: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    faults: tuple[CellFault, ...] = ()


def read_upload(data: bytes, file: str, names: Sequence[str], table: str | None = None) -> list[Upload]:
    """Return the tables of a CSV or XLSX file called `file`, those among `names`.

    A CSV file is one table, the one that `table` or the file's name says; an XLSX file one a sheet, called as the
    sheet is. Raises `BadFiles` with every fault of form; those of single cells stay with their table.
    """
    faults: list[BadInput] = []
    if table is not None and table not in names:
        raise BadFiles([CellFault(file, f'there is no table "{table}"; the tables are {", ".join(names)}')])
    if len(data) > MOST_BYTES:
        raise BadFiles([CellFault(file, f"has {len(data) / 1e6:.1f} MB, the most is {MOST_BYTES / 1e6:.0f}: split it")])
    if not data.strip():
        raise BadFiles([CellFault(file, "is empty")])
    if data.startswith(b"PK\x03\x04"):
        found = _workbook(data, file, names, table, faults)
    else:
        found = _csv(data, file, names, table, faults)
    if not faults and not found:
        faults.append(CellFault(file, "holds no table"))
    if faults:
        raise BadFiles(faults)
    return found


def typed_row(name: str, cells: Mapping[str, str]) -> Upload:
    """Return a table of one row that somebody typed, a cell for each column; its faults are told as a file's are."""
    bad: list[CellFault] = []
    texts = {column: lines_joined(cell).strip() for column, cell in cells.items()}
    for column, cell in texts.items():
        _check_text(name, 1, column, cell, bad, None)
    return Upload(name, name, None, tuple(texts), ((1, tuple(texts.values())),), tuple(bad))


def _csv(data: bytes, file: str, names: Sequence[str], table: str | None, faults: list[BadInput]) -> list[Upload]:
    text = _decoded(data, file, faults)
    if text is None:
        return []
    name = table or _named(PurePath(file).stem, names)
    if name is None:
        problem = f"does not say which table it is: call it {names[0]}.csv, or name the table ({', '.join(names)})"
        faults.append(CellFault(file, problem))
        return []
    first = text.partition("\n")[0]
    mark = max(",;\t", key=first.count)  # no column's name holds one of these
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    records: list[tuple[int, list[str]]] = []
    begun = 1
    try:
        for cells in reader:
            records.append((begun, [lines_joined(cell) for cell in cells]))
            begun = reader.line_num + 1
    except csv.Error as fault:
        reason = f"cannot be read as a table ({fault}): look for a quote that is not closed, or stands inside a text"
        faults.append(CellFault(file, reason, row=begun))
        return []
    return _shaped(name, file, None, records, faults)


def _decoded(data: bytes, file: str, faults: list[BadInput]) -> str | None:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or data[:200].count(0) > 20:
        faults.append(CellFault(file, 'is UTF-16 text or no text at all; save it as "CSV UTF-8"'))
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        faults.append(CellFault(file, "is in the old XLS form; save it as XLSX or as CSV UTF-8"))
    elif data.startswith(b"%PDF"):
        faults.append(CellFault(file, "is a PDF; a table is wanted, as XLSX or as CSV UTF-8"))
    else:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as fault:
            at, byte = data.count(b"\n", 0, fault.start) + 1, data[fault.start]
            guess = bytes([byte]).decode("cp1252", "replace")
            words = f"is not UTF-8: the byte {byte:#04x} stands there, perhaps a Windows-1252 “{guess}”"
            faults.append(CellFault(file, f'{words}; save the table as "CSV UTF-8"', row=at))
    return None


def _named(text: str, names: Sequence[str]) -> str | None:
    """Return the table that a file's or sheet's name says: "Customers (2)" and "maker parts" are understood."""
    plain = re.sub(r"[ _-]?(\([0-9]+\)|copy)$", "", text.strip().lower()).replace(" ", "_").replace("-", "_")
    return plain if plain in names else None


def _shaped(
    name: str,
    file: str,
    sheet: str | None,
    records: list[tuple[int, list[str]]],
    faults: list[BadInput],
    bad: Sequence[CellFault] = (),
) -> list[Upload]:
    """Return the records as a table, its first row the names of the columns; note what is wrong with its form."""
    at: dict[str, Any] = {"sheet": sheet}
    before, bad = len(faults), [*bad]
    if not records or not any(cell.strip() for cell in records[0][1]):
        return [*_fault(faults, CellFault(file, "must hold the names of the columns", row=1, **at))]
    row, head = records[0]
    wide_as_head = len(head)
    while head and not head[-1].strip():
        head = head[:-1]
    head = [cell.strip() for cell in head]
    for n, column in enumerate(head):
        if not column:
            faults.append(CellFault(file, f"column {n + 1} has no name; name it or take it out", row=row, **at))
        elif head.index(column) < n:
            problem = f'the name "{column}" stands twice; take one of the columns out'
            faults.append(CellFault(file, problem, row=row, **at))
    lines: list[tuple[int, tuple[str, ...]]] = []
    for row, cells in records[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(lines) == MOST_ROWS:
            faults.append(CellFault(file, f"has more than {MOST_ROWS} rows: split it", **at))
            break
        extra = [cell for cell in cells[len(head) :] if cell.strip()]
        if extra or (sheet is None and len(cells) != wide_as_head):
            problem = f"has {len(cells)} cells, the first row {wide_as_head}; a text with commas needs quotes round it"
            if sheet is not None:
                problem = f'holds "{extra[0]}" beyond the last column that has a name; move it or take it out'
            faults.append(CellFault(file, problem, row=row, **at))
            continue
        wide = [*cells[: len(head)], *[""] * (len(head) - len(cells))]
        for column, cell in zip(head, wide, strict=True):
            _check_text(file, row, column, cell, bad, sheet)
        lines.append((row, tuple(bare(cell.strip()) for cell in wide)))
    return [] if len(faults) > before else [Upload(name, file, sheet, tuple(head), tuple(lines), tuple(bad))]


def _fault(faults: list[BadInput], fault: BadInput) -> Iterator[Upload]:
    faults.append(fault)
    yield from ()


def _check_text(file: str, row: int, column: str, cell: str, faults: list[CellFault], sheet: str | None) -> None:
    place: dict[str, Any] = {"sheet": sheet, "row": row, "column": column}
    if _CONTROL.search(cell):
        faults.append(CellFault(file, "holds a control character; write the text again", **place))
    elif "\ufffd" in cell:
        problem = "holds “\ufffd”, which stands where a letter was lost by a wrong encoding; write the text again"
        faults.append(CellFault(file, problem, **place))
    elif cell.strip() in _ERRORS:
        problem = f"holds the error {cell.strip()}; mend its formula or write the value"
        faults.append(CellFault(file, problem, **place))


def _workbook(data: bytes, file: str, names: Sequence[str], table: str | None, faults: list[BadInput]) -> list[Upload]:
    import openpyxl  # takes a while to load

    try:
        screen(data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # on parts that openpyxl does not keep (charts, validation)
            formulas = openpyxl.load_workbook(io.BytesIO(data))
            values = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    except Refused as fault:
        return [*_fault(faults, CellFault(file, f"{fault}: take out what is no table, or split it"))]
    except Exception as fault:  # whatever a broken file makes the reader raise: KeyError, BadZipFile, ValueError, …
        words = (
            f"cannot be read as an XLSX file ({type(fault).__name__}: {fault}): save it again as XLSX, or as CSV UTF-8"
        )
        return [*_fault(faults, CellFault(file, words))]
    filled = [sheet for sheet in values.worksheets if any(cell.value is not None for row in sheet for cell in row)]
    found: list[Upload] = []
    for sheet in filled:
        name = _named(sheet.title, names)
        if name is None and len(filled) == 1:
            name = table or _named(PurePath(file).stem, names)
        if table is not None and name != table and len(filled) > 1:
            continue  # one table of the book was asked for
        if name is None:
            problem = f"is none of the tables {', '.join(names)}; rename it or take it out"
            faults.append(CellFault(file, problem, sheet=sheet.title))
        elif any(upload.name == name for upload in found):
            faults.append(CellFault(file, f'is a second table "{name}"; take one out', sheet=sheet.title))
        else:
            records, bad = _records(sheet, formulas[sheet.title], file, faults)
            found += _shaped(table or name, file, sheet.title, records, faults, bad)
    return found


def _records(
    values: Any, formulas: Any, file: str, faults: list[BadInput]
) -> tuple[list[tuple[int, list[str]]], list[CellFault]]:
    """Return the rows of a sheet as text, and the cells that hold no value; what is wrong with its form is noted."""
    title = values.title
    if values.max_row > 50 * MOST_ROWS or values.max_column > MOST_COLUMNS:
        problem = (
            f"reaches to column {values.max_column}, row {values.max_row}; take out what stands far from the table"
        )
        faults.append(CellFault(file, problem, sheet=title))
        return [], []
    for merged in values.merged_cells.ranges:
        problem = f"cells {merged.coord} are merged; take the merging out, so that each row has its own cells"
        faults.append(CellFault(file, problem, sheet=title, row=merged.min_row))
    records: list[tuple[int, list[str]]] = []
    bad: list[CellFault] = []
    names = [str(cell.value or "") for cell in values[1]]
    for cells in values.iter_rows():
        row, texts = cells[0].row, []
        for n, cell in enumerate(cells):
            text, problem = _text_of(cell, formulas.cell(row, n + 1))
            if problem:
                column = names[n].strip() if n < len(names) else ""
                bad.append(CellFault(file, problem, sheet=title, row=row, column=column or cell.column_letter))
            texts.append(text)
        records.append((row, texts))
    return records, bad


def _text_of(cell: Any, formula: Any) -> tuple[str, str]:
    """Return a cell as text, and what is wrong with it."""
    if cell.data_type == "e":
        return "", f"holds the error {cell.value}; mend its formula or write the value"
    if cell.value is None and formula.data_type == "f":
        return "", "holds a formula without a kept value; open and save the file in a spreadsheet, or write the value"
    return text_of(cell), ""


def text_of(cell: Any) -> str:
    """Return the value of an XLSX cell as text."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, datetime.datetime):
        midnight = value.time() == datetime.time()
        return value.date().isoformat() if midnight else value.isoformat(" ", "minutes")
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, datetime.time):
        return f"{clock_text(value.hour * 60 + value.minute)}{f':{value.second:02}' if value.second else ''}"
    if isinstance(value, datetime.timedelta):
        return clock_text(round(value.total_seconds() / 60))
    return lines_joined(str(value))
