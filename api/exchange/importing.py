"""Taking tables into the database: read with the checks of the demo's files, compared by natural keys, all or none.

What a row would do is told before anything is done; the same file a second time changes nothing.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.business.seed.work import WorkFiles
from api.business.seed.yard import YardFiles
from api.fields.addresses.streets import question_of
from api.fields.column_limits import ColumnLimit, Date, Decimal, Whole
from api.fields.files.cells import clock_text, hours_text, usual_date, usual_number, usual_time
from api.fields.files.sheets import BadFiles, Row, columns_of, one_of, time_of_day
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.ledger.told import moment_after_all
from api.papers.shown.job_page import span_of
from api.shelf import moving
from api.uploads.reading import CellFault, Upload
from scheduler.errors import BadInput

T = TypeVar("T")
Kind = Literal["new", "changed", "unchanged"]

# The tables that can be taken in, in the order in which they refer to each other.
IMPORTABLE = ("people", "stock", "customers", "sites", "orders", "awnings", "maker_parts", "visits")
TABLES = "tables"  # what a list of them is of
_WORK = ("customers", "sites", "orders", "awnings", "visits")  # whose rows can be taken back together
TOLD_EVERY = 20  # rows
WAITS = "no"  # the field `placed` of a site that is to be put on the map later
FEW = 50  # rows up to which those that they name are asked for one by one
# Which rows each noun's ids come from, where a file names one that it does not hold itself.
_KNOWN: dict[str, type[SQLModel]] = {
    "yard": tables.Yard,
    "person": tables.Person,
    "crew": tables.Crew,
    "customer": tables.Customer,
    "site": tables.Site,
    "order": tables.Order,
    "awning": tables.Awning,
    "visit": tables.Visit,
}


@dataclass(frozen=True)
class RowChange:
    """What one row does: `fields` are (before, after) as text by field, those that differ only; all for a new row."""

    table: str
    key: str
    where: str
    kind: Kind
    fields: dict[str, tuple[str, str]]


@dataclass(frozen=True)
class Imported:
    """What an import does, or did (`kept`); `fingerprint` is that of the changes, the same for the same changes."""

    changes: tuple[RowChange, ...]
    fingerprint: str
    kept: bool

    def count(self, kind: Kind, table: str | None = None) -> int:
        return sum(c.kind == kind and table in (None, c.table) for c in self.changes)

    @property
    def tables(self) -> list[str]:
        return list(dict.fromkeys(change.table for change in self.changes))


def import_tables(
    session: Session,
    uploads: Sequence[Upload],
    *,
    keep: bool,
    now: datetime.datetime,
    by: str,
    expected: str | None = None,
    by_hand: bool = False,
    tell: Callable[[int, int], None] = lambda done, total: None,
) -> Imported:
    """Take `uploads` into the database of `session`, or say only what that would do (`keep` False).

    Rows are told apart by their natural keys: what is there already is changed to what the row says, an empty cell
    empties its field; nothing is ever deleted. Only a booking left empty stands as it is: withdrawing what a customer
    was told is not for a table. A booking that differs withdraws the one before. `expected` is the fingerprint of a
    dry run: a database that has moved on since is refused. `by_hand`: the history tells of rows made and changed,
    not of an import. `tell` is told how far it is: rows, of how many. Raises `BadFiles` with every fault; then nothing
    is kept.
    """
    reader = _Reader(session, uploads)
    for name in IMPORTABLE:
        if name in reader.uploads:
            getattr(reader, name)()
    if not reader.faults:
        _check_counts(session, reader)
    if reader.faults:
        raise BadFiles(sorted(reader.faults, key=_place))
    rows, steps = len(reader.read), []
    for table, row, value in reader.read:
        steps.append(_step(session, table, row, value, reader, now, by))
        if len(steps) % TOLD_EVERY == 0:
            tell(len(steps), rows * (1 + keep))
    changes = tuple(change for change, _ in steps)
    mark = fingerprint([[c.table, c.key, c.kind, sorted(c.fields.items())] for c in changes])
    if expected is not None and expected != mark:
        raise BadInput("", "the database has changed since the trial run, or the file has: try it again first")
    if keep:
        for number, (change, do) in enumerate(steps):
            if number % TOLD_EVERY == 0:
                tell(rows + number, 2 * rows)
            if change.kind != "unchanged":
                do()
                session.flush()  # before the next row, which may refer to this one
                fields: dict[str, Any] = {name: list(pair) for name, pair in change.fields.items()}
                if by_hand:
                    made, noun = change.kind == "new", change.table.removesuffix("s")
                    told = {name: after for name, (_, after) in fields.items()} if made else fields
                    note(session, now, by, "made" if made else "changed", noun, change.key, told)
                else:
                    detail = {"from": change.where, "fields": fields}
                    note(session, now, by, f"imported, {change.kind}", change.table, change.key, detail)
    rows_made = [[change.table, change.key] for change in changes if change.kind == "new" and change.table in _WORK]
    if keep and rows_made and not by_hand:
        name = ", ".join(dict.fromkeys(upload.file for upload in uploads))[:120]
        session.add(tables.TakenList(kind=TABLES, name=name, at=now, by=by, made=rows_made))
    return Imported(changes, mark, keep)


def stand_in(session: Session, town: str) -> dict[str, Any]:
    """Return what a site that is not on the map yet has as its place: that of a neighbor in its town, or of a yard."""
    site, yard = tables.Site, tables.Yard
    same = sa.func.lower(col(site.town)) == town.strip().lower(), col(site.placed)
    near = session.execute(sa.select(col(site.lat), col(site.lon)).where(*same).order_by(col(site.id)).limit(1)).first()
    near = near or session.execute(sa.select(col(yard.lat), col(yard.lon)).order_by(col(yard.id)).limit(1)).first()
    lat, lon = near or (0.0, 0.0)
    return {"lat": lat, "lon": lon, "placed": False}


class _Line(Row):
    """A row of a table handed in: the cells' usual ways are understood, and faults tell their place apart."""

    def __init__(self, upload: Upload, number: int, cells: Sequence[str], faults: list[BadInput]) -> None:
        sheet = f', sheet "{upload.sheet}"' if upload.sheet else ""
        super().__init__(f"{upload.file}{sheet}, row {number}", dict(zip(upload.head, cells, strict=True)), faults)
        self.upload, self.number = upload, number

    def fault(self, column: str, problem: str) -> None:
        self.bad = True
        upload = self.upload
        if any((fault.row, fault.column) == (self.number, column) for fault in upload.faults):
            return  # told already
        self._faults.append(CellFault(upload.file, problem, sheet=upload.sheet, row=self.number, column=column))

    def read(self, column: str, parse: Callable[[str], T], default: T) -> T:
        if parse is time_of_day:
            return super().read(column, lambda cell: parse(usual_time(cell)), default)
        return super().read(column, parse, default)

    def value(self, column: str, limit: ColumnLimit, default: Any = "?") -> Any:
        def parse(cell: str) -> Any:
            if isinstance(limit, Whole | Decimal):
                return limit.parse(usual_number(cell))
            return limit.check(usual_date(cell)) if isinstance(limit, Date) else limit.parse(cell)

        return self.read(column, parse, default)

    def known(self, column: str, ids: Collection[str], file: str) -> str:
        def parse(cell: str) -> str:
            if not cell:
                raise BadInput("", f"must name one of {file}, is empty")
            if cell not in ids:
                noun = file.removesuffix(".csv").replace("_", " ")
                raise BadInput("", f'"{cell}" is not among the {noun}; mend it, or import it with the {noun} first')
            return cell

        return self.read(column, parse, "?")


