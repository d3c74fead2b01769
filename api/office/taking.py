"""Taking a table in: tried row by row, each taken, changed, unchanged or refused with its reason."""

from __future__ import annotations

import datetime
import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, col

from api import tables
from api.business.part import BadValues
from api.database import begin_writing, transaction
from api.http.problems import Problem
from api.jobs.numbers import is_tried
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.office.files.sheets import FIX, Rows, SentTable, days_as_written, propose, tidy
from api.office.keeping import Record, among, choices, keep, meant_by, named, read, record_of, same, title, units_of
from api.office.kind import Kind
from api.office.lists.rows import WorkLines
from api.office.lists.settings import SettingLines
from scheduler.errors import BadInput

KEPT_H = 24  # hours for which a file that was sent is kept
EACH_BY_ITSELF: Mapping[str, str] = {}
AT_ONCE = 50  # rows that are kept together
SQLITE_POLLS_S = 0.1  # SQLite does not queue writers: those who wait look again so often
Step = Callable[[int], None]  # how many rows it has gone through
Outcome = Literal["new", "changed", "unchanged", "refused"]


@dataclass(frozen=True)
class RowOutcome:
    """What became of one row: `fields` are (before, after) by label, `reasons` why it was refused.

    `made` are the rows that it made, as [table or kind, id].
    """

    number: int
    cells: tuple[str, ...]
    what: Outcome
    name: str
    fields: dict[str, tuple[str, str]]
    reasons: tuple[str, ...] = ()
    made: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class TableTaken:
    """What a table does, or did: its rows in order."""

    rows: tuple[RowOutcome, ...]

    def count(self, what: Outcome) -> int:
        return sum(row.what == what for row in self.rows)

    @property
    def refused(self) -> list[RowOutcome]:
        return [row for row in self.rows if row.what == "refused"]

    @property
    def mark(self) -> str:
        """Return what is the same for the same outcome."""
        return fingerprint([[row.number, row.what, sorted(row.fields.items())] for row in self.rows])[:24]


def send(session: Session, kind: Kind, name: str, rows: Rows, *, by: str, now: datetime.datetime) -> str:
    """Keep a file that was sent until it is taken in, and return its id; those of yesterday are forgotten."""
    old = now - datetime.timedelta(hours=KEPT_H)
    session.execute(sa.delete(tables.SentFile).where(col(tables.SentFile.at) < old))
    sent = tables.SentFile(id=secrets.token_urlsafe(12), kind=kind.id, name=name[:120], table=rows, at=now, by=by)
    session.add(sent)
    session.flush()
    return sent.id


def columns_of(session: Session, kind: Kind, table: SentTable) -> tuple[list[str], bool]:
    """Return the column of each head, and whether they are those of the last file of this shape."""
    shape = session.get(tables.FileShape, (kind.id, table.shape))
    known = {column.name for column in kind.in_files}
    if shape is not None and len(shape.columns) == len(table.heads) and {*shape.columns} <= known | {""}:
        return list(shape.columns), True
    return propose(table, kind, units_of(session)), False


def remember(session: Session, kind: Kind, table: SentTable, columns: Sequence[str]) -> None:
    """Keep how the columns were read, for the next file of the same shape."""
    session.merge(tables.FileShape(kind=kind.id, heads=table.shape, columns=list(columns)))


def check_columns(kind: Kind, columns: Sequence[str]) -> None:
    """Raise `BadInput` where a column is named twice, or is none of the kind."""
    named = [name for name in columns if name]
    for name in named:
        if name not in {column.name for column in kind.in_files}:
            raise BadInput("columns", f'"{name}" is no column of {kind.title.lower()}')
        if named.count(name) > 1:
            raise BadInput("columns", f"{kind.column(name).head} is chosen twice; leave one of them out")


def take(
    session: Session, kind: Kind, table: SentTable, columns: Sequence[str], *, by: str, now: datetime.datetime,
    for_all: Mapping[str, str] = EACH_BY_ITSELF, step: Step = lambda rows: None,
) -> TableTaken:  # fmt: skip
    """Take the rows of a table in, each by itself: those that cannot stand are refused and change nothing.

    for_all: by column what all rows say that the table has no column for. step: is told how many rows there are.
    """
    taking, found = _Taking(session, kind, table, columns, for_all, by, now), list[RowOutcome]()
    at_once = max(1, len(table.lines)) if kind.setting else AT_ONCE
    for begin in range(0, len(table.lines), at_once):
        step(begin)
        found += taking.taken(session, table.lines[begin : begin + at_once])
    return TableTaken(tuple(found))


