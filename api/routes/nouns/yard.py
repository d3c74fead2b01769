"""The yard as JSON records: yards, people with their days off, vans, crews with their hours, equipment."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Self

from fastapi import APIRouter
from pydantic import Field, model_validator
from sqlmodel import Session, col, select

from api import tables
from api.fields.limits import limit
from api.routes.nouns.noun import RecordPart, noun
from api.routes.records import Body
from scheduler.errors import BadInput

EquipmentKind = Annotated[str, limit("equipment.kind")]


class DaysBody(Body):
    """Days from first to last, both included, and why."""

    first: Annotated[datetime.date, limit("day_off.first")]
    last: Annotated[datetime.date, limit("day_off.last")]
    why: Annotated[str, limit("day_off.why")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last < self.first:
            raise ValueError(f"last must not come before first ({self.first}), is {self.last}")
        return self


class CrewHoursBody(Body):
    """One weekday's working time (0 = Monday), minutes after midnight; `overtime`: at most so many more."""

    weekday: Annotated[int, limit("crew_hours.weekday")]
    start: Annotated[int, limit("crew_hours.start")]
    end: Annotated[int, limit("crew_hours.end")]
    overtime: Annotated[int, limit("crew_hours.overtime")] = 0

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.end <= self.start:
            raise ValueError(f"end must come after start ({self.start}), is {self.end}")
        return self


class YardBody(Body):
    """Where crews start and kits lie."""

    name: Annotated[str, limit("yard.name")]
    lat: Annotated[float, limit("yard.lat")]
    lon: Annotated[float, limit("yard.lon")]


class PersonBody(Body):
    """Somebody who works here; `weekdays` are those usually worked (0 = Monday), extra hands cost `day_cents` a day."""

    name: Annotated[str, limit("person.name")]
    yard_id: Annotated[str, limit("person.yard_id")]
    role: Annotated[str, limit("person.role")]
    phone: Annotated[str, limit("person.phone")] = ""
    skills: Annotated[list[Annotated[str, limit("person.skills")]], Field(max_length=20, default_factory=list)]
    weekdays: Annotated[str, limit("person.weekdays")] = "01234"
    day_cents: Annotated[int, limit("person.day_cents")] = 0
    active: bool = True
    days_off: Annotated[list[DaysBody], Field(max_length=200, default_factory=list)]


class VanBody(Body):
    """A van; `onboard` is how many of each equipment kind stay on it."""

    yard_id: Annotated[str, limit("van.yard_id")]
    payload_kg: Annotated[int, limit("van.payload_kg")]
    rack_mm: Annotated[int, limit("van.rack_mm")]
    boxes: Annotated[int, limit("van.boxes")]
    onboard: dict[EquipmentKind, Annotated[int, limit("van.onboard")]] = Field(default_factory=dict, max_length=50)


class CrewBody(Body):
    """A lead and a helper with their van, their prices, and their hours by weekday."""

    name: Annotated[str, limit("crew.name")]
    yard_id: Annotated[str, limit("crew.yard_id")]
    lead_id: Annotated[str, limit("crew.lead_id")]
    helper_id: Annotated[str, limit("crew.helper_id")] | None = None
    van_id: Annotated[str, limit("crew.van_id")]
    day_cents: Annotated[int, limit("crew.day_cents")]
    minute_cents: Annotated[int, limit("crew.minute_cents")]
    overtime_minute_cents: Annotated[int, limit("crew.overtime_minute_cents")]
    km_cents: Annotated[int, limit("crew.km_cents")]
    active: bool = True
    hours: Annotated[list[CrewHoursBody], Field(max_length=7, default_factory=list)]

    @model_validator(mode="after")
    def _each_day_once(self) -> Self:
        days = [span.weekday for span in self.hours]
        if len(set(days)) < len(days):
            raise ValueError("hours must give each weekday once")
        return self


class EquipmentBody(Body):
    """One ladder, lift or tool that the yard's crews share, and the days on which it is out of service."""

    kind: EquipmentKind
    yard_id: Annotated[str, limit("equipment.yard_id")]
    name: Annotated[str, limit("equipment.name")]
    active: bool = True
    out_of_service: Annotated[list[DaysBody], Field(max_length=200, default_factory=list)]


