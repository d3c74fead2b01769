"""All rows that hang on a customer, found by the foreign keys: a new table comes along by itself."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.database import parts
from api.exchange.exporting import LEFT_OUT
from api.tables import Customer, History, Site

Found = dict[str, list[dict[str, Any]]]


def rows_of(session: Session, customer_id: str) -> Found:
    """Return by table the rows that belong to a customer: the customer's own, and all that lead to it.

    The history's lines of these, and answers on where their addresses are, come with them. Tables of `LEFT_OUT` do not.
    """
    found: Found = {}
    own = Customer.__table__  # type: ignore[attr-defined]
    _take(session, own, own.c.id, [customer_id], found)
    grown = True
    while grown:
        grown = False
        for table in SQLModel.metadata.sorted_tables:
            for key in table.foreign_keys:
                if table.name in LEFT_OUT or table.name == "history" or key.column.table.name not in found:
                    continue
                if not key.column.primary_key or len(key.constraint.columns) > 1:  # type: ignore[union-attr]
                    continue
                ids = [row[key.column.name] for row in found[key.column.table.name]]
                grown |= _take(session, table, key.parent, ids, found)
    _take_papers(session, found)
    _take_addresses(session, found)
    _take_lines(session, found)
    return {name: rows for name, rows in found.items() if rows}


def erased(session: Session, customer_id: str) -> History | None:
    """Return the line of the history that says that a customer was erased, None where they were not."""
    row = History
    wanted = select(row).where(row.noun == "customer", row.noun_id == customer_id, row.did == "erased")
    return session.exec(wanted.order_by(col(row.id).desc())).first()


def sites_of(session: Session, customer_id: str) -> list[Site]:
    """Return a customer's sites in order of their ids."""
    return list(session.exec(select(Site).where(Site.customer_id == customer_id).order_by(Site.id)).all())


def visits_of(session: Session, customer_id: str) -> list[tables.Visit]:
    """Return the visits to all of a customer's sites, the open ones first."""
    visit = tables.Visit
    wanted = select(visit).join(Site, col(Site.id) == visit.site_id).where(Site.customer_id == customer_id)
    return sorted(session.exec(wanted), key=lambda row: (row.state != "open", row.id))


def ids_in(found: Found, table: str) -> list[Any]:
    """Return the keys of what was found of a table that has one of one column."""
    return [row["id"] for row in found.get(table, [])]


def _take(session: Session, table: sa.Table, column: sa.Column[Any], ids: list[Any], found: Found) -> bool:
    """Add the rows of a table that name one of `ids`; say whether there were any that had not been found."""
    rows = found.setdefault(table.name, [])
    keys = [key.name for key in table.primary_key.columns]
    known = {tuple(row[key] for key in keys) for row in rows}
    new = [
        dict(row._mapping)
        for some in parts(list({one for one in ids if one is not None}))
        for row in session.execute(sa.select(table).where(column.in_(some)).order_by(*table.primary_key.columns))
    ]
    new = [row for row in new if tuple(row[key] for key in keys) not in known]
    rows += new
    return bool(new)


def _take_papers(session: Session, found: Found) -> None:
    """Add what was sent by mail of their visits and orders, which is not tied by a key."""
    table = tables.SentPaper.__table__  # type: ignore[attr-defined]
    for about, of in (("hand-over", "visit"), ("maker order", "maker_order")):
        ids = [str(one) for one in ids_in(found, of)]
        wanted = sa.select(table).where(table.c.about == about, table.c.of_id.in_(ids)).order_by(table.c.id)
        found.setdefault(table.name, []).extend(dict(row._mapping) for row in session.execute(wanted))


def _take_addresses(session: Session, found: Found) -> None:
    table = tables.PlaceAnswer.__table__  # type: ignore[attr-defined]
    for site in found.get("site", []):
        here = (table.c.address == site["address"], table.c.town == site["town"])
        rows = [dict(row._mapping) for row in session.execute(sa.select(table).where(*here))]
        found.setdefault(table.name, []).extend(rows)


def _take_lines(session: Session, found: Found) -> None:
    """Add the lines of the history of all that was found: whatever they call it, where its id is no bare number."""
    table, lines = History.__table__, dict[int, dict[str, Any]]()  # type: ignore[attr-defined]
    for name in list(found):
        if SQLModel.metadata.tables[name].primary_key.columns.keys() != ["id"]:
            continue
        noun = name.replace("_", " ")
        ids = [str(one) for one in ids_in(found, name)]
        for bare in (True, False):
            nouns = (table.c.noun.in_((noun, f"{noun}s")),) if bare else ()
            for some in parts([one for one in ids if one.isdecimal() == bare]):
                rows = session.execute(sa.select(table).where(table.c.noun_id.in_(some), *nouns))
                lines |= {row.id: dict(row._mapping) for row in rows}
    begins = [f"{one}, " for name in ("visit", "awning") for one in ids_in(found, name)]  # of what has no own number
    for some in parts(begins):
        wanted = sa.or_(*(table.c.noun_id.startswith(one, autoescape=True) for one in some))
        lines |= {row.id: dict(row._mapping) for row in session.execute(sa.select(table).where(wanted))}
    found["history"] = [lines[number] for number in sorted(lines)]