def take_in(
    database: sa.Engine, kind: Kind, table: SentTable, columns: Sequence[str], *, by: str, now: datetime.datetime,
    for_all: Mapping[str, str] = EACH_BY_ITSELF, name: str = "", step: Step = lambda rows: None,
    found: list[RowOutcome] | None = None,
) -> TableTaken:  # fmt: skip
    """Take the rows of a table in as `take`, so many in a transaction: others who make jobs wait for those alone.

    What they make is kept in a `TakenList`, called `name`. `found` gets the rows that are kept, also where it ends
    before the last. Raises `Problem` 503 where the database goes away after some of them have been kept, and what
    `step` raises, which is told how many rows are kept.
    """
    found, list_id = ([] if found is None else found), None
    at_once = max(1, len(table.lines)) if kind.setting else AT_ONCE
    taking: _Taking | None = None
    for begin in range(0, len(table.lines), at_once):
        step(begin)
        if begin and database.dialect.name == "sqlite":
            time.sleep(SQLITE_POLLS_S)
        try:
            with transaction(database) as session:
                taking = taking or _Taking(session, kind, table, columns, for_all, by, now)
                part = taking.taken(session, table.lines[begin : begin + at_once])
                list_id = _keep_made(session, list_id, part, kind, name, by, now)
        except SQLAlchemyError:
            if not found:
                raise
            last = found[-1].number
            raise Problem(
                503,
                f"The rows up to {last} are in, the others are not. Send the file again: no row is changed twice.",
                kind="broken-off",
            ) from None
        found += part
    return TableTaken(tuple(found))


def _keep_made(
    session: Session, list_id: int | None, part: Sequence[RowOutcome], kind: Kind, name: str, by: str,
    now: datetime.datetime,
) -> int | None:  # fmt: skip
    """Keep what some rows of a list have made beside what those before them have, to be taken back in one go."""
    made = [list(one) for row in part for one in row.made]
    if not made:
        return list_id
    if list_id is None:
        row = tables.TakenList(kind=kind.id, name=name, at=now, by=by, made=made)
        session.add(row)
        session.flush()
        note(session, now, by, "took in", "list", str(row.id), {"name": name})
        return row.id
    row = session.get_one(tables.TakenList, list_id)
    row.made = [*row.made, *made]
    return list_id


class _Taking:
    """A table that is being taken in, by one session after the other."""

    def __init__(
        self, session: Session, kind: Kind, table: SentTable, columns: Sequence[str], for_all: Mapping[str, str],
        by: str, now: datetime.datetime,
    ) -> None:  # fmt: skip
        self._kind, self._by, self._now = kind, by, now
        self._known, self._units, self._seen = choices(session, kind), units_of(session), set[str]()
        self._lines: WorkLines | SettingLines | None = None
        if kind.by_lines:
            self._lines = WorkLines(session, kind, self._units, by, now)
        elif kind.setting:
            self._lines = SettingLines(session, kind, by, now)
        self._columns, self._heads, self._for_all = columns, table.heads, for_all
        self._days = {
            name: days_as_written([cells[n] for _, cells in table.lines])
            for n, name in enumerate(columns)
            if name and dict(kind.column(name).hint).get("type") == "date"
        }

    def taken(self, session: Session, part: Sequence[tuple[int, tuple[str, ...]]]) -> list[RowOutcome]:
        """Take some rows in and say what became of each."""
        begin_writing(session)
        if isinstance(self._lines, WorkLines):
            self._lines.go_on(session)
        found = []
        for number, cells in part:
            point = session.begin_nested()
            try:
                found.append(self._row(session, number, cells))
                point.commit()
            except BadValues as bad:
                point.rollback()
                reasons = tuple(
                    f"{_label(self._kind, where)}: {problem}" if where else problem for where, problem in bad.faults
                )
                found.append(RowOutcome(number, cells, "refused", "", {}, reasons))
        return found

    def _row(self, session: Session, number: int, cells: tuple[str, ...]) -> RowOutcome:
        texts = dict(self._for_all)
        for name, head, cell in zip(self._columns, self._heads, cells, strict=True):
            if name:
                column = self._kind.column(name)
                if column.by_head is not None:
                    cell = column.by_head(head, cell)
                texts[name] = self._days.get(name, {}).get(cell) or tidy(cell, column)
        if self._lines is not None:
            return _line(session, self._lines, texts, self._known, number, cells)
        known, units, seen = self._known, self._units, self._seen
        return _one(session, self._kind, texts, known, units, seen, number, cells, by=self._by, now=self._now)