def _nothing(session: Session, yard_id: str, sent: YardBody) -> None:
    """A yard names nothing else."""


def _known(session: Session, table: Any, field: str, one_id: str | None, what: str) -> Any:
    row = None if one_id is None or "\0" in one_id else session.get(table, one_id)
    if row is None and one_id is not None:
        raise BadInput(field, f'no {what} has the id "{one_id}"')
    return row


def _yard(session: Session, one_id: str, sent: PersonBody | VanBody | EquipmentBody) -> None:
    _known(session, tables.Yard, "yard_id", sent.yard_id, "yard")


def _crew(session: Session, crew_id: str, sent: CrewBody) -> None:
    """Raise `BadInput` where yard, people or van are unknown, at another yard, or with another crew that day."""
    _known(session, tables.Yard, "yard_id", sent.yard_id, "yard")
    if sent.lead_id == sent.helper_id:
        raise BadInput("helper_id", "must be another person than the lead")
    lead = _known(session, tables.Person, "lead_id", sent.lead_id, "person")
    if lead.role != "lead":
        raise BadInput("lead_id", f"{lead.name} is no lead: a crew is led by one")
    helper = _known(session, tables.Person, "helper_id", sent.helper_id, "person")
    van = _known(session, tables.Van, "van_id", sent.van_id, "van")
    for field, row in (("lead_id", lead), ("helper_id", helper), ("van_id", van)):
        if row is not None and row.yard_id != sent.yard_id:
            raise BadInput(field, f"{row.id} is at the yard {row.yard_id}, the crew at {sent.yard_id}")
    if not sent.active:
        return
    days = [span.weekday for span in sent.hours]
    for field, column, value in (
        ("lead_id", tables.Crew.lead_id, sent.lead_id),
        ("helper_id", tables.Crew.helper_id, sent.helper_id),
        ("van_id", tables.Crew.van_id, sent.van_id),
    ):
        others = (
            select(tables.Crew)
            .join(tables.CrewHours, col(tables.CrewHours.crew_id) == col(tables.Crew.id))
            .where(col(column) == value, col(tables.Crew.active).is_(True), col(tables.Crew.id) != crew_id)
            .where(col(tables.CrewHours.weekday).in_(days))
        )
        other = session.exec(others).first() if value is not None else None
        if other is not None:
            raise BadInput(field, f"{value} goes with the crew {other.id} on one of these weekdays already")


_CREW_USERS: dict[str, Any] = {
    "bookings": tables.Booking.crew_id,
    "results": tables.DayResult.crew_id,
    "days out": tables.RouteOut.crew_id,
    "locks": tables.Lock.crew_id,
    "day links": tables.DayLink.crew_id,
    "accounts": tables.Account.crew_id,
}
_YARD_USERS: dict[str, Any] = {
    "people": tables.Person.yard_id,
    "vans": tables.Van.yard_id,
    "crews": tables.Crew.yard_id,
    "pieces of equipment": tables.Equipment.yard_id,
    "shelves": tables.StockItem.yard_id,
    "awnings": tables.Awning.yard_id,
}

router = APIRouter()
for part in (
    noun("/yards", "yard", tables.Yard, YardBody, check=_nothing, users=_YARD_USERS),
    noun(
        "/people",
        "person",
        tables.Person,
        PersonBody,
        check=_yard,
        users={"crews that they lead": tables.Crew.lead_id, "crews": tables.Crew.helper_id},
        part=RecordPart("days_off", tables.DayOff, "person_id", "first"),
    ),
    noun("/vans", "van", tables.Van, VanBody, check=_yard, users={"crews": tables.Crew.van_id}),
    noun(
        "/crews",
        "crew",
        tables.Crew,
        CrewBody,
        check=_crew,
        users=_CREW_USERS,
        part=RecordPart("hours", tables.CrewHours, "crew_id", "weekday"),
    ),
    noun(
        "/equipment",
        "piece of equipment",
        tables.Equipment,
        EquipmentBody,
        check=_yard,
        users={},
        part=RecordPart("out_of_service", tables.OutOfService, "equipment_id", "first"),
    ),
):
    router.include_router(part)
