"""Callbacks as the form of a new job takes them: which visit they come back to, why, and at whose cost."""

from __future__ import annotations

from collections.abc import Mapping

from sqlmodel import Session, col, select

from api import tables

CALLBACK = "callback"  # the kind of work that cannot do without
OF, COST, WHY = "callback.of_id", "callback.at_cost", "visits.fault"


def earlier_visits(session: Session, site_id: str) -> list[tables.Visit]:
    """Return the visits at a site that a callback can come back to, the newest number first."""
    wanted = select(tables.Visit).where(tables.Visit.site_id == site_id, tables.Visit.state != "cancelled")
    return list(session.exec(wanted.order_by(col(tables.Visit.id).desc())))


def callback_faults(session: Session, sent: Mapping[str, str], site_id: str) -> dict[str, str]:
    """Return what cannot stand of a form's callback, by field; nothing where it is none."""
    work, of_id = sent.get("visits.kind", ""), sent.get(OF, "")
    if work != CALLBACK and not of_id:
        return {}
    if of_id not in {visit.id for visit in earlier_visits(session, site_id)}:
        if not site_id:
            words = "comes back to a visit: open that visit's page and press “Another visit here”"
            return {"visits.kind": words}
        return {OF: "must be the visit that it comes back to"}
    faults = {}
    if not sent.get(WHY, "").strip():
        faults[WHY] = "must say why somebody has to come back"
    if sent.get(COST, "") not in ("ours", "maker", "customer"):
        faults[COST] = "must say at whose cost"
    return faults


def callback_of(sent: Mapping[str, str], visit_id: str) -> dict[str, str] | None:
    """Return the callback's row as its form holds it, None where the new job is none."""
    if not sent.get(OF):
        return None
    return {"visit_id": visit_id, "of_id": sent[OF], "why": sent[WHY].strip(), "at_cost": sent[COST]}
