"""What a list has made, taken back in one go: all of it, while nothing rests on it, or none; what does is said."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.database import parts
from api.http.problems import Problem
from api.jobs.listed import places
from api.ledger.history import note
from api.office import keeping
from api.office.kinds import KINDS

SHOWN = 20  # of what rests on a list, on one page
# The tables of the work in an order in which rows can go, with what the history calls one.
_WORK: dict[str, tuple[Any, tuple[str, str]]] = {
    "visits": (tables.Visit, ("visit", "visits")),
    "awnings": (tables.Awning, ("awning", "awnings")),
    "orders": (tables.Order, ("order", "orders")),
    "sites": (tables.Site, ("site", "sites")),
    "customers": (tables.Customer, ("customer", "customers")),
}
# What goes with the rows: it came with them, or is made of them anew.
_GOES = ("visit_hours", "prepared", "visit_follows", "gate", "maker_part", "booking")
_CALLED = {
    "booking": "promises to the customer", "bench_count": "counts", "crate_count": "counts", "short": "short parts",
    "kit_state": "marks on the kit", "day_result": "results", "step_done": "steps done", "photo": "photos",
    "load_tick": "ticks of loading", "stock_move": "moves of stock", "reservation": "parts set aside",
    "message": "messages", "case_visit": "changed visits", "visit_lock": "locks", "callback": "callbacks",
    "visit_follows": "jobs before or after it", "site_survey": "surveys", "maker_order": "orders to makers",
    "sales_order": "orders", "gate": "gates worked on", "stored_awning": "places in a rack",
    "yearly_service": "yearly services", "yearly_visit": "yearly services", "text_received": "texts",
    "signature": "signatures", "rain_date": "rain dates", "visit": "visits", "site": "sites", "awning": "awnings",
}  # fmt: skip
Made = dict[str, list[str]]


def lists_of(session: Session, kind_id: str, most: int = 5) -> list[tables.TakenList]:
    """Return the last lists of a kind that made anything, the newest first."""
    row = tables.TakenList
    wanted = select(row).where(row.kind == kind_id).order_by(col(row.id).desc()).limit(most)
    return list(session.exec(wanted).all())


def undo(session: Session, taken: tables.TakenList, *, by: str, now: datetime.datetime) -> int:
    """Delete what a list has made, as far as it is still there; return how many rows.

    Raises `Problem` 409 where it was taken back before, or anything rests on it, and then changes nothing.
    """
    if taken.undone_at is not None:
        raise Problem(409, "This list was taken back already.", kind="in-use")
    resting = list(rests_on(session, taken))
    if resting:
        more = f" And {len(resting) - SHOWN} more." if len(resting) > SHOWN else ""
        words = " ".join(f"{one}." for one in resting[:SHOWN])
        raise Problem(409, f"This list cannot be taken back. {words}{more}", kind="in-use", resting=resting)
    made, others = _split(taken)
    gone = 0
    for kind_id, *key in reversed(others):
        kind = KINDS[kind_id]
        record = keeping.record_of(session, kind, key)
        if record is not None:
            keeping.remove(session, kind, record, by=by, now=now, did="undid, deleted")
            gone += 1
    for table, (model, (noun, _)) in _WORK.items():
        here = _there(session, model, made[table])
        for column, ids in _references(model, here):
            if column.table.name in _GOES:
                session.execute(sa.delete(column.table).where(column.in_(ids)))
        for ids in parts(here):
            session.execute(sa.delete(model).where(col(model.id).in_(ids)))
        for one in here:
            note(session, now, by, "undid, deleted", noun, one, {})
        gone += len(here)
    taken.undone_at, taken.undone_by = now, by
    session.add(taken)
    note(session, now, by, "took back", "list", str(taken.id), {"name": taken.name})
    return gone


def rests_on(session: Session, taken: tables.TakenList) -> Iterator[str]:
    """Yield what keeps a list from being taken back, each in words without their full stop."""
    made, others = _split(taken)
    for kind_id, *key in others:
        kind = KINDS[kind_id]
        record = keeping.record_of(session, kind, key)
        if record is None:
            continue
        name = keeping.title(kind, record.texts)
        used = keeping.used_by(session, kind, record)
        if used:
            yield f"{name}: {', '.join(used)}"
        if _changed(session, [kind.noun], [name[:80]], taken):
            yield f"{name} was changed since"
    posted = {name for name, where in places(session).stops.items() if where.posted}
    for table, (model, nouns) in _WORK.items():
        here = _there(session, model, made[table])
        counts: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for column, ids in _references(model, here):
            for one, n in _resting(session, column, ids, made, taken):
                counts[one][_CALLED.get(column.table.name, column.table.name.replace("_", " "))] += n
        changed = _changed(session, nouns, here, taken)
        for one in here:
            if one in posted:
                yield f"{one} is in a posted week"
            if counts[one]:
                yield f"{one}: {', '.join(words if n == 1 else f'{n} {words}' for words, n in counts[one].items())}"
            if one in changed:
                yield f"{one} was changed since"


def _split(taken: tables.TakenList) -> tuple[Made, list[list[str]]]:
    """Return the ids of the rows of the work by table, and the rows of other kinds."""
    made: Made = {table: [] for table in _WORK}
    others = list[list[str]]()
    for table, *key in taken.made:
        if table in made:
            made[table].append(key[0])
        else:
            others.append([table, *key])
    return made, others


def _there(session: Session, model: Any, ids: Sequence[str]) -> list[str]:
    """Return those of `ids` that are still there."""
    found = set[str]()
    for some in parts(set(ids)):
        found |= set(session.exec(select(model.id).where(col(model.id).in_(some))).all())
    return [one for one in dict.fromkeys(ids) if one in found]


def _references(model: Any, ids: Sequence[str]) -> Iterator[tuple[sa.Column[Any], list[str]]]:
    """Yield every column of any table that names rows of a table, with so many of the ids as a statement may name."""
    for table in SQLModel.metadata.sorted_tables[::-1]:
        for key in sorted(table.foreign_keys, key=lambda key: key.parent.name):
            if key.column.table is model.__table__:
                for some in parts(ids):
                    yield key.parent, some


def _resting(
    session: Session, column: sa.Column[Any], ids: list[str], made: Made, taken: tables.TakenList
) -> Iterator[tuple[str, int]]:
    """Yield which of some rows are named by rows of a table that would not go with them, and by how many."""
    table = column.table
    by_table: dict[str, str] = {str(model.__table__.name): name for name, (model, _) in _WORK.items()}
    rows = session.execute(sa.select(table).where(column.in_(ids))).mappings().all()
    ours = {name: set(found) for name, found in made.items()}
    counts: dict[str, int] = defaultdict(int)
    for row in rows:
        match table.name:
            case name if name in by_table:
                goes = row["id"] in ours[by_table[name]]
            case "visit_hours" | "prepared" | "maker_part":
                goes = True
            case "visit_follows":
                goes = {row["first_id"], row["then_id"]} <= ours["visits"]
            case "gate":
                goes = row["version"] == 1 and row["state"] == "open" and not row["paper"] and not _papers(session, row)
            case "booking":  # told before, as the list says
                goes = row["version"] == 1 and row["withdrawn_at"] is None and row["told_at"] in (None, taken.at)
            case _:
                goes = False
        if not goes:
            counts[row[column.name]] += 1
    yield from counts.items()


def _papers(session: Session, gate: Any) -> bool:
    paper = tables.GatePaper
    return session.exec(select(paper.id).where(paper.gate_id == gate["id"]).limit(1)).first() is not None


def _changed(session: Session, nouns: Sequence[str], ids: Sequence[str], taken: tables.TakenList) -> set[str]:
    """Return which rows somebody has changed since the list was taken in, by the history."""
    line, found = tables.History, set[str]()
    for some in parts(ids):
        wanted = select(line.noun_id).where(
            col(line.noun).in_(nouns), col(line.noun_id).in_(some), line.at > taken.at,
            col(line.did).in_(("changed", "took in, changed", "imported, changed")),
        )  # fmt: skip
        found |= set(session.exec(wanted).all())
    return found
