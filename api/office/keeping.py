"""Rows of a kind: read as text, taken in from text, kept, deleted and undone, each change a line of the history."""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.business.part import BadValues
from api.fields.files.sheets import date
from api.http import versions
from api.http.problems import Problem
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.office.kind import Kind, KindColumn, Values
from api.office.kinds import KINDS
from scheduler.errors import BadInput

_MOST_LINES = 20


@dataclass(frozen=True)
class Record:
    """One row of a kind: `key` is that of its table, `values` and `texts` are by column, `mark` is its version."""

    row: Any
    key: tuple[Any, ...]
    values: Values
    texts: dict[str, str]

    @property
    def mark(self) -> str:
        return fingerprint(sorted(self.texts.items()))[:16]


def units_of(session: Session) -> str:
    """Return how the business measures."""
    return session.exec(select(tables.Business.units)).first() or "imperial"


def records(session: Session, kind: Kind, rows: Sequence[Any] | None = None) -> list[Record]:
    """Return the rows of a kind, all of them in order of their keys where none are given."""
    if rows is None:
        order = [getattr(kind.table, name) for name in (*kind.key, *kind.primary)]
        rows = session.exec(select(kind.table).order_by(*order)).all()
    units = units_of(session)
    also = kind.also(session, rows) if kind.also else {}
    found = []
    for row in rows:
        key = tuple(getattr(row, name) for name in kind.primary)
        more = also.get(key[0], {})
        values = {c.name: more[c.name] if c.name in more else getattr(row, c.name) for c in kind.columns}
        texts = {c.name: c.write(values[c.name], units) for c in kind.columns}
        found.append(Record(row, key, values, texts))
    return found


def record_of(session: Session, kind: Kind, key: Sequence[str]) -> Record | None:
    """Return the row with the key of an address, None where there is none."""
    parsed: list[Any] = list(key)
    if kind.made_id:
        parsed = [int(key[0])] if len(key) == 1 and key[0].isdecimal() and len(key[0]) < 10 else []
    if len(parsed) != len(kind.primary) or any(isinstance(part, str) and "\0" in part for part in parsed):
        return None
    row = session.get(kind.table, tuple(parsed) if len(parsed) > 1 else parsed[0])
    return None if row is None else records(session, kind, [row])[0]


def choices(session: Session, kind: Kind) -> dict[str, list[tuple[str, str]]]:
    """Return for each column that names rows of another kind those that there are: (id, words)."""
    return {c.name: named(session, KINDS[c.of]) for c in kind.columns if c.of}


def named(session: Session, kind: Kind) -> list[tuple[str, str]]:
    """Return the rows of a kind as (id, words)."""
    rows: Sequence[Any] = session.exec(select(kind.table).order_by(getattr(kind.table, "id"))).all()  # noqa: B009
    return [
        (row.id, f"{row.name} ({row.id})" if getattr(row, "name", row.id) != row.id else row.id)
        for row in rows
    ]  # fmt: skip


def read(
    session: Session, kind: Kind, texts: Mapping[str, str], old: Record | None = None,
    known: Mapping[str, list[tuple[str, str]]] | None = None,
) -> Values:  # fmt: skip
    """Return the values of a row whose texts are given; those left out stay as they are in `old`, or begin as usual.

    `known` are the rows that columns may name, as `choices` gives them. Raises `BadValues` with every fault.
    """
    units, values = units_of(session), Values()
    known = choices(session, kind) if known is None else known
    faults: list[tuple[str, str]] = []
    for column in kind.columns:
        text = texts.get(column.name, old.texts[column.name] if old else column.start).strip()
        if not text and column.like:
            text = texts.get(column.like, "").strip()
        if old is None and column.name == "id" and not text and texts.get("name"):
            text = _short_name(session, kind, texts["name"])
        try:
            value = column.value(text, units)
            values[column.name] = among(column, value, known[column.name]) if column.of and value else value
        except BadInput as fault:
            faults.append((column.name, fault.problem if text or column.of else "must not be empty"))
    for name in kind.fixed if not faults and old is not None else ():
        if old is not None and name in values and values[name] != old.values[name]:
            faults.append((name, f'is "{old.values[name]}" and stays so'))
    if not faults and kind.check is not None:
        try:
            kind.check(session, str(old.key[0]) if old else None, values)
        except BadInput as fault:
            faults.append((fault.where, fault.problem))
    if faults:
        raise BadValues(faults)
    return values