class _Held(dict[str, Any]):
    """The rows of a table by id, those that the database holds and those of the table handed in.

    A few rows are asked for one by one, as they are named; for many the table is read once (`whole`).
    """

    def __init__(self, session: Session, table: type[SQLModel], *, whole: bool) -> None:
        super().__init__({row.id: row for row in session.exec(select(table))} if whole else {})  # type: ignore[attr-defined]
        self._session, self._table, self._whole = session, table, whole
        self._absent: set[str] = set()

    def __contains__(self, key: object) -> bool:
        return self._found(key) or super().__contains__(key)

    def get(self, key: str, default: Any = None) -> Any:
        return super().get(key, default) if key in self else default

    def setdefault(self, key: str, default: Any = None) -> Any:
        return super().get(key) if key in self else super().setdefault(key, default)

    def _found(self, key: object) -> bool:
        """Look for a row in the database, once; what no database can hold is not there."""
        if self._whole or not isinstance(key, str) or super().__contains__(key) or key in self._absent:
            return False
        writable = "\0" not in key and not any(0xD800 <= ord(letter) < 0xE000 for letter in key)
        row = self._session.get(self._table, key) if writable else None
        if row is None:
            self._absent.add(key)
            return False
        self[key] = row
        return True


class _Reader(YardFiles, WorkFiles):
    """The readers of the demo's files, on tables handed in; ids that the database holds are known already."""

    def __init__(self, session: Session, uploads: Sequence[Upload]) -> None:
        super().__init__(Path())
        self.uploads = {upload.name: upload for upload in uploads}
        self.read: list[tuple[str, _Line, SQLModel]] = []
        self.hours: dict[str, list[tables.VisitHours]] = {}
        self.bookings: dict[str, tables.Booking] = {}
        self._seen: set[tuple[str, str]] = set()
        self._table = ""
        self._session, self._works = session, _Held(session, tables.WorkKind, whole=False)
        whole = sum(len(upload.lines) for upload in uploads) > FEW
        for noun, table in _KNOWN.items():
            self.ids[noun] = _Held(session, table, whole=whole)

    def counts_as(self, work: str) -> str:
        kind = self._works.get(work)
        if kind is None:
            one_of(work, self._session.exec(select(tables.WorkKind.id)).all())
            return "?"
        return str(kind.counts_as)

    def unplaced(self, key: str, address: str, town: str) -> dict[str, Any]:
        """Return nothing for a site that stays where it is; else a neighbor's place or a yard's stands in."""
        held = self._session.get(tables.Site, key) if key in self.ids["site"] else None
        if held is not None and question_of(address, town) == question_of(held.address, held.town):
            return {}
        return stand_in(self._session, town)

    def sheet(self, file: str, columns: str) -> list[Row]:
        self._table = file.removesuffix(".csv")
        upload, (wanted, may_lack) = self.uploads[self._table], columns_of(columns)
        self.faults += upload.faults
        faults = len(self.faults)
        for name in wanted:
            if name not in upload.head and name not in may_lack:
                problem = f'has no column "{name}"; the columns are {", ".join(wanted)}'
                self.faults.append(CellFault(upload.file, problem, sheet=upload.sheet, row=1))
        for name in upload.head:
            if name not in wanted:
                problem = f'the column "{name}" is not known; the columns are {", ".join(wanted)}'
                self.faults.append(CellFault(upload.file, problem, sheet=upload.sheet, row=1))
        if len(self.faults) > faults:
            return []
        return [_Line(upload, number, cells, self.faults) for number, cells in upload.lines]

    def unique(self, row: Row, column: str, noun: str, key: str) -> None:
        """Note a key that stands twice in the table; one that the database holds is no fault: its row is changed."""
        if (noun, key) in self._seen and key != "?":
            row.fault(column, f'"{key}" stands already further up; take one of the rows out')
        self._seen.add((noun, key))
        self.known_ids(noun).setdefault(key, None)

    def add(self, row: Row, value: SQLModel) -> None:
        assert isinstance(row, _Line)
        if row.bad:
            return
        if isinstance(value, tables.VisitHours):
            self.hours.setdefault(value.visit_id, []).append(value)
        elif isinstance(value, tables.Booking):
            self.bookings[value.visit_id] = value
        elif not isinstance(value, tables.StockMove):  # a shelf's move is made when its row is taken in
            self.read.append((self._table, row, value))


