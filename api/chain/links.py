"""Sealing rows into the chain, and finding what was changed or removed since.

Rows are sealed soon after they were written, in a transaction of its own: writers never wait for each other because of
the chain, and rows that came by any way are sealed. What is changed before it is sealed is not noticed, nor is a chain
that was made anew as a whole: the newest backup says how it stood, and the doctor compares.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col

from api import tables
from api.database import begin_writing
from api.database.server_locks import ADVISORY

# What is sealed of each table: columns that never change. A column that comes later is left out, or all old rows would
# differ from their links. The history comes first: a load of the demo is sealed before the rows that it brought.
SEALED: dict[str, tuple[str, ...]] = {
    "history": ("at", "by", "did", "noun", "noun_id", "detail"),
    "posted_week": ("start_date", "plan_id", "posted_at", "posted_by", "despite", "despite_why"),
    "stock_move": ("item", "yard_id", "kind", "pieces", "on_hand_after", "why", "at", "by"),
    "count_line": ("count_id", "item", "pieces", "damaged", "code", "at", "by"),
    "ledger_opening": ("at", "by", "why"),
    "erased_line": ("history_id", "before", "after", "at", "by"),
}
WORDS = {
    "history": "line {} of the history",
    "posted_week": "posting {} of a week",
    "stock_move": "move {} of the shelf",
    "count_line": "line {} of a count",
    "ledger_opening": "opening {} of the ledgers",
    "erased_line": "note {} of an erased line",
}
CLEARED_BY_LOAD = ("stock_move", "count_line")  # a business that is loaded anew brings its own
BEGINNING = "0" * 64
AT_ONCE = 500
LATE = 5000  # ids behind the newest sealed one in which rows may still come into sight


@dataclass(frozen=True)
class Head:
    """The newest link: its number and hash; 0 and `BEGINNING` where there is none."""

    id: int
    hash: str


def head(session: Session) -> Head:
    """Return the newest link of the chain."""
    link = tables.ChainLink
    row = session.execute(sa.select(col(link.id), col(link.seal)).order_by(col(link.id).desc()).limit(1)).first()
    return Head(0, BEGINNING) if row is None else Head(row[0], row[1])


def seal(session: Session, now: datetime.datetime, *, whole: bool = False) -> int:
    """Seal rows that are not sealed yet, at most `AT_ONCE` of each table, and return how many were.

    whole: look at all rows, not only at the newest. Whoever comes while another one seals does nothing on PostgreSQL,
    and waits on SQLite: two that read the same newest link would both follow it.
    """
    begin_writing(session)
    if session.get_bind().dialect.name == "postgresql":
        free = sa.select(sa.func.pg_try_advisory_xact_lock(ADVISORY + 2))
        if not session.execute(free).scalar():
            return 0
    last, sealed = head(session).hash, 0
    for name in SEALED:
        links = []
        for row_id, content in _unsealed(session, name, whole):
            link = {"of_table": name, "row_id": row_id, "content": content, "before": last, "sealed_at": now}
            link["seal"] = last = _hash(last, name, row_id, content)
            links.append(link)
        if links:  # before those of the next table, whose beginning hangs on them
            # One after another in this order, in which they are numbered.
            session.execute(_table("chain_link").insert(), links)
        sealed += len(links)
    return sealed


@dataclass(frozen=True)
class Broken:
    """What was found wrong at a link, as a sentence."""

    link: int
    words: str


def broken(session: Session, *, newest: int | None = None) -> Iterator[Broken]:
    """Yield what was changed or removed behind the service's back; newest: look at that many links only.

    The rows of `CLEARED_BY_LOAD` sealed before the business was loaded last may be gone. A line of the history may say
    less than it did where an `ErasedLine`, itself sealed, leads from what was sealed to what it says.
    """
    link = tables.ChainLink
    table = link.__table__  # type: ignore[attr-defined]
    first, last = 0, BEGINNING
    if newest is not None:
        ids = sa.select(col(link.id)).order_by(col(link.id).desc()).offset(newest).limit(1)
        first = session.execute(ids).scalar() or 0
        if first:
            last = session.execute(sa.select(col(link.seal)).where(col(link.id) == first)).scalar_one()
    loaded = _last_load(session)
    while rows := session.execute(
        sa.select(table).where(col(link.id) > first).order_by(col(link.id)).limit(AT_ONCE)
    ).all():
        yield from _compared(session, rows, loaded)
        for row in rows:
            if row.before != last:
                yield Broken(
                    row.id, f"link {row.id} does not follow the one before: a link there was changed or removed"
                )
            elif _hash(row.before, row.of_table, row.row_id, row.content) != row.seal:
                yield Broken(row.id, f"link {row.id} itself was changed")
            last = row.seal
        first = rows[-1].id


def unsealed(session: Session) -> int:
    """Return how many rows are in no link yet."""
    found = (session.execute(_how_many(name), {"since": _since(session, name), "least": 0}) for name in SEALED)
    return sum(int(one.scalar_one()) for one in found)


def _compared(session: Session, links: Sequence[Any], loaded: int) -> Iterator[Broken]:
    """Yield which rows of some links are gone or are not what was sealed."""
    for name in SEALED:
        mine = [one for one in links if one.of_table == name and not (name in CLEARED_BY_LOAD and one.id < loaded)]
        present = contents(session, name, [one.row_id for one in mine])
        changed = [one.row_id for one in mine if present.get(one.row_id, one.content) != one.content]
        erased = _erased(session, changed) if name == "history" else {}
        for one in mine:
            words = WORDS[name].format(one.row_id)
            if one.row_id not in present:
                yield Broken(one.id, f"{words} was removed; it was sealed on {one.sealed_at:%Y-%m-%d at %H:%M} UTC")
            elif present[one.row_id] not in _led_to(one.content, erased.get(one.row_id, {})):
                yield Broken(one.id, f"{words} was changed; it was sealed on {one.sealed_at:%Y-%m-%d at %H:%M} UTC")


def _erased(session: Session, lines: Sequence[int]) -> dict[int, dict[str, str]]:
    """Return for lines of the history what each erasing made of what: the hash after by the hash before."""
    row, found = tables.ErasedLine, dict[int, dict[str, str]]()
    wanted = sa.select(col(row.history_id), col(row.before), col(row.after)).where(col(row.history_id).in_(lines))
    for line, before, after in session.execute(wanted) if lines else ():
        found.setdefault(line, {})[before] = after
    return found


def _led_to(content: str, erased: dict[str, str]) -> set[str]:
    """Return what may stand where `content` was sealed: that, and what erasings have made of it one after another."""
    led = {content}
    while (after := erased.get(content)) is not None and after not in led:
        led.add(content := after)
    return led


def _unsealed(session: Session, name: str, whole: bool) -> Iterator[tuple[int, str]]:
    since = _since(session, name)
    least = 0 if whole else (session.execute(_newest(name), {"since": since}).scalar() or 0) - LATE
    ids = session.execute(_which(name), {"since": since, "least": least}).scalars().all()
    yield from sorted(contents(session, name, ids).items())


# Asked of every table after every change: putting a statement together takes longer than the database takes over it.
@functools.cache
def _newest(name: str) -> sa.Select[Any]:
    """Return the query for the newest row that a link after `since` seals."""
    link = _table("chain_link").c
    return sa.select(sa.func.max(link.row_id)).where(link.of_table == name, link.id > sa.bindparam("since"))


@functools.cache
def _which(name: str) -> sa.Select[Any]:
    rows = _table(name).c
    return _wanted(name, rows.id).order_by(rows.id).limit(AT_ONCE)


@functools.cache
def _how_many(name: str) -> sa.Select[Any]:
    return _wanted(name, sa.func.count())


def _wanted(name: str, what: Any) -> sa.Select[Any]:
    """Return the query for `what` of the rows above `least` that no link after `since` seals."""
    link, rows = _table("chain_link").c, _table(name)
    mine = (link.of_table == name, link.row_id == rows.c.id, link.id > sa.bindparam("since"))
    return sa.select(what).select_from(rows).where(rows.c.id > sa.bindparam("least"), ~sa.exists().where(*mine))


def _since(session: Session, name: str) -> int:
    return _last_load(session) if name in CLEARED_BY_LOAD else 0


def _last_load(session: Session) -> int:
    """Return the link that seals the newest load of a business, 0 where there is none."""
    return int(session.execute(_loads()).scalar() or 0)


@functools.cache
def _loads() -> sa.Select[Any]:
    link, line = _table("chain_link").c, _table("history").c
    loads = sa.select(sa.func.max(link.id)).join_from(link.id.table, line.id.table, line.id == link.row_id)
    return loads.where(link.of_table == "history", line.did == "loaded")


def contents(session: Session, name: str, ids: Sequence[int]) -> dict[int, str]:
    """Return the hash of what each of these rows says."""
    if not ids:
        return {}
    rows = _table(name).c
    wanted = sa.select(rows.id, *(rows[column] for column in SEALED[name])).where(rows.id.in_(ids))
    return {row[0]: _content(row[1:]) for row in session.execute(wanted)}


def _content(values: Sequence[Any]) -> str:
    written = json.dumps(list(values), sort_keys=True, ensure_ascii=True, separators=(",", ":"), default=_written)
    return hashlib.sha256(written.encode()).hexdigest()


def _written(value: Any) -> str:
    if isinstance(value, datetime.datetime):
        return value.astimezone(datetime.UTC).isoformat()
    return str(value)


def _hash(before: str, of_table: str, row_id: int, content: str) -> str:
    return hashlib.sha256(f"{before}\n{of_table}\n{row_id}\n{content}".encode()).hexdigest()


def _table(name: str) -> sa.Table:
    return tables.ChainLink.metadata.tables[name]
