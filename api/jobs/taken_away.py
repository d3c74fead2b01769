"""Awnings that are gone for good: taken away by a visit that is done, so that no service comes back to them."""

from __future__ import annotations

import datetime

from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.ledger.history import note


def taken_away(session: Session) -> dict[str, str]:
    """Return the awnings that are gone, with the visit that has taken each away."""
    visit, work = tables.Visit, tables.WorkKind
    rows = select(visit.awning_id, visit.id).join(work, col(work.id) == col(visit.work_id))
    done = rows.where(col(work.takes_away), visit.state == "done", col(visit.awning_id).is_not(None))
    return {awning: visit_id for awning, visit_id in session.exec(done.order_by(visit.id)) if awning is not None}


def call_off_services(session: Session, visit: tables.Visit, *, by: str, now: datetime.datetime) -> None:
    """Call off what yearly services have made for an awning that a visit has just taken away."""
    if not visit.work.takes_away or visit.awning_id is None:
        return
    one, of = tables.Visit, tables.YearlyVisit
    made = select(one).join(of, col(of.visit_id) == col(one.id))
    for other in session.exec(made.where(one.awning_id == visit.awning_id, one.state == "open")):
        if versions.update(session, other, {"state": "cancelled"}):
            why = f"the awning was taken away by {visit.id}"
            note(session, now, by, "changed", "visit", other.id, {"state": ["open", "cancelled"], "because": why})