def _place(fault: BadInput) -> tuple[str, str, int]:
    """Return where a fault is, to sort by: rows in order, columns as they were read."""
    return (fault.file, fault.sheet or "", fault.row or 0) if isinstance(fault, CellFault) else (fault.where, "", 0)


def _check_counts(session: Session, reader: _Reader) -> None:
    """Note shelf counts older than the one that the database holds: the later count is the truer."""
    for _, row, value in reader.read:
        if isinstance(value, tables.StockItem):
            held = session.get(tables.StockItem, _key(value))
            if held is not None and value.counted_on < held.counted_on:
                row.fault("counted_on", f"is before the last count of this shelf, {held.counted_on}; leave the row out")


def _step(
    session: Session, table: str, row: _Line, value: SQLModel, reader: _Reader, now: datetime.datetime, by: str
) -> tuple[RowChange, Callable[[], None]]:
    """Return what a row does, and the function that does it."""
    held = session.get(type(value), _key(value))
    names = [name for name in type(value).model_fields if name in value.model_fields_set and name not in _keys(value)]
    fields = {}
    for name in names:
        before, after = getattr(held, name) if held is not None else None, getattr(value, name)
        if held is None or before != after:
            fields[name] = (shown(before), shown(after))
    if isinstance(value, tables.Site) and "placed" in fields:
        for name in ("placed",) if value.placed and held is None else () if value.placed else ("lat", "lon"):
            fields.pop(name, None)  # what goes without saying, and what only stands in
    hours: list[tables.VisitHours] = []
    booking, told = None, None
    if isinstance(value, tables.Visit):
        hours = reader.hours.get(value.id, [])
        of_visit = tables.VisitHours.visit_id == value.id
        before_hours = list(session.exec(select(tables.VisitHours).where(of_visit))) if held is not None else []
        if held is None or sorted(map(span_of, before_hours), key=str) != sorted(map(span_of, hours), key=str):
            fields["hours"] = (_hours(before_hours), _hours(hours))
        booking, told = reader.bookings.get(value.id), _told(session, value.id)
        if booking is not None and (told is None or _promise(told) != _promise(booking)):
            fields["booking"] = ("" if told is None else _promise_words(told), _promise_words(booking))
    if held is None:
        fields = {name: pair for name, pair in fields.items() if pair[1]}
    kind: Kind = "new" if held is None else "changed" if fields else "unchanged"

    def do() -> None:
        if held is None:
            session.add(value)
            session.flush()
            if isinstance(value, tables.StockItem):
                moving.begin(session, value, by=by, now=now)
        else:
            for name in names:
                if not (isinstance(held, tables.StockItem) and name == "on_hand"):
                    setattr(held, name, getattr(value, name))
            if hasattr(held, "version"):
                held.version += 1
            if isinstance(value, tables.StockItem):
                moving.count_to(session, (value.item, value.yard_id), value.on_hand, by=by, now=now)
        if "hours" in fields:
            session.execute(sa.delete(tables.VisitHours).where(col(tables.VisitHours.visit_id) == value.id))  # type: ignore[attr-defined]
            session.add_all(hours)
        if "booking" in fields and booking is not None:
            at = moment_after_all(session, now)
            if told is not None:
                told.withdrawn_at, told.version = at, told.version + 1
            booking.told_at = at if booking.told_how or booking.told_words else None
            session.add(booking)

    return RowChange(table, " ".join(str(part) for part in _key(value)), row.where, kind, fields), do


def _keys(value: SQLModel) -> list[str]:
    return [column.name for column in sa.inspect(type(value)).primary_key]


def _key(value: SQLModel) -> tuple[Any, ...]:
    return tuple(getattr(value, name) for name in _keys(value))


def shown(value: Any) -> str:
    """Return a field's value as it is told to people."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else WAITS
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _hours(hours: Sequence[tables.VisitHours]) -> str:
    return hours_text(span_of(one) for one in hours)


def _told(session: Session, visit_id: str) -> tables.Booking | None:
    """Return the newest booking of a visit that was not withdrawn."""
    found = select(tables.Booking).where(
        tables.Booking.visit_id == visit_id, col(tables.Booking.withdrawn_at).is_(None)
    )
    return session.exec(found.order_by(col(tables.Booking.id).desc())).first()


def _promise(booking: tables.Booking) -> tuple[Any, ...]:
    return booking.crew_id, booking.day, booking.start, booking.hold, booking.told_how, booking.told_words


def _promise_words(booking: tables.Booking) -> str:
    words = f"{booking.hold} {booking.crew_id} {booking.day} {clock_text(booking.start)}"
    return f"{words} “{booking.told_words}”" if booking.told_words else words
