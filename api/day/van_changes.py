"""What changes vans on a crew's day because a visit was handed to another crew: said where each of the two meets it."""

from __future__ import annotations

from collections import defaultdict

from sqlmodel import Session, col, select

from api import tables
from api.fields.items import item_name
from api.fields.shown import clock
from api.http.names import crew_called
from api.languages import gettext, ngettext
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
        said = {"giver": giver, "taker": taker, "visit": row.visit_id, "things": ", ".join(_things(row))}
        if row.van:
            said |= {"place": _place(session, row), "time": clock(row.van["at"])}
        if row.to_crew == day.crew_id and row.visit_id in day.visits:
            words = gettext("Taken over from {giver}.")
            if row.van and row.van["stop"] is None:
                words = gettext("Taken over from {giver}: take {things} on {place}, about {time}.")
            elif row.van:
                words = gettext("Taken over from {giver}: take {things} on {place}, about {time}, from {giver}.")
            found[row.visit_id].append(words.format(**said))
        if row.from_crew == day.crew_id and row.visit_id not in day.visits:
            words = gettext("{taker} has taken over {visit}.")
            if row.van:
                words = gettext("{taker} has taken over {visit}: leave {things} to it {place}, about {time}.")
            meeting = row.van.get("stop") if row.van else None
            found[meeting if meeting in day.visits else AT_LOADING].append(words.format(**said))
    return dict(found)


def _things(row: tables.DayRepair) -> list[str]:
    boxes = row.van.get("boxes", 0)
    kit = ngettext("its kit ({n} box)", "its kit ({n} boxes)", boxes) if boxes else gettext("the kit of {visit}")
    tools = (f"{count} × {item_name(item)}" for item, count in row.van.get("equipment", {}).items())
    return [kit.format(n=boxes, visit=row.visit_id), *tools]


def _place(session: Session, row: tables.DayRepair) -> str:
    if row.van["stop"] is None:
        return gettext("in the yard")
    _, site, customer, _ = by_id(session)(row.van["stop"])
    words = gettext("at {customer}, {address}, {town}")
    return words.format(customer=customer.name, address=site.address, town=site.town)
