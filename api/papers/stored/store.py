"""The papers that the database holds: read and written for many visits in one statement each."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col

from api import tables
from api.database import parts

Stored = dict[str, tuple[str, str]]  # what: (fingerprint, document)


@dataclass(frozen=True)
class Made:
    """The documents of one visit, and the fingerprints that they bear, by what they are; `kept` are stored already."""

    documents: Mapping[str, str]
    fingerprints: Mapping[str, str]
    kept: Collection[str] = ()


def stored(session: Session, visit_ids: Collection[str]) -> dict[str, Stored]:
    """Return what is stored of each of the visits, fresh or not; nothing of a visit gives an empty map."""
    made, found = tables.Prepared, defaultdict[str, Stored](dict)
    rows = sa.select(col(made.visit_id), col(made.what), col(made.fingerprint), col(made.document))
    for ids in parts(visit_ids):
        for visit_id, what, fingerprint, document in session.execute(rows.where(col(made.visit_id).in_(ids))):
            found[visit_id][what] = (fingerprint, document)
    return found


def store(session: Session, made: Mapping[str, Made], now: datetime.datetime) -> None:
    """Store the papers of visits in place of what was there.

    Two who make the same papers at once both succeed, and the later one stays: both have made them of what they found,
    and say of what. In order of the keys, so that on PostgreSQL neither waits for the other in a ring.
    """
    if not made:
        return
    table, values = tables.Prepared, []
    for visit_id in sorted(made):
        job = made[visit_id]
        for what in sorted(set(job.documents) - set(job.kept)):
            row = {"visit_id": visit_id, "what": what, "fingerprint": job.fingerprints[what]}
            values.append(row | {"document": job.documents[what], "made_at": now})
        gone = sa.delete(table).where(col(table.visit_id) == visit_id, col(table.what).not_in(list(job.documents)))
        session.execute(gone.execution_options(synchronize_session=False))
    if not values:
        return
    insert: Any = (sqlite if session.get_bind().dialect.name == "sqlite" else postgresql).insert(table)
    session.execute(
        insert.on_conflict_do_update(
            index_elements=["visit_id", "what"],
            set_={name: insert.excluded[name] for name in ("fingerprint", "document", "made_at")},
        ),
        values,
    )
    for read in [one for one in session.identity_map.values() if isinstance(one, table)]:
        session.expire(read)
