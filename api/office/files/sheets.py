"""Tables as offices have them: any usual encoding and separator, a title above, merged heads; and whose column is what.

Nothing is believed that a file says of itself: its size and its cells are bounded before it is read.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

from api.fields.files.cells import bare, harmless, lines_joined, usual_number, whole_year
from api.office.kind import Kind, KindColumn
from api.outside import outside
from api.uploads.reading import MOST_BYTES, MOST_COLUMNS, MOST_ROWS, text_of
from api.uploads.screen import Refused, screen
from scheduler.errors import BadInput

FIX = "What to fix"  # the column that a file of refused rows has more
_FIRST = 15  # rows among which the heads are looked for
_SAMPLES = 20
_CLOSE, _LIKELY = 72.0, 45.0
_SEPARATORS = ",;\t|"
_PIECES = re.compile(r"(?i)([0-9][0-9,.]*)\s*(?:pcs?|pieces?|ea|each|units?|x)\.?")
_NUMBER = re.compile(r"[$ ]*[0-9][0-9., /-]*")
_SLASHED = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4}|[0-9]{2})")
_SERIAL = re.compile(r"[3-6][0-9]{4}")  # a day as spreadsheets count them, where a cell has lost its form
_SERIALS_FROM = datetime.date(1899, 12, 30)
_LAST_ROWS = 3  # among which sums are looked for
_SUM = re.compile(
    r"(?i)(?:(?:grand |sub)?totals?|sums?|count|suma)?[\s:=(]*"
    r"(?:[$0-9][0-9., ]*(?:rows|entries|records|jobs|customers|people|items)?\)?)?"
)
Rows = list[list[str]]


@dataclass(frozen=True)
class SentTable:
    """What a file holds: the heads, and the rows under them with their numbers; `sums` are no rows of it."""

    heads: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    sums: tuple[tuple[int, tuple[str, ...]], ...] = ()

    @property
    def shape(self) -> str:
        """Return what files of the same make share."""
        return "|".join(_plain(head) for head in self.heads)[:400]

    def samples(self, n: int) -> list[str]:
        """Return a few of the texts in a column."""
        found = dict.fromkeys(cells[n] for _, cells in self.lines[:200] if cells[n])
        return list(found)[:3]


def read_rows(data: bytes, name: str) -> Rows:
    """Return the rows of a CSV or XLSX file as texts, blank ones at the end left out; raises `BadInput`."""
    if len(data) > MOST_BYTES:
        raise BadInput(name, f"has {len(data) / 1e6:.1f} MB, the most is {MOST_BYTES / 1e6:.0f}: split it")
    if not data.strip():
        raise BadInput(name, "is empty")
    if data.startswith(b"%PDF"):
        raise BadInput(name, "is a PDF; a table is wanted, as XLSX or CSV")
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise BadInput(name, "is in the old XLS form; save it as XLSX or as CSV")
    if re.match(rb"(?i)(\xef\xbb\xbf)?\s*<(!doctype|html|table|\?xml)", data):
        raise BadInput(
            name, "is a web page, whatever its name says; open it in a spreadsheet and save it as XLSX or CSV"
        )
    rows = outside(_workbook, data, name) if data.startswith(b"PK\x03\x04") else _text(data, name)
    while rows and not any(rows[-1]):
        rows.pop()
    if not rows:
        raise BadInput(name, "holds no table")
    if len(rows) > MOST_ROWS + _FIRST:
        raise BadInput(name, f"has more than {MOST_ROWS} rows: split it")
    return rows


def _text(data: bytes, name: str) -> Rows:
    import pandas  # takes a while to load

    text = lines_joined(decoded(data, name))
    lines = [line for line in text.split("\n")[:200] if line.strip()]
    mark = max(_SEPARATORS, key=lambda one: sum(min(line.count(one), 50) for line in lines))
    wide = max((row.count(mark) + 1 for row in text.split("\n")), default=1)
    if wide > MOST_COLUMNS:
        raise BadInput(name, f"has {wide} columns, the most is {MOST_COLUMNS}")
    try:
        frame = pandas.read_csv(
            io.StringIO(text), sep=mark, header=None, names=list(range(wide)), dtype=str, keep_default_na=False,
            skip_blank_lines=False, engine="python", index_col=False,
        )  # fmt: skip
    except (pandas.errors.ParserError, csv.Error, ValueError) as fault:
        raise BadInput(name, f"cannot be read as a table ({fault}): look for a quote that is not closed") from None
    return [[bare(str(cell).strip()) if isinstance(cell, str) else "" for cell in row] for row in frame.values.tolist()]


def decoded(data: bytes, name: str) -> str:
    """Return the text of a file in the encodings that spreadsheets write."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        tries = ("utf-16",)
    elif data[:400].count(0) > 20:
        tries = ("utf-16-le",) if data[1:2] == b"\0" else ("utf-16-be",)
    else:
        tries = ("utf-8-sig", "cp1252")  # type: ignore[assignment]
    for encoding in tries:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise BadInput(name, 'is no text that can be read; save it as "CSV UTF-8" or as XLSX')


