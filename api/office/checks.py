"""What must fit together in the yard: people, vans and crews of one yard, and each with one crew at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from scheduler.errors import BadInput

CREW_USERS: dict[str, Any] = {
    "bookings": tables.Booking.crew_id,
    "results": tables.DayResult.crew_id,
    "times at lifts": tables.LiftTime.crew_id,
    "times of loads": tables.LoadTime.crew_id,
    "days out": tables.RouteOut.crew_id,
    "locks": tables.Lock.crew_id,
    "day links": tables.DayLink.crew_id,
    "accounts": tables.Account.crew_id,
}
YARD_USERS: dict[str, Any] = {
    "people": tables.Person.yard_id,
    "vans": tables.Van.yard_id,
    "crews": tables.Crew.yard_id,
    "pieces of equipment": tables.Equipment.yard_id,
    "shelves": tables.StockItem.yard_id,
    "awnings": tables.Awning.yard_id,
    "places in racks": tables.StoredAwning.yard_id,
}
PERSON_USERS: dict[str, Any] = {"crews that they lead": tables.Crew.lead_id, "crews": tables.Crew.helper_id}
VAN_USERS: dict[str, Any] = {"crews": tables.Crew.van_id}


def known(session: Session, table: Any, field: str, one_id: str | None, what: str) -> Any:
    """Return the row that `field` names, None where it names none; raises `BadInput` where there is no such row."""
    row = None if one_id is None or "\0" in one_id else session.get(table, one_id)
    if row is None and one_id is not None:
        raise BadInput(field, f'no {what} has the id "{one_id}"')
    return row


def check_yard(session: Session, one_id: str | None, values: Mapping[str, Any]) -> None:
    """Raise `BadInput` where the yard is unknown."""
    known(session, tables.Yard, "yard_id", values["yard_id"], "yard")


def check_crew(session: Session, crew_id: str | None, values: Mapping[str, Any], weekdays: Sequence[int]) -> None:
    """Raise `BadInput` where yard, people or van are unknown, at another yard, or with another crew on a weekday."""
    yard_id = values["yard_id"]
    known(session, tables.Yard, "yard_id", yard_id, "yard")
    if values["lead_id"] == values["helper_id"]:
        raise BadInput("helper_id", "must be another person than the lead")
    lead = known(session, tables.Person, "lead_id", values["lead_id"], "person")
    if lead.role != "lead":
        raise BadInput("lead_id", f"{lead.name} is no lead: a crew is led by one")
    helper = known(session, tables.Person, "helper_id", values["helper_id"], "person")
    van = known(session, tables.Van, "van_id", values["van_id"], "van")
    for field, row in (("lead_id", lead), ("helper_id", helper), ("van_id", van)):
        if row is not None and row.yard_id != yard_id:
            raise BadInput(field, f"{row.id} is at the yard {row.yard_id}, the crew at {yard_id}")
    if not values["active"]:
        return
    for field, column in (
        ("lead_id", tables.Crew.lead_id),
        ("helper_id", tables.Crew.helper_id),
        ("van_id", tables.Crew.van_id),
    ):
        value = values[field]
        others = (
            select(tables.Crew)
            .join(tables.CrewHours, col(tables.CrewHours.crew_id) == col(tables.Crew.id))
            .where(col(column) == value, col(tables.Crew.active).is_(True))
            .where(col(tables.CrewHours.weekday).in_(weekdays))
            .order_by(col(tables.Crew.id))
        )
        if crew_id is not None:
            others = others.where(col(tables.Crew.id) != crew_id)
        other = session.exec(others).first() if value is not None else None
        if other is not None:
            raise BadInput(field, f"{value} goes with the crew {other.id} on one of these weekdays already")
