"""Pieces found missing or broken on site: the kit is short by them, their order can be made, the visit cannot go on."""

from __future__ import annotations

import datetime
from collections import defaultdict
from typing import Any, Literal

from sqlmodel import Session, col, select

from api import tables
from api.bench import shorts
from api.http.problems import Problem
from api.languages import gettext
from api.ledger.plans.posted_days import Act, PostedDay
from api.papers.kits import counts_of, crate_list, kit_of, lock_kit
from scheduler.errors import BadInput

Loss = Literal["missing", "broken"]


def note_loss(
    session: Session, day: PostedDay, visit: tables.Visit, item: str, what: Loss, pieces: int, act: Act
) -> tables.SiteLoss:
    """Note that `pieces` of an item of the visit's crate are missing or broken; what is noted already stays as it is.

    Stands as a count of that item, and as a short to be ordered. Raises `BadInput` for an item that is not on the
    crate's list, and for more pieces than the kit still had; answers 409 where the visit is over.
    """
    key = (visit.id, day.day, item, what)
    lock_kit(session, visit.id)
    known = session.get(tables.SiteLoss, key)
    if known is not None:
        return known
    if visit.state != "open":
        detail = gettext("{visit} is over: call the office.").format(visit=visit.id)
        raise Problem(409, detail, kind="not-now")
    listed, state = crate_list(session, visit) or {}, kit_of(session, visit)
    if item not in listed or state is None:
        raise BadInput(
            "item", gettext('is not on the list of the crate of {visit}: "{item}"').format(visit=visit.id, item=item)
        )
    left = listed[item] - state.missing.get(item, 0)
    if not 1 <= pieces <= left:
        raise BadInput(
            "pieces",
            gettext("must be from 1 to {left}, which the kit still had, is {pieces}").format(left=left, pieces=pieces),
        )
    count = tables.CrateCount(
        visit_id=visit.id, begun_at=act.at, begun_by=act.by, closed_at=act.at, closed_by=act.by,
        note=f"on site: {pieces} × {item} {what}",
    )  # fmt: skip
    session.add(count)
    session.flush()
    assert count.id is not None
    broken = pieces if what == "broken" else 0
    counted = left if broken else left - pieces
    session.add(
        tables.BenchCount(
            visit_id=visit.id, item=item, counted=counted, damaged=broken, counted_on=day.day, counted_by=act.by,
            count_id=count.id,
        )
    )  # fmt: skip
    shorts.lost(session, visit.id, item, pieces, count.id)
    row = tables.SiteLoss(
        visit_id=visit.id, day=day.day, item=item, what=what, pieces=pieces, crew_id=day.crew_id, count_id=count.id,
        at=act.at, noted_by=act.by,
    )  # fmt: skip
    session.add(row)
    act.note(session, f"found {what}", "kit", visit.id, {"item": item, "pieces": pieces, "crew": day.crew_id})
    session.flush()
    return row


def take_back(session: Session, day: PostedDay, visit: tables.Visit, item: str, what: Loss, act: Act) -> None:
    """Take back that an item is missing or broken; answers 409 where it has been ordered or counted since."""
    lock_kit(session, visit.id)
    row = session.get(tables.SiteLoss, (visit.id, day.day, item, what))
    if row is None:
        return
    newest = counts_of(session, [visit.id])[visit.id].get(item)
    if newest is None or newest.count_id != row.count_id:
        raise Problem(
            409, gettext("{item} has been counted since: the count stands.").format(item=item), kind="not-now"
        )
    count_id, pieces = row.count_id, row.pieces
    if not shorts.found_again(session, visit.id, item, pieces, count_id):
        raise Problem(
            409, gettext("The {item} is on order already: call the office.").format(item=item), kind="not-now"
        )
    session.delete(row)
    session.delete(newest)
    session.flush()
    session.delete(session.get_one(tables.CrateCount, count_id))
    before = counts_of(session, [visit.id])[visit.id].get(item)
    shorts.of_count(session, visit.id, item, None if before is None else before.count_id)
    act.note(session, f"took back: {what}", "kit", visit.id, {"item": item, "pieces": pieces, "crew": day.crew_id})
    session.flush()


def losses(session: Session, visit_ids: tuple[str, ...], day: datetime.date) -> dict[str, list[dict[str, Any]]]:
    """Return what crews found missing or broken on `day`, by visit, as JSON."""
    table = tables.SiteLoss
    rows = select(table).where(table.day == day, col(table.visit_id).in_(visit_ids or ("",)))
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in session.exec(rows.order_by(col(table.item), col(table.what))):
        found[row.visit_id].append({"item": row.item, "what": row.what, "pieces": row.pieces})
    return dict(found)