def _workbook(data: bytes, name: str) -> Rows:
    """Return the sheet of a book that holds most, its merged cells filled."""
    import openpyxl  # takes a while to load

    try:
        screen(data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # on parts that openpyxl does not keep (charts, validation)
            values = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    except Refused as fault:
        raise BadInput(name, f"{fault}: take out what is no table, or split it") from None
    except Exception as fault:  # whatever a broken file makes the reader raise: KeyError, BadZipFile, ValueError, …
        raise BadInput(name, f"cannot be read as an XLSX file ({type(fault).__name__}): save it again") from None
    best: Rows = []
    for sheet in values.worksheets:
        if sheet.max_row > 50 * MOST_ROWS or sheet.max_column > MOST_COLUMNS:
            raise BadInput(name, f'sheet "{sheet.title}" reaches too far; take out what stands far from the table')
        rows = [[bare(text_of(cell).strip()) for cell in cells] for cells in sheet.iter_rows()]
        for merged in sheet.merged_cells.ranges:
            text = rows[merged.min_row - 1][merged.min_col - 1]
            for r in range(merged.min_row - 1, min(merged.max_row, len(rows))):
                for c in range(merged.min_col - 1, min(merged.max_col, len(rows[r]))):
                    rows[r][c] = text
        if _filled(rows) > _filled(best):
            best = rows
    return best


def _filled(rows: Rows) -> int:
    return sum(bool(cell) for row in rows for cell in row)


def table_of(rows: Rows, kind: Kind) -> SentTable:
    """Return the table in the rows: its heads are the row, or two one over the other, that fit the columns best."""
    wide = max(len(row) for row in rows)
    filled = [[*row, *[""] * (wide - len(row))] for row in rows]
    best, at, heads = -1.0, 0, filled[0]
    for n, row in enumerate(filled[:_FIRST]):
        fits = _fit(row, kind)
        if fits > best + 1:
            best, at, heads = fits, n, row
        above = filled[n - 1] if n else [""] * wide
        joined = [head if over in ("", head) else f"{over} {head}" for over, head in zip(above, row, strict=True)]
        below = _fit(row, kind) > 0 and not any(_NUMBER.fullmatch(cell) for cell in row)  # heads too, no row of values
        if below and len(set(above) - {""}) > 1 and _fit(joined, kind) > best + 1:
            best, at, heads = _fit(joined, kind), n, joined
    keep = [n for n in range(wide) if heads[n] or any(row[n] for row in filled[at + 1 :])]
    lines = tuple(
        (n + 1, tuple(row[k] for k in keep)) for n, row in enumerate(filled) if n > at and any(row[k] for k in keep)
    )
    end = len(lines)
    while end and len(lines) - end < _LAST_ROWS and _is_sum(lines[end - 1][1]):
        end -= 1
    return SentTable(tuple(heads[n] for n in keep), lines[:end], lines[end:])


def _is_sum(cells: Sequence[str]) -> bool:
    """Say whether a row at the end of a table reads like its sum: the word or a count, and numbers beside it."""
    filled = [cell for cell in cells if cell]
    if not any(re.search("[A-Za-z]", cell) for cell in filled):
        return False  # numbers alone may be a row
    return all(map(_SUM.fullmatch, filled)) and 2 * len(filled) <= max(4, len(cells))


def _fit(heads: Sequence[str], kind: Kind) -> float:
    """Return how well a row does as the row of heads: a column counts once, though merged cells name it three times."""
    best: dict[str, float] = {}
    for head in filter(None, heads):
        score, name = max(((_alike(head, column), column.name) for column in kind.in_files), default=(0.0, ""))
        best[name] = max(score, best.get(name, 0.0))
    return sum(score for score in best.values() if score >= _CLOSE)


def propose(table: SentTable, kind: Kind, units: str) -> list[str]:
    """Return the column that each head seems to be, by its name and what stands under it; empty where none."""
    scores = []
    days = [column.name for column in kind.in_files if dict(column.hint).get("type") == "date"]
    only_day = days[0] if len(days) == 1 else ""
    for n, head in enumerate(table.heads):
        texts = [cells[n] for _, cells in table.lines if cells[n]][:_SAMPLES]
        for column in kind.in_files:
            named, reads = _alike(head, column), _readable(texts, column, units)
            yes_or_no = {value for value, _ in column.choices} == {"yes", "no"}
            # Any yes or no reads like every such column, any day like each of several: there the head has to say it.
            certain = (column.choices and not yes_or_no) or column.name == only_day
            score = named if named >= _CLOSE else (_LIKELY if certain and reads == 1 and texts else 0.0)
            if reads == 0 and yes_or_no:
                continue  # whatever its head says, none of it is yes or no
            if score and reads is not None and reads < 0.5:
                score -= 30
            if score >= _LIKELY and _plain(head) != _plain(FIX):
                scores.append((-score, n, column.name))
    found, taken = [""] * len(table.heads), set[str]()
    for _, n, name in sorted(scores):
        if not found[n] and name not in taken:
            found[n] = name
            taken.add(name)
    return found


def _alike(head: str, column: KindColumn) -> float:
    """Return from 0 to 100 how much a head reads like a column."""
    from rapidfuzz import fuzz

    said = _plain(head)
    if not said:
        return 0.0
    names = [_plain(n) for n in (column.label, column.name.removesuffix("_id").replace("_", " "), *column.aliases)]
    same = max(max(fuzz.ratio(said, name), 0.95 * fuzz.token_sort_ratio(said, name)) for name in names)
    return max(same, *(0.85 * fuzz.token_set_ratio(said, name) for name in names))


def _readable(texts: Sequence[str], column: KindColumn, units: str) -> float | None:
    """Return which share of the texts a column takes; None where it takes any text or names rows."""
    if column.of or not texts:
        return None
    good = 0
    for text in texts:
        try:
            column.value(tidy(text, column), units)
            good += 1
        except BadInput:
            pass
    return good / len(texts)


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9$]+", " ", text.casefold()).split())


