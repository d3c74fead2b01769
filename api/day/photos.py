"""Photos of a wall, its zero, a crate or the work, kept in the data folder as `api.ledger.kept_files` cleans them."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, Literal

from sqlmodel import Session, col, select

from api import tables
from api.ledger.kept_files import clean, path_of, store
from api.ledger.plans.posted_days import Act

Shows = Literal["wall", "zero", "crate", "work"]


def keep(
    session: Session, folder: Path, visit_id: str, shows: Shows, caption: str, data: bytes, act: Act
) -> tuple[tables.Photo, bool]:
    """Keep a photo of a visit under `folder`; return it and whether it is new: the same picture twice is one."""
    cleaned, media_type = clean(data)
    digest = hashlib.sha256(cleaned).hexdigest()
    same = select(tables.Photo).where(tables.Photo.visit_id == visit_id, tables.Photo.sha256 == digest)
    for row in session.exec(same.where(tables.Photo.shows == shows)):
        return row, False
    store(path_of(folder, "photos", digest), cleaned)
    row = tables.Photo(
        visit_id=visit_id,
        shows=shows,
        caption=caption,
        media_type=media_type,
        bytes=len(cleaned),
        sha256=digest,
        taken_at=act.at,
        taken_by=act.by,
    )
    session.add(row)
    session.flush()
    act.note(session, "took", "photo", str(row.id), {"visit": visit_id, "shows": shows, "bytes": row.bytes})
    return row, True


def photos_of(session: Session, *visit_ids: str) -> list[tables.Photo]:
    """Return the photos of visits in the order in which they came."""
    rows = select(tables.Photo).where(col(tables.Photo.visit_id).in_(visit_ids or ("",)))
    return list(session.exec(rows.order_by(col(tables.Photo.id))).all())


def record(row: tables.Photo) -> dict[str, Any]:
    """Return a photo as JSON, with the address of its picture."""
    return {**row.model_dump(mode="json", exclude={"sha256"}), "address": f"/photos/{row.id}"}
