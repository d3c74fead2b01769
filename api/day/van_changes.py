"""What changes vans on a crew's day because a visit was handed to another crew: said where each of the two meets it."""

from __future__ import annotations

from collections import defaultdict

from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import clock
from api.http.names import crew_called
from api.ledger.plans.days import by_id
from api.ledger.plans.posted_days import PostedDay

AT_LOADING = "load"


def van_changes(session: Session, day: PostedDay) -> dict[str, list[str]]:
    """Return what to give or take on, in words, by the visit at which it is to be read (else at loading).

    The crew that takes a visit over reads it there; the one that gives it away where the two meet.
    """
    rows = select(tables.DayRepair).where(tables.DayRepair.day == day.day, col(tables.DayRepair.undone_at).is_(None))
    found: dict[str, list[str]] = defaultdict(list)
    for row in session.exec(rows.order_by(col(tables.DayRepair.id))):
        if row.kind != "hand over":
            continue
        giver, taker = crew_called(session, row.from_crew), crew_called(session, row.to_crew)
        things = ", ".join(_things(row))
        if row.to_crew == day.crew_id and row.visit_id in day.visits:
            where = f"take {things} on {_place(session, row)}, about {clock(row.van['at'])}" if row.van else ""
            if row.van and row.van["stop"] is not None:
                where += f", from {giver}"
            found[row.visit_id].append(f"Taken over from {giver}{': ' if where else ''}{where}.")
        if row.from_crew == day.crew_id and row.visit_id not in day.visits:
            words = f"{taker} has taken over {row.visit_id}"
            if row.van:
                words += f": leave {things} to it {_place(session, row)}, about {clock(row.van['at'])}"
            meeting = row.van.get("stop") if row.van else None
            found[meeting if meeting in day.visits else AT_LOADING].append(f"{words}.")
    return dict(found)


def _things(row: tables.DayRepair) -> list[str]:
    boxes = row.van.get("boxes", 0)
    kit = f"its kit ({boxes} {'box' if boxes == 1 else 'boxes'})" if boxes else f"the kit of {row.visit_id}"
    return [kit, *(f"{count} × {item}" for item, count in row.van.get("equipment", {}).items())]


def _place(session: Session, row: tables.DayRepair) -> str:
    if row.van["stop"] is None:
        return "in the yard"
    _, site, customer, _ = by_id(session)(row.van["stop"])
    return f"at {customer.name}, {site.address}, {site.town}"