def days_as_written(texts: Sequence[str]) -> dict[str, str]:
    """Return days such as 4/12/2027 as 2027-04-12, where another one of the column says which number is the month.

    A column in which 4/13/2027 stands writes the month first; where nothing says so, or both, none is given. 46500 is
    a day as spreadsheets count them, 2027-04-23.
    """
    found = {text: _SLASHED.fullmatch(text) for text in texts}
    numbers = [(int(one[1]), int(one[2])) for one in found.values() if one]
    month_first, day_first = any(b > 12 for _, b in numbers), any(a > 12 for a, _ in numbers)
    counted = {
        text: (_SERIALS_FROM + datetime.timedelta(int(text))).isoformat() for text in texts if _SERIAL.fullmatch(text)
    }
    if month_first == day_first:
        return counted
    parts = {text: (one[1], one[2], whole_year(one[3])) for text, one in found.items() if one}
    return counted | {
        text: f"{year}-{int(a if month_first else b):02}-{int(b if month_first else a):02}"
        for text, (a, b, year) in parts.items()
    }


def tidy(text: str, column: KindColumn) -> str:
    """Return a cell without what spreadsheets do to texts: a phone number as a number, blanks, capitals of a choice."""
    if dict(column.hint).get("type") == "tel":
        return usual_number(text) if re.fullmatch(r"[0-9]+\.0+", text) else text
    if column.choices or column.words:
        said = _plain(text)
        if said in dict(column.words):
            return dict(column.words)[said]
        meant = [value for value, words in column.choices if said and said in (_plain(value), _plain(words))]
        within = [value for value, _ in column.choices if len(value) > 3 and value in said.split()]
        return meant[0] if meant else within[0] if len(within) == 1 else text
    if dict(column.hint).get("type") == "number" and (pieces := _PIECES.fullmatch(text)):
        return pieces[1]
    return text


def to_csv(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """Return a table as CSV (RFC 4180), UTF-8 with a byte order mark, which spreadsheets need to see that it is."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")
