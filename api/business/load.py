"""A business read from files, put into the database."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import sqlalchemy as sa
from sqlalchemy import desc
from sqlmodel import SQLModel, col, select

from api import tables
from api.business.seed import BusinessFiles, load
from api.database import transaction
from api.ledger.history import note
from scheduler.errors import BadInput

_KEPT_AT_LOAD = (
    *("history", "chain_link", "erased_line", "ledger_opening", "stored_plan"),
    *("account", "sign_in", "sign_in_try", "day_link", "program_token", "calendar_address"),
    *("second_factor", "recovery_code", "work_kind"),
    *("place_source", "place_answer", "known_address"),  # where addresses are: no matter of one business
)


def load_business(
    database: sa.Engine, business: BusinessFiles, files: str, now: datetime.datetime,
    tell: Callable[[int, int], None] = lambda done, total: None, *, bare: bool = False,
) -> bool:  # fmt: skip
    """Put `business`, read from files with the fingerprint `files`, into the database; say whether that was needed.

    tell: is told how many rows are in, of how many. bare: whether nothing but a name is there, which gives way.
    Replaces an earlier state of the same business; what was prepared, and the plans, are kept for reuse. Raises
    `BadInput` where the database holds another business, or one that has posted weeks: those are no demo any more.
    """
    with transaction(database) as session:
        present = session.get(tables.Business, 1)
        loads = select(tables.History).where(tables.History.did == "loaded").order_by(desc(col(tables.History.id)))
        last = session.exec(loads).first()
        if present is not None and last is not None and last.detail.get("files") == files:
            return False
        new = next(row for row in business.rows if isinstance(row, tables.Business))
        if present is not None and present.name != new.name and not bare:
            problem = f'this database holds the business "{present.name}"; choose another folder for "{new.name}"'
            raise BadInput("", problem)
        if session.exec(select(tables.PostedWeek)).first() is not None:
            raise BadInput("", "this database has posted weeks, which a load would lose; choose another folder")
        visits = {row.id for row in business.rows if isinstance(row, tables.Visit)}
        kept = [row.model_dump() for row in session.exec(select(tables.Prepared)) if row.visit_id in visits]
        session.expunge_all()
        opening = None
        lines = (tables.StockMove.id, tables.CountLine.id)
        if any(session.exec(select(one).limit(1)).first() is not None for one in lines):
            opening = tables.LedgerOpening(at=now, by="files", why="the business was loaded anew")
            session.add(opening)
            session.flush()
        for table in reversed(SQLModel.metadata.sorted_tables):
            if table.name not in _KEPT_AT_LOAD:
                session.execute(sa.delete(table))
        if opening is not None:
            opening.closed_at = now
            session.flush()
        load(session, business, tell)
        session.add_all(tables.Prepared(**values) for values in kept)
        note(session, now, "files", "loaded", "business", new.name, {"files": files})
        return True
