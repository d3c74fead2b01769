"""Awnings that are gone for good: taken away by a visit that is done, so that no service comes back to them."""

from __future__ import annotations

import datetime

from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.ledger.days.day_rows import in_rows, is_finished
from api.ledger.history import note


def taken_away(session: Session) -> dict[str, str]:
    """Return the awnings that are gone, with the visit that has taken each away; of several days the last has."""
    visit, work = tables.Visit, tables.WorkKind
    rows = select(visit).join(work, col(work.id) == col(visit.work_id))
    done = rows.where(col(work.takes_away), visit.state == "done", col(visit.awning_id).is_not(None))
    found, several = session.exec(done.order_by(col(visit.id))).all(), in_rows(session)
    gone = [one for one in found if one.id not in several or is_finished(session, one)]
    return {one.awning_id: one.id for one in gone if one.awning_id is not None}


def call_off_services(session: Session, visit: tables.Visit, *, by: str, now: datetime.datetime) -> None:
    """Call off what yearly services have made for an awning that a visit has just taken away, with all of its days."""
    if not visit.work.takes_away or visit.awning_id is None or not is_finished(session, visit):
        return
    one, of = tables.Visit, tables.YearlyVisit
    made = select(one).join(of, col(of.visit_id) == col(one.id))
    for other in session.exec(made.where(one.awning_id == visit.awning_id, one.state == "open")):
        if versions.update(session, other, {"state": "cancelled"}):
            why = f"the awning was taken away by {visit.id}"
            note(session, now, by, "changed", "visit", other.id, {"state": ["open", "cancelled"], "because": why})