def among(column: KindColumn, text: str, known: Sequence[tuple[str, str]]) -> str:
    """Return the id that a text means: an id itself, or a name that one row alone has."""
    meant = meant_by(text, known)
    if len(meant) == 1:
        return meant[0]
    noun = KINDS[column.of].title.lower()
    raise BadInput("", f'"{text}" {"could be " + " or ".join(meant) if meant else f"is not among the {noun}"}')


def meant_by(text: str, known: Sequence[tuple[str, str]]) -> list[str]:
    """Return the ids that a text can mean among (id, words): the id itself, or a name."""
    low = text.casefold()
    exact = [one for one, _ in known if one == text]
    return exact or [one for one, words in known if low in (one.casefold(), words.casefold().rpartition(" (")[0])]


def _short_name(session: Session, kind: Kind, name: str) -> str:
    """Return a short name made of a long one, that nobody has.

    Texts say "the north yard": a yard that is called Weir yard is the weir yard.
    """
    letters = "".join(one for one in unicodedata.normalize("NFKD", name) if not unicodedata.combining(one))
    stem = re.sub(r"[^a-z0-9]+", "-", letters.casefold()).strip("-")[:30].strip("-") or kind.noun.replace(" ", "-")
    stem = stem.removesuffix(f"-{kind.noun}") if kind.id == "yards" else stem
    short, n = stem, 2
    while session.get(kind.table, short) is not None:
        short, n = f"{stem}-{n}", n + 1
    return short


def same(session: Session, kind: Kind, values: Values) -> Record | None:
    """Return the row that is told by the same key as `values`."""
    wanted = select(kind.table).where(*(getattr(kind.table, name) == values[name] for name in kind.key))
    row = session.exec(wanted).first()
    return None if row is None else records(session, kind, [row])[0]


def title(kind: Kind, texts: Mapping[str, str]) -> str:
    """Return what a row is called in a sentence."""
    return ", ".join(texts[name] for name in kind.key)


def keep(
    session: Session, kind: Kind, old: Record | None, values: Values, *, by: str, now: datetime.datetime,
    did: str = "",
) -> Record:  # fmt: skip
    """Make a row, or change `old`; raises `BadValues` for a key that is taken, `Problem` where somebody was quicker."""
    fields = {name: value for name, value in values.items() if name in kind.table.model_fields}
    other = same(session, kind, values)
    if other is not None and (old is None or other.key != old.key):
        raise BadValues([(kind.key[0], f"there is one already: {title(kind, other.texts)}")])
    if old is None:
        row: Any = kind.table(**fields)
        session.add(row)
        session.flush()
    else:
        row = old.row
        _change(session, kind, row, {k: v for k, v in fields.items() if k not in kind.own})
    if kind.put is not None:
        kind.put(session, row, values, by, now)
        session.refresh(row)
    new = records(session, kind, [row])[0]
    plain = msgspec.to_builtins(new.values)
    if old is None:
        detail = plain
    else:
        before = msgspec.to_builtins(old.values)
        detail = {name: [before[name], value] for name, value in plain.items() if before[name] != value}
    if detail:
        _note(session, kind, new, did or ("made" if old is None else "changed"), detail, by=by, now=now)
    return new


def remove(
    session: Session, kind: Kind, old: Record, *, by: str, now: datetime.datetime, did: str = ""
) -> None:  # fmt: skip
    """Delete a row; raises `BadInput` while others use it."""
    used = used_by(session, kind, old)
    if used:
        raise BadInput("", f"{title(kind, old.texts)} cannot be deleted: {', '.join(used)} belong to it")
    for part in kind.parts:
        session.execute(sa.delete(part.class_).where(part == old.key[0]))
    session.delete(old.row)
    session.flush()
    _note(session, kind, old, did or "deleted", msgspec.to_builtins(old.values), by=by, now=now)