def _one(
    session: Session, kind: Kind, texts: dict[str, str], known: dict[str, list[tuple[str, str]]], units: str,
    seen: set[str], number: int, cells: tuple[str, ...], *, by: str, now: datetime.datetime,
) -> RowOutcome:  # fmt: skip
    for column in kind.columns:
        if not column.may_be_empty and not texts.get(column.name, "?"):
            del texts[column.name]  # an empty cell of what cannot be empty says nothing
        # As its form does: where there is one alone, it is that.
        if column.of and not column.may_be_empty and not texts.get(column.name) and len(known[column.name]) == 1:
            texts[column.name] = known[column.name][0][0]
    old = None
    if all(texts.get(name, kind.column(name).start) for name in kind.key):
        old = _held(session, kind, texts, known, units)
    elif kind.key == ("id",) and not texts.get("id") and texts.get("name"):
        old = _called(session, kind, texts["name"])
        texts |= {"id": old.texts["id"]} if old else {}
    if old is None and kind.complete is not None:
        try:
            kind.complete(session, texts)
        except BadInput as fault:
            raise BadValues([(fault.where, fault.problem)]) from None
        old = _held(session, kind, texts, known, units) if all(texts.get(name) for name in kind.key) else None
    values = read(session, kind, texts, old, known)
    name = title(kind, {c.name: c.write(values[c.name], units) for c in kind.columns})
    if name in seen:
        raise BadValues([("", f"{name} stands already further up")])
    seen.add(name)
    new = keep(session, kind, old, values, by=by, now=now, did="took in, changed" if old else "took in, made")
    before = old.texts if old else dict.fromkeys(new.texts, "")
    fields = {
        kind.column(n).head: (before[n], text) for n, text in new.texts.items() if before[n] != text
    }  # fmt: skip
    what: Outcome = "new" if old is None else "changed" if fields else "unchanged"
    made = ((kind.id, *map(str, new.key)),) if old is None else ()
    return RowOutcome(number, cells, what, name, fields, made=made)


def _line(
    session: Session, lines: WorkLines | SettingLines, texts: dict[str, str], known: dict[str, list[tuple[str, str]]],
    number: int, cells: tuple[str, ...],
) -> RowOutcome:  # fmt: skip
    """Take in a line that may mean several rows; what is new has its number only once it is kept."""
    for name in known.keys() & texts.keys():
        if texts[name]:
            try:
                texts[name] = among(lines.kind.column(name), texts[name], known[name])
            except BadInput as fault:
                raise BadValues([(name, fault.problem)]) from None
    done = lines.take(texts)
    what: Outcome = "new" if done.new else "changed" if done.fields else "unchanged"
    return RowOutcome(number, cells, what, "" if done.new and is_tried(session) else done.name, done.fields,
                      made=done.made)  # fmt: skip


def _held(
    session: Session, kind: Kind, texts: dict[str, str], known: dict[str, list[tuple[str, str]]], units: str
) -> Record | None:
    """Return the row that is there already under the key of a line, None where it is new or its key cannot stand."""
    values = {}
    for name in kind.key:
        column = kind.column(name)
        try:
            values[name] = column.value(texts.get(name, column.start), units)
        except BadInput:
            return None
        if column.of:
            meant = meant_by(values[name], known[name])
            if len(meant) != 1:
                return None
            values[name] = meant[0]
    return same(session, kind, values)


def _called(session: Session, kind: Kind, name: str) -> Record | None:
    """Return the row of a name, where one alone has it: a list without short names is sent a second time, too."""
    meant = meant_by(name, named(session, kind))
    return record_of(session, kind, meant) if len(meant) == 1 else None


def _label(kind: Kind, name: str) -> str:
    return next((column.head for column in kind.in_files if column.name == name), name)


def refused_rows(table: SentTable, done: TableTaken) -> tuple[list[str], list[list[str]]]:
    """Return heads and rows of the file of what was refused: as it was sent, and what to fix."""
    heads = [head for head in table.heads if head != FIX]
    keep_n = [n for n, head in enumerate(table.heads) if head != FIX]
    rows = [[*(row.cells[n] for n in keep_n), "; ".join(row.reasons)] for row in done.refused]
    return [*heads, FIX], rows
