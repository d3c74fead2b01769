"""Sites that nobody has put on the map yet, and placing them as soon as their address is known for sure."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.streets import question_of
from api.http import versions
from api.ledger.history import note
from api.places.kept import kept_answer

BY = "addresses"


def unplaced(session: Session) -> Sequence[tables.Site]:
    """Return the sites that wait to be put on the map, by town and address."""
    site = tables.Site
    return session.exec(select(site).where(~col(site.placed)).order_by(col(site.town), col(site.address))).all()


def place_known(session: Session, *, by: str, now: datetime.datetime, address: str = "", town: str = "") -> list[str]:
    """Place the sites whose address is known for sure by now, and return their ids.

    address, town: those at this address alone; empty: all that wait.
    """
    wanted, found = question_of(address, town) if address else "", []
    for site in unplaced(session):
        if wanted and question_of(site.address, site.town) != wanted:
            continue
        answer = kept_answer(session, site.address, site.town)
        if answer is None or answer.sure is None:
            continue
        where = {"lat": answer.sure.lat, "lon": answer.sure.lon, "placed": True}
        if versions.update(session, site, where):
            note(session, now, by, "placed", "site", site.id, {"pin": answer.sure.pin})
            found.append(site.id)
    return found
