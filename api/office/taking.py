"""Taking a table in: tried row by row, each taken, changed, unchanged or refused with its reason."""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa
from sqlmodel import Session, col

from api import tables
from api.business.part import BadValues
from api.database import begin_writing
from api.ledger.fingerprint import fingerprint
from api.office.files import FIX, Rows, SentTable, days_as_written, propose, tidy
from api.office.keeping import Record, among, choices, keep, meant_by, named, read, record_of, same, title, units_of
from api.office.kind import Kind
from api.office.lists.rows import WorkLines
from api.office.lists.settings import SettingLines
from scheduler.errors import BadInput

KEPT_H = 24  # hours for which a file that was sent is kept
Outcome = Literal["new", "changed", "unchanged", "refused"]


@dataclass(frozen=True)
class RowOutcome:
    """What became of one row: `fields` are (before, after) by label, `reasons` why it was refused."""

    number: int
    cells: tuple[str, ...]
    what: Outcome
    name: str
    fields: dict[str, tuple[str, str]]
    reasons: tuple[str, ...] = ()


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
    session: Session, kind: Kind, table: SentTable, columns: Sequence[str], *, by: str, now: datetime.datetime
) -> TableTaken:
    """Take the rows of a table in, each by itself: those that cannot stand are refused and change nothing."""
    known, units, seen = choices(session, kind), units_of(session), set[str]()
    lines: WorkLines | SettingLines | None = None
    if kind.by_lines or kind.setting:
        lines = SettingLines(session, kind, by, now) if kind.setting else WorkLines(session, kind, units, by, now)
    found = []
    days = {
        name: days_as_written([cells[n] for _, cells in table.lines])
        for n, name in enumerate(columns)
        if name and dict(kind.column(name).hint).get("type") == "date"
    }
    begin_writing(session)
    for number, cells in table.lines:
        texts = {}
        for name, head, cell in zip(columns, table.heads, cells, strict=True):
            if name:
                if (by_head := kind.column(name).by_head) is not None:
                    cell = by_head(head, cell)
                texts[name] = days.get(name, {}).get(cell) or tidy(cell, kind.column(name))
        point = session.begin_nested()
        try:
            if lines is None:
                found.append(_one(session, kind, texts, known, units, seen, number, cells, by=by, now=now))
            else:
                found.append(_line(lines, texts, known, number, cells))
            point.commit()
        except BadValues as bad:
            point.rollback()
            reasons = tuple(f"{_label(kind, where)}: {problem}" if where else problem for where, problem in bad.faults)
            found.append(RowOutcome(number, cells, "refused", "", {}, reasons))
    return TableTaken(tuple(found))


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
    return RowOutcome(number, cells, what, name, fields)


def _line(
    lines: WorkLines | SettingLines, texts: dict[str, str], known: dict[str, list[tuple[str, str]]], number: int,
    cells: tuple[str, ...],
) -> RowOutcome:  # fmt: skip
    """Take in a line that may mean several rows."""
    for name in known.keys() & texts.keys():
        if texts[name]:
            try:
                texts[name] = among(lines.kind.column(name), texts[name], known[name])
            except BadInput as fault:
                raise BadValues([(name, fault.problem)]) from None
    done = lines.take(texts)
    what: Outcome = "new" if done.new else "changed" if done.fields else "unchanged"
    return RowOutcome(number, cells, what, done.name, done.fields)


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
