"""How a visit is named where people read of it."""

from __future__ import annotations

from dataclasses import dataclass

from sqlmodel import Session

from api.fields.shown import feet
from api.languages import gettext
from api.ledger.plans.days import by_id


@dataclass(frozen=True)
class Named:
    """How a visit is named on a page: id, "14 ft install", customer, telephone, town."""

    id: str
    what: str
    customer: str
    phone: str
    town: str


def named(session: Session, visit_id: str) -> Named:
    """Return how a visit is named."""
    visit, site, customer, awning = by_id(session)(visit_id)
    what = gettext(visit.work.name)
    if awning is not None and visit.kind == "install":
        what = gettext("{width} install").format(width=feet(awning.width_mm))
    return Named(visit_id, what, customer.name, customer.phone, site.town)