def used_by(session: Session, kind: Kind, old: Record) -> list[str]:
    """Return what keeps a row from being deleted, counted in words."""
    if kind.table is tables.StockItem:
        return [] if not _moves(session, old) else [f"{_moves(session, old)} counts and moves"]
    counts = {
        words: session.execute(sa.select(sa.func.count()).where(column == old.key[0])).scalar_one()
        for words, column in dict(kind.users).items()
    }
    return [f"{n} {words}" for words, n in counts.items() if n]


def _moves(session: Session, old: Record) -> int:
    of_it = tables.StockMove.item == old.key[0], tables.StockMove.yard_id == old.key[1]
    return session.exec(select(sa.func.count()).select_from(tables.StockMove).where(*of_it)).one()


def _change(session: Session, kind: Kind, row: SQLModel, fields: Values) -> None:
    if hasattr(row, "version"):
        if not versions.update(session, row, fields):
            raise Problem(409, "Somebody changed this at the same moment; read it again.", kind="changed-meanwhile")
        return
    for name, value in fields.items():
        setattr(row, name, value)
    session.flush()


def _note(
    session: Session, kind: Kind, record: Record, did: str, detail: dict[str, Any], *, by: str, now: datetime.datetime
) -> None:
    told = detail if kind.key == ("id",) else {**detail, "id": list(record.key)}
    note(session, now, by, did, kind.noun, title(kind, record.texts)[:80], told)


def changes_of(session: Session, kind: Kind, record: Record | None = None) -> list[tables.History]:
    """Return the last changes of a kind's rows, or of one of them, the newest first."""
    lines = select(tables.History).where(tables.History.noun == kind.noun)
    if record is not None:
        lines = lines.where(tables.History.noun_id == title(kind, record.texts)[:80])
    return list(session.exec(lines.order_by(col(tables.History.id).desc()).limit(_MOST_LINES)))


@dataclass(frozen=True)
class Undoing:
    """What takes a line of the history back: the row as it is, and its values before; None: it is deleted, or made."""

    kind: Kind
    old: Record | None
    values: Values | None


def undoing(session: Session, line: tables.History) -> Undoing:
    """Return what would undo a line; raises `BadInput` where it cannot be, or the row has changed since."""
    kind = next((kind for kind in KINDS.values() if kind.noun == line.noun), None)
    known = {column.name for column in kind.columns} if kind else set()
    detail = {name: value for name, value in line.detail.items() if name in known}
    if kind is None or kind.by_lines or not detail:
        raise BadInput("", "this line of the history cannot be undone here")
    key = line.detail.get("id", line.noun_id)
    old = record_of(session, kind, [str(part) for part in key] if isinstance(key, list) else [str(key)])
    if line.did.endswith("deleted"):
        if old is not None:
            raise BadInput("", f"{line.noun_id} is there again already")
        return Undoing(kind, None, {name: _value(kind, name, value) for name, value in detail.items()})
    if old is None:
        raise BadInput("", f"{line.noun_id} is not there any more")
    now = msgspec.to_builtins(old.values)
    made = line.did.endswith(("made", "new"))
    after = detail if made else {name: pair[1] for name, pair in detail.items()}
    moved = [kind.column(name).head for name, value in after.items() if now[name] != value]
    if moved:
        raise BadInput("", f"{', '.join(moved)} of {line.noun_id} has changed since: change it by hand")
    if made:
        return Undoing(kind, old, None)
    return Undoing(kind, old, {**old.values, **{n: _value(kind, n, pair[0]) for n, pair in detail.items()}})


def _value(kind: Kind, name: str, value: Any) -> Any:
    """Return a value as a row holds it, from what the history kept."""
    if kind.column(name).hint and dict(kind.column(name).hint).get("type") == "date" and value:
        return date(value)
    return value


def undo(session: Session, done: Undoing, *, by: str, now: datetime.datetime) -> Record | None:
    """Take a change back; returns the row as it is then, None where it is gone. Raises as `keep` and `remove` do."""
    if done.values is None:
        assert done.old is not None
        remove(session, done.kind, done.old, by=by, now=now, did="undid, deleted")
        return None
    if done.kind.check is not None:
        done.kind.check(session, str(done.old.key[0]) if done.old else None, done.values)
    did = "undid, made" if done.old is None else "undid, changed"
    return keep(session, done.kind, done.old, done.values, by=by, now=now, did=did)
